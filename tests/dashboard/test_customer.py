"""A customer never sees another customer: attempts to find one job's data on the customer's page, over all it can be asked."""

from __future__ import annotations

import itertools
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import msgspec
import pytest
import rig
from workshop import make_workshop, write_hand_in

from pipeline.answers.access import Role
from pipeline.answers.customer import (
    LEAST_JOBS,
    STEP_KG,
    build_answer,
    changed,
    groups,
    key_of,
    made_up,
    vehicles_to_choose,
)
from pipeline.answers.draft import frames_of, job_id_of
from pipeline.answers.fitting import fit_store
from pipeline.answers.sheets import sheet_content
from pipeline.errors import WrongCall
from pipeline.mass.model import Model
from pipeline.settings import Settings
from pipeline.store import Edition, Store, load

SETTINGS = Settings()


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Edition:
    root = tmp_path_factory.mktemp("small")
    write_hand_in(make_workshop(seed=11, bodies=60), root / "history")
    store = Store(root / "store")
    load([root / "history"], store)
    fit_store(store)
    return store.live()


def everything_told(edition: Edition) -> dict[str, str]:
    """What a customer can get for each vehicle, every build and every small change of it, as text."""
    con, model, told = edition.cursor(), Model.from_json(edition.model_text()), {}
    items = [row[0] for row in con.execute("SELECT item_id FROM items ORDER BY 1 LIMIT 3").fetchall()]
    for vehicle_id in vehicles_to_choose(con, SETTINGS):
        found = groups(con, SETTINGS, vehicle_id)
        parts: list[Any] = [asdict(group) for group in found.found]
        for group in found.found:
            base = made_up(con, SETTINGS, vehicle_id, group)
            for draft in (base, changed(base, length_mm=1730.0), *(changed(base, add=item) for item in items)):
                answer = build_answer(edition, model, SETTINGS, key_of(draft), Role.CUSTOMER.value)
                parts.append({"draft": key_of(answer.draft), "left": msgspec.json.encode(answer).decode()})
        told[vehicle_id] = json.dumps(parts, default=str)
    return told


def test_no_number_note_date_or_price_of_a_job_is_told(small: Edition) -> None:
    told = " ".join(everything_told(small).values())
    jobs = small.cursor().execute("SELECT job_id, note, customer_ref, CAST(quoted_on AS VARCHAR), price FROM current_jobs").fetchall()
    assert told
    for job_id, note, customer, day, price in jobs:
        for secret in (job_id, note, customer, day):
            assert not secret or str(secret) not in told
        assert price is None or f"{price:.0f}" not in told.replace(".0", "")


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
    frames = frames_of([draft], con, small.manifest["records_to"])
    content = sheet_content(small, model, frames, job_id_of(1), SETTINGS, SETTINGS.travel, role=Role.CUSTOMER)
    told = str(asdict(content))
    for (job_id,) in con.execute("SELECT job_id FROM current_jobs").fetchall():
        assert job_id not in told


def test_the_page_links_to_no_job_and_offers_no_filter_of_history(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    sources = [rig.APP.parent / "app_pages" / "for_your_vehicle.py", *(rig.APP.parent / "vehicle").glob("*.py")]
    text = "\n".join(source.read_text("utf-8") for source in sources)
    for word in ("finder", "job_link", "filters", "take_along", "health", "selling", "margins"):
        assert word not in text
