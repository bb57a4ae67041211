"""A customer never sees another customer: attempts to find one job's data on the customer's page, over all it can be asked."""

from __future__ import annotations

import itertools
import json
import re
import shutil
from dataclasses import asdict
from pathlib import Path
from typing import Any

import duckdb
import msgspec
import pytest
import rig
from random_edition import random_edition
from test_pages import run_page
from workshop import make_workshop, write_hand_in

from pipeline.answers.access import Role
from pipeline.answers.customer import (
    LEAST_JOBS,
    STEP_KG,
    build_answer,
    changed,
    groups,
    items_to_choose,
    key_of,
    made_up,
    vehicles_to_choose,
)
from pipeline.answers.draft import Draft, frames_of, job_id_of
from pipeline.answers.fitting import fit_store
from pipeline.answers.sheet_content import SheetContent
from pipeline.answers.sheets import sheet_content
from pipeline.errors import WrongCall
from pipeline.mass.model import Model
from pipeline.settings import Settings
from pipeline.store import Edition, Store
from pipeline.store.load import load

SETTINGS = Settings()


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Store:
    root = tmp_path_factory.mktemp("small")
    write_hand_in(make_workshop(seed=11, bodies=60), root / "history")
    store = Store(root / "store")
    load([root / "history"], store)
    fit_store(store)
    return store


@pytest.fixture(scope="module")
def small(shop: Store) -> Edition:
    return shop.live()


@pytest.fixture(scope="module")
def told_of_small(small: Edition) -> dict[str, str]:
    return everything_told(small)


def everything_told(edition: Edition) -> dict[str, str]:
    """What a customer can get for each vehicle, every build, small changes of it and their sheets, as text."""
    con, model, told = edition.cursor(), Model.from_json(edition.model_text()), {}
    items = list(items_to_choose(con, SETTINGS))
    for vehicle_id in vehicles_to_choose(con, SETTINGS):
        found = groups(con, SETTINGS, vehicle_id)
        parts: list[Any] = [items, *(asdict(group) for group in found.found)]
        for group in found.found:
            base = made_up(con, SETTINGS, vehicle_id, group)
            for draft in (base, changed(base, length_mm=3000.0), changed(base, add=items[0])):
                answer = build_answer(edition, model, SETTINGS, key_of(draft), Role.CUSTOMER.value)
                parts.append({"draft": key_of(answer.draft), "left": msgspec.json.encode(answer).decode()})
            parts.append(asdict(sheet_of(edition, model, base)))
        told[vehicle_id] = json.dumps(parts, default=str)
    return told


def sheet_of(edition: Edition, model: Model, draft: Draft) -> SheetContent:
    """The sheet of a draft as a customer's screen makes it."""
    frames = frames_of([draft], edition.cursor(), edition.manifest["records_to"])
    return sheet_content(edition, model, frames, job_id_of(1), SETTINGS, SETTINGS.travel, Role.CUSTOMER)


def altered(shop: Store, root: Path, *statements: str) -> Store:
    """The same store, model and families, with rows of its records altered."""
    shutil.copytree(shop.root, root / "store")
    store = Store(root / "store")
    edition = store.live()
    with duckdb.connect(str(edition.database)) as con:
        for statement in statements:
            con.execute(statement)
    # a whole edition is known by the size of its database
    manifest = edition.manifest | {"database_bytes": edition.database.stat().st_size}
    (edition.path / "manifest.json").write_text(json.dumps(manifest))
    return store


def test_no_number_note_date_or_price_of_a_job_is_told(small: Edition, told_of_small: dict[str, str]) -> None:
    told = " ".join(told_of_small.values())
    numbers = {float(number) for number in re.findall(r"\d+(?:\.\d+)?", told)}
    jobs = small.cursor().execute("SELECT job_id, note, customer_ref, CAST(quoted_on AS VARCHAR), price FROM current_jobs").fetchall()
    assert told
    for job_id, note, customer, day, price in jobs:
        for secret in (job_id, note, customer, day):
            assert not secret or str(secret) not in told
        assert price is None or price not in numbers


JOB_TABLES = ("jobs", "bodies", "fitout", "on_vehicle", "weighings", "family_of_body")
WHO_AND_WHEN = (
    *(f"UPDATE {table} SET job_id = 'Z' || reverse(job_id)" for table in JOB_TABLES),
    "UPDATE jobs SET note = 'gave up smoking', customer_ref = 'N. N.', folder = 'elsewhere', branch = 'far away', price = price * 3 + 7, "
    "cost = 1, labour_h = 999, quoted_h = 999, quoted_on = quoted_on - 77, ordered_on = ordered_on - 77, delivered_on = delivered_on - 77",
    "UPDATE families SET typical_job_id = 'other'",
)
NEVER_SOLD = "(SELECT job_id FROM current_jobs WHERE sold_on IS NULL)"


def test_who_a_job_was_for_when_and_at_what_price_makes_no_difference(shop: Store, told_of_small: dict[str, str], tmp_path: Path) -> None:
    other = altered(shop, tmp_path, *WHO_AND_WHEN).live()
    assert other.cursor().execute("SELECT count(DISTINCT customer_ref), min(price) > 30 FROM jobs").fetchall() == [(1, True)]
    assert everything_told(other) == told_of_small


def test_what_was_never_sold_makes_no_difference(shop: Store, tmp_path: Path) -> None:
    lost = ("UPDATE jobs SET status = 'lost', ordered_on = NULL, delivered_on = NULL WHERE hash(job_id) % 5 = 0",)
    otherwise = (
        f"UPDATE bodies SET length_mm = length_mm + 700, cad_kg = 7777, weighed_kg = 7777 WHERE job_id IN {NEVER_SOLD}",
        f"UPDATE fitout SET zone = 'roof', qty = qty + 4 WHERE job_id IN {NEVER_SOLD}",
    )
    one, other = (altered(shop, tmp_path / name, *lost, *more).live() for name, more in (("one", ()), ("other", otherwise)))
    assert other.cursor().execute("SELECT count(*) FROM bodies WHERE cad_kg = 7777").fetchall()[0][0] > 3
    assert everything_told(other) == everything_told(one)


def members(con: Any) -> dict[str, dict[tuple[int, str], frozenset[str]]]:
    """Jobs of every group that is told, by vehicle, family and kind: the rule of `customer` once more, by sets."""
    sold = con.execute(
        "SELECT m.family, b.kind, b.vehicle_id, b.size_class || '/' || b.cab, b.job_id FROM current_bodies AS b "
        "JOIN family_of_body AS m ON m.job_id = b.job_id AND m.body = b.body WHERE b.counted AND b.sold_on IS NOT NULL"
    ).fetchall()
    classes = dict(con.execute("SELECT vehicle_id, size_class || '/' || cab FROM vehicles").fetchall())
    alone: dict[tuple[int, str, str], set[str]] = {}
    for family, kind, vehicle_id, _, job_id in sold:
        alone.setdefault((family, kind, vehicle_id), set()).add(job_id)
    told = {}
    for vehicle_id, of_class in classes.items():
        own = {key[:2]: jobs for key, jobs in alone.items() if key[2] == vehicle_id and len(jobs) >= LEAST_JOBS}
        wider: dict[tuple[int, str], set[str]] = {}
        for key in {key[:2] for key in alone}:
            parts = [jobs for (*same, other), jobs in alone.items() if tuple(same) == key and classes[other] == of_class]
            rest = set[str]().union(*(jobs for jobs in parts if len(jobs) < LEAST_JOBS))
            large = set[str]().union(*(jobs for jobs in parts if len(jobs) >= LEAST_JOBS))
            together = large | rest if len(rest) >= LEAST_JOBS else large
            if len(together) >= LEAST_JOBS:
                wider[key] = together
        told[vehicle_id] = {key: frozenset(jobs) for key, jobs in (own or wider).items()}
    return told


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_two_groups_of_one_family_never_differ_by_a_few_jobs(seed: int) -> None:
    """Differences of two views: whoever takes one group from another is left with no job, or with five at least."""
    con = random_edition(seed, jobs=150)
    con.execute("INSERT INTO vehicles BY NAME SELECT 'V-SELDOM' AS vehicle_id, 'seldom' AS label, 'midsize' AS size_class, 'dual' AS cab")
    con.execute("INSERT INTO vehicles BY NAME SELECT 'V-RARE' AS vehicle_id, 'rare' AS label, 'midsize' AS size_class, 'dual' AS cab")
    con.execute("UPDATE jobs SET vehicle_id = 'V-SELDOM' WHERE vehicle_id = 'V-DUAL' AND hash(job_id) % 12 = 0")
    con.execute("UPDATE jobs SET vehicle_id = 'V-RARE' WHERE vehicle_id = 'V-DUAL' AND hash(job_id) % 12 = 1")
    told = members(con)
    for vehicle_id, expected in told.items():
        found = groups(con, SETTINGS, vehicle_id)
        where = {True: "size_class = 'midsize' AND cab = 'dual'", False: f"vehicle_id = '{vehicle_id}'"}[found.wider]
        assert {(group.family, group.kind) for group in found.found} == set(expected)
        for group in found.found:
            jobs = list(expected[group.family, group.kind])
            # what is shown is that of these jobs and of no others
            middle, low, high = con.execute(
                "SELECT median(length_mm), quantile_cont(coalesce(weighed_kg, cad_kg), 0.1), "
                "quantile_cont(coalesce(weighed_kg, cad_kg), 0.9) FROM current_bodies AS b "
                "JOIN family_of_body AS m ON m.job_id = b.job_id AND m.body = b.body "
                f"WHERE counted AND sold_on IS NOT NULL AND m.family = ? AND kind = ? AND list_contains(?, b.job_id) AND {where}",
                [group.family, group.kind, jobs],
            ).fetchall()[0]
            assert group.length_mm == round(middle / 50) * 50
            assert group.low_kg is None or (group.low_kg, group.high_kg) == (low // 5 * 5, -(-high // 5) * 5)
    sets = [(key, jobs) for found in told.values() for key, jobs in found.items()]
    assert len({jobs for _, jobs in sets}) > 5
    for (one, jobs), (other, fewer) in itertools.permutations(sets, 2):
        if one == other and jobs & fewer:
            assert len(jobs - fewer) == 0 or len(jobs - fewer) >= LEAST_JOBS


def test_the_mass_of_a_job_in_no_group_makes_no_difference(
    shop: Store, small: Edition, told_of_small: dict[str, str], tmp_path: Path
) -> None:
    seen = frozenset().union(*(jobs for found in members(small.cursor()).values() for jobs in found.values()))
    unseen = {row[0] for row in small.cursor().execute("SELECT job_id FROM current_jobs WHERE sold_on IS NOT NULL").fetchall()} - seen
    assert unseen
    named = ", ".join(f"'{job_id}'" for job_id in unseen)
    heavier = (
        f"UPDATE bodies SET {column} = 4321 WHERE {column} IS NOT NULL AND job_id IN ({named})" for column in ("weighed_kg", "cad_kg")
    )
    assert everything_told(altered(shop, tmp_path, *heavier).live()) == told_of_small


def test_no_length_and_no_item_tells_the_longest_body_or_an_item_of_one_job(shop: Store, small: Edition, tmp_path: Path) -> None:
    """A customer walks the length up until the page has seen nothing like it: where it turns says nothing of the longest one."""
    con, model = small.cursor(), Model.from_json(small.model_text())
    vehicle_id = next(one for one in vehicles_to_choose(con, SETTINGS) if groups(con, SETTINGS, one).found)
    base = made_up(con, SETTINGS, vehicle_id, groups(con, SETTINGS, vehicle_id).found[0])
    kind = base.bodies[0].body
    weighed = "kind = ? AND counted AND sold_on IS NOT NULL AND coalesce(weighed_kg, cad_kg) IS NOT NULL"
    longest = con.execute(f"SELECT arg_max(job_id, length_mm) FROM current_bodies WHERE {weighed}", [kind]).fetchall()[0][0]
    other = altered(shop, tmp_path, f"UPDATE bodies SET length_mm = 8000 WHERE body = '{kind}' AND job_id = '{longest}'").live()
    walk = [changed(base, length_mm=mm) for mm in range(1000, 4000, 250)]
    turns = [[build_answer(one, model, SETTINGS, key_of(draft), "customer-screen").inside for draft in walk] for one in (small, other)]
    assert turns[0] == turns[1]
    assert True in turns[0]
    assert False in turns[0]
    offered = items_to_choose(con, SETTINGS)
    held = con.execute(
        "SELECT f.item_id, count(DISTINCT f.job_id) FROM current_fitout f JOIN current_jobs j ON j.job_id = f.job_id "
        "WHERE j.sold_on IS NOT NULL GROUP BY 1"
    ).fetchall()
    assert set(offered) <= {item for item, jobs in held if jobs >= LEAST_JOBS}


def page_told(store: Store, monkeypatch: pytest.MonkeyPatch, **query: str) -> str:
    """The customer's page as a customer's browser gets it, element by element."""
    monkeypatch.setattr("dashboard.who.role", lambda: Role.CUSTOMER)
    app = run_page(rig.APP.parent / "app_pages" / "for_your_vehicle.py", store.root, monkeypatch, **query)
    assert not app.exception
    assert not app.error
    return "\n".join(
        f"{one.type}: {getattr(one, 'value', '')} {getattr(one, 'options', '')} {getattr(one, 'label', '')}" for one in app.main
    )


def test_no_address_narrows_the_page_and_no_job_shows_on_it(shop: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = {"for": "CO-2"}
    plain = page_told(shop, monkeypatch, **asked)
    job_id, day, branch = (
        shop.live().cursor().execute("SELECT job_id, strftime(quoted_on, '%Y-%m'), branch FROM current_jobs").fetchall()[0]
    )
    narrowed = {
        "since": day, "until": day, "kinds": "canopy", "branches": branch or "x", "families": "1", "vehicles": "CO-2",
        "size_classes": "midsize", "job": job_id, "draft": "ABCDEFGH", "view": "x",
    }  # fmt: skip
    assert page_told(shop, monkeypatch, **asked, **narrowed) == plain
    assert page_told(altered(shop, tmp_path, *WHO_AND_WHEN), monkeypatch, **asked) == plain
    assert "Left for people" in plain
    secrets = shop.live().cursor().execute("SELECT job_id, note, customer_ref FROM jobs").fetchall()
    assert not [text for row in secrets for text in row if text and text in plain]


def test_every_group_has_five_jobs_or_more(small: Edition) -> None:
    con = small.cursor()
    for vehicle_id in vehicles_to_choose(con, SETTINGS):
        found = groups(con, SETTINGS, vehicle_id)
        where = (
            "(b.size_class, b.cab) IN (SELECT (size_class, cab) FROM vehicles WHERE vehicle_id = ?)" if found.wider else "b.vehicle_id = ?"
        )
        for group in found.found:
            jobs = con.execute(
                "SELECT count(DISTINCT b.job_id) FROM current_bodies b JOIN family_of_body m ON m.job_id = b.job_id AND m.body = b.body "
                f"WHERE b.counted AND b.sold_on IS NOT NULL AND m.family = ? AND {where}",
                [group.family, vehicle_id],
            ).fetchall()[0][0]
            assert jobs >= LEAST_JOBS


def test_masses_are_told_in_steps_and_lengths_in_steps(small: Edition) -> None:
    con, model = small.cursor(), Model.from_json(small.model_text())
    for vehicle_id, group in ((one, group) for one in vehicles_to_choose(con, SETTINGS) for group in groups(con, SETTINGS, one).found):
        assert group.length_mm % 50 == 0
        assert all(kg is None or kg % STEP_KG == 0 for kg in (group.low_kg, group.high_kg))
        answer = build_answer(small, model, SETTINGS, key_of(made_up(con, SETTINGS, vehicle_id, group)), Role.CUSTOMER.value)
        left = [value for one in (answer.left, *answer.with_upgrades.values()) for value in asdict(one).values()]
        assert all(kg is None or kg % STEP_KG == 0 for kg in (answer.mass_kg, answer.low_kg, answer.high_kg, *left))


def test_a_made_up_build_holds_only_items_of_five_jobs_or_what_those_need(small: Edition) -> None:
    con = small.cursor()
    held = dict(
        con.execute(
            "SELECT f.item_id, count(DISTINCT f.job_id) FROM current_fitout f JOIN current_jobs j ON j.job_id = f.job_id "
            "WHERE j.sold_on IS NOT NULL GROUP BY 1"
        ).fetchall()
    )
    needs = {row[0]: set((row[1] or "").split()) for row in con.execute("SELECT item_id, needs FROM items").fetchall()}
    for vehicle_id in vehicles_to_choose(con, SETTINGS):
        for group in groups(con, SETTINGS, vehicle_id).found:
            for body in made_up(con, SETTINGS, vehicle_id, group).bodies:
                items = {line.item_id for line in body.lines}
                needed = set(itertools.chain.from_iterable(needs[item] for item in items))
                assert all(held.get(item, 0) >= LEAST_JOBS or item in needed for item in items)


def test_a_group_that_loses_its_fifth_job_is_not_told_any_more(tmp_path: Path) -> None:
    """One job more or less must not show: under five jobs there is nothing to see, at five the range is that of the group."""
    seen = {}
    for jobs in (LEAST_JOBS - 1, LEAST_JOBS):
        store = Store(tmp_path / f"store-{jobs}")
        folder = tmp_path / f"jobs-{jobs}"
        folder.mkdir()
        (folder / "vehicles.csv").write_text("vehicle_id,label,size_class,cab\nV1,one vehicle,midsize,dual\n")
        (folder / "items.csv").write_text("item_id,label,group,datasheet_kg\nslide,a fridge slide,fridge,24\n")
        rows = range(jobs)
        (folder / "jobs.csv").write_text(
            "job_id,vehicle_id,status,ordered_on\n" + "".join(f"J{one},V1,delivered,2026-0{one + 1}-05\n" for one in rows)
        )
        bodies = "".join(f"J{one},canopy,1{one}00,1800,900,{200 + one}\n" for one in rows)
        (folder / "bodies.csv").write_text("job_id,body,length_mm,width_mm,height_mm,weighed_kg\n" + bodies)
        (folder / "fitout.csv").write_text("job_id,body,item_id,zone\n" + "".join(f"J{one},canopy,slide,left-mid\n" for one in rows))
        load([folder], store)
        fit_store(store)
        seen[jobs] = groups(store.live().cursor(), SETTINGS, "V1").found
    assert seen[LEAST_JOBS - 1] == ()
    assert len(seen[LEAST_JOBS]) == 1
    assert seen[LEAST_JOBS][0].low_kg == 200.0
    assert seen[LEAST_JOBS][0].high_kg == 205.0


def test_free_changes_ask_the_model_alone(small: Edition) -> None:
    """The same draft on a store with other jobs but the same model would get the same answer: history is not looked at."""
    con, model = small.cursor(), Model.from_json(small.model_text())
    vehicle_id = next(one for one in vehicles_to_choose(con, SETTINGS) if groups(con, SETTINGS, one).found)
    draft = made_up(con, SETTINGS, vehicle_id, groups(con, SETTINGS, vehicle_id).found[0])
    answer = build_answer(small, model, SETTINGS, key_of(draft), Role.CUSTOMER.value)
    told = msgspec.json.encode(answer).decode()
    assert not any(word in told for word in ("job_id", "nearest", "note", "price", "customer"))


def test_what_is_not_a_customers_to_ask_is_refused(small: Edition) -> None:
    model = Model.from_json(small.model_text())
    with pytest.raises(WrongCall):
        build_answer(small, model, SETTINGS, "{}", Role.NOBODY.value)


def test_the_sheet_names_nobody(small: Edition) -> None:
    con, model = small.cursor(), Model.from_json(small.model_text())
    vehicle_id = next(one for one in vehicles_to_choose(con, SETTINGS) if groups(con, SETTINGS, one).found)
    draft = made_up(con, SETTINGS, vehicle_id, groups(con, SETTINGS, vehicle_id).found[0])
    told = str(asdict(sheet_of(small, model, draft)))
    for (job_id,) in con.execute("SELECT job_id FROM current_jobs").fetchall():
        assert job_id not in told


def test_the_page_links_to_no_job_and_offers_no_filter_of_history(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    sources = [rig.APP.parent / "app_pages" / "for_your_vehicle.py", *(rig.APP.parent / "vehicle").glob("*.py")]
    text = "\n".join(source.read_text("utf-8") for source in sources)
    for word in ("finder", "job_link", "filters", "take_along", "health", "selling", "margins"):
        assert word not in text
