"""Check, levers and margins as commands and pages ask for them, from a store and a folder of drafts."""

from __future__ import annotations

import csv
from dataclasses import replace

import msgspec
import numpy as np
import pytest

from pipeline.answers import kept_margins, levers, limits, margins, vehicles
from pipeline.answers.vehicles import assessed_of, terms_for, work_of_drafts
from pipeline.cli import main
from pipeline.errors import InputRefused
from pipeline.loads.check import check
from pipeline.loads.levers import needed
from pipeline.loads.limits import LIMITS, VERDICTS
from pipeline.loads.margins import COLUMNS
from pipeline.loads.variants import one_job, stacked
from pipeline.settings import Settings, WorkshopSettings
from pipeline.settings_loads import TravelLoad
from pipeline.store import Store

SETTINGS = Settings(workshop=WorkshopSettings(country="AU"))
LOOSE = msgspec.structs.replace(SETTINGS, layouts=msgspec.structs.replace(SETTINGS.layouts, alike_jaccard=0.3, alike_length=0.2))
"""A workshop as small as this one has few bodies alike, unless alike is taken loosely."""
HEAVY = TravelLoad(trailer_kg=3000.0, ball_kg=300.0, water_l=150.0, luggage_kg=320.0)


def write(folder, **tables):
    folder.mkdir()
    for name, rows in tables.items():
        columns = list(dict.fromkeys(key for row in rows for key in row))
        with (folder / f"{name}.csv").open("w", newline="") as out:
            writer = csv.DictWriter(out, columns)
            writer.writeheader()
            writer.writerows(rows)
    return folder


@pytest.fixture(scope="module")
def checked(shop):
    root, edition = shop
    return limits.check_folder(edition, root / "drafts", SETTINGS)


def test_a_check_has_a_row_for_each_limit_of_each_job(checked):
    table = checked.table()
    assert tuple(table) == limits.COLUMNS
    jobs = len(checked.work.jobs["job_id"])
    assert len(table["limit"]) == jobs * len(LIMITS)
    assert set(table["limit"].tolist()) == set(LIMITS)
    assert set(table["verdict"].tolist()) <= set(VERDICTS)
    assert table["job_id"].tolist() == np.repeat(checked.work.jobs["job_id"], len(LIMITS)).tolist()
    known = ~np.isnan(table["margin"])
    assert table["margin"][known] == pytest.approx(table["rating"][known] - table["value"][known], abs=0.11)


def test_the_worst_limit_of_a_job_comes_first(checked):
    table = checked.table()
    rank = {"over": 0, "may be over": 1, "under": 2, "unknown": 3}
    for start in range(0, len(table["limit"]), len(LIMITS)):
        told = [rank[one] for one in table["verdict"][start : start + len(LIMITS)].tolist()]
        assert told == sorted(told)


def test_every_upgrade_that_can_be_had_and_none_is_a_case(shop):
    root, edition = shop
    answer = limits.check_folder(edition, root / "drafts", SETTINGS, every_upgrade=True)
    cases = answer.checked.cases
    of_vehicle = {"CO-2": {None, "CO-2-U"}, "CO-X": {None, "CO-X-U"}, "MO-2": {None, "MO-2-U"}}
    for job in set(cases["job_id"].tolist()):
        here = cases["job_id"] == job
        assert set(cases["upgrade_id"][here].tolist()) == of_vehicle.get(cases["vehicle_id"][here][0], {None})


def test_cautions_stand_with_every_answer(checked):
    assert len(checked.cautions) == 9


def test_the_travel_load_is_read_from_a_file(shop, tmp_path):
    root, edition = shop
    travel = tmp_path / "travel.toml"
    travel.write_text("people = []\nluggage_kg = 0\n")
    empty = limits.check_folder(edition, root / "drafts", SETTINGS, travel)
    usual = limits.check_folder(edition, root / "drafts", SETTINGS)
    at = usual.checked.limits.of("gvm")
    assert usual.checked.limits.value[:, at] - empty.checked.limits.value[:, at] == pytest.approx(190)


def test_a_wrong_travel_load_tells_every_fault(shop, tmp_path):
    root, edition = shop
    travel = tmp_path / "travel.toml"
    travel.write_text('lugage_kg = 10\nwater_l = -1\npeople = [{kg = 80, seat = "middle"}]\n')
    with pytest.raises(InputRefused) as caught:
        limits.check_folder(edition, root / "drafts", SETTINGS, travel)
    told = str(caught.value)
    assert len(caught.value.faults) == 3
    assert "did you mean 'luggage_kg'?" in told
    assert "travel.toml" in told


DRAFT_VEHICLE = {
    "vehicle_id": "MINE", "label": "own pickup", "size_class": "midsize", "cab": "dual", "seats": 5, "wheelbase_mm": 3220,
    "headboard_to_rear_axle_mm": 760, "empty_kg": 2200, "empty_basis": "kerb", "empty_front_kg": 1240, "empty_rear_kg": 960, "tub_kg": 125,
    "gvm_kg": 3200, "rear_limit_kg": 1900, "fuel_l": 80, "fuel": "diesel",
}  # fmt: skip


def test_drafts_that_bring_everything_need_no_store(tmp_path):
    folder = write(
        tmp_path / "drafts",
        vehicles=[DRAFT_VEHICLE],
        jobs=[{"job_id": "A", "vehicle_id": "MINE"}],
        bodies=[
            {"job_id": "A", "body": "tray", "length_mm": 1800, "width_mm": 1800, "cad_kg": 190},
            {"job_id": "A", "body": "canopy", "length_mm": 1650, "width_mm": 1780, "height_mm": 900, "weighed_kg": 400, "scale_step_kg": 5},
        ],
    )
    table = limits.check_folder(None, folder, Settings()).table()
    gvm = table["value"][table["limit"] == "gvm"]
    assert gvm == pytest.approx([2200 - 125 + 190 + 400 + 190])


def test_a_body_without_mass_or_model_gives_no_verdict_on_mass(tmp_path):
    folder = write(
        tmp_path / "drafts",
        vehicles=[DRAFT_VEHICLE],
        jobs=[{"job_id": "A", "vehicle_id": "MINE"}],
        bodies=[{"job_id": "A", "body": "tray", "length_mm": 1800, "width_mm": 1800}],
    )
    table = limits.check_folder(None, folder, Settings()).table()
    row = table["limit"] == "gvm"
    assert table["verdict"][row] == ["unknown"]
    assert "a body has no mass yet" in table["why"][row][0]


def test_a_given_mass_stands_and_a_drawn_one_is_corrected(shop, tmp_path):
    _, edition = shop
    size = {"job_id": "A", "length_mm": 1800, "width_mm": 1800, "height_mm": 900}
    jobs = [{"job_id": "A", "vehicle_id": "CO-2"}]
    kg = []
    for number, given in enumerate(({"weighed_kg": 400, "scale_step_kg": 5}, {"cad_kg": 400})):
        folder = write(tmp_path / str(number), jobs=jobs, bodies=[{**size, "body": "canopy", **given}])
        answer = limits.check_folder(edition, folder, SETTINGS)
        kg.append(float(answer.assessed.kg[0]))
    assert kg[0] == 400
    assert kg[1] == pytest.approx(400 / 0.962, rel=0.02)


def test_an_unknown_item_is_told_and_puts_the_body_outside(shop, tmp_path):
    _, edition = shop
    folder = write(
        tmp_path / "drafts",
        jobs=[{"job_id": "A", "vehicle_id": "CO-2"}],
        bodies=[{"job_id": "A", "body": "canopy", "length_mm": 1800, "width_mm": 1800, "height_mm": 900}],
        fitout=[{"job_id": "A", "body": "canopy", "item_id": "espresso-bar"}],
    )
    answer = limits.check_folder(edition, folder, SETTINGS)
    assert answer.needs_a_look
    assert any("espresso-bar" in told for told in answer.said())
    table = answer.table()
    assert "outside of what history covers" in table["why"][table["limit"] == "gvm"][0]


def test_a_body_without_a_job_is_told_that_its_vehicle_is_not_known(shop, tmp_path):
    _, edition = shop
    folder = write(tmp_path / "drafts", bodies=[{"job_id": "A", "body": "tray", "length_mm": 1800, "width_mm": 1800}])
    table = limits.check_folder(edition, folder, SETTINGS).table()
    assert set(table["verdict"][table["limit"] == "gvm"]) == {"unknown"}


def test_a_job_counts_by_its_last_revision(shop, tmp_path):
    _, edition = shop
    size = {"job_id": "A", "body": "tray", "width_mm": 1800}
    folder = write(
        tmp_path / "drafts",
        jobs=[{"job_id": "A", "revision": name, "vehicle_id": "CO-2"} for name in ("B", "A")],
        bodies=[{**size, "revision": "A", "length_mm": 1700}, {**size, "revision": "B", "length_mm": 1900}],
    )
    work = work_of_drafts(limits.read_drafts(folder, edition, SETTINGS), SETTINGS)
    assert work.jobs["revision"].tolist() == ["B"]
    assert work.bodies["length_mm"].tolist() == [1900]


def test_history_that_never_did_so_is_a_hint(shop, tmp_path):
    _, edition = shop
    ((item, shortest),) = edition.cursor().execute(
        "SELECT item_id, min(b.length_mm) FROM current_fitout JOIN current_bodies AS b USING (job_id, body) "
        "WHERE b.kind = 'canopy' AND b.status = 'delivered' GROUP BY item_id HAVING count(*) >= 20 ORDER BY min(b.length_mm) DESC LIMIT 1"
    ).fetchall()  # fmt: skip
    folder = write(
        tmp_path / "drafts",
        jobs=[{"job_id": "A", "vehicle_id": "CO-2"}],
        bodies=[{"job_id": "A", "body": "canopy", "length_mm": shortest - 50, "width_mm": 1800, "height_mm": 900}],
        fitout=[{"job_id": "A", "body": "canopy", "item_id": item}],
    )
    answer = limits.check_folder(edition, folder, SETTINGS)
    assert any(f"no canopy under {shortest:.0f} mm ever carried" in one.said for one in answer.findings)
    assert not answer.needs_a_look


@pytest.fixture(scope="module")
def proposed(shop):
    root, edition = shop
    model = limits.Model.from_json(edition.model_text())
    drafts = limits.read_drafts(root / "drafts", edition, SETTINGS)
    return levers.levers_of_drafts(edition, model, drafts, LOOSE, HEAVY), drafts, model


def test_levers_give_back_what_a_second_check_confirms(shop, proposed):
    """The changed draft is checked as a draft of its own, by the same way as any other."""
    _, edition = shop
    answer, drafts, model = proposed
    work = work_of_drafts(drafts, SETTINGS)
    needy = [one for one in answer.levers if one.proposals and not any("upgrade" in said for said in one.proposals[0].said)]
    assert needy
    for one in needy[:4]:
        job = work.jobs["job_id"].tolist().index(one.job_id)
        changed = stacked(one_job(work, job), [(), one.proposals[0].changes]).work
        assessed = assessed_of(model, changed.bodies, changed.fitout, SETTINGS)
        placed = replace(changed, fitout=vehicles.placed(changed.bodies, changed.fitout, SETTINGS))
        again = check(placed, assessed, HEAVY, terms_for(edition, placed, SETTINGS)).limits
        assert list(needed(again, SETTINGS.limits)) == [True, False]
        at = again.of("gvm")
        assert again.value[0, at] - again.value[1, at] == pytest.approx(one.proposals[0].saves_kg, abs=1e-6)


def test_rows_of_levers_are_those_of_the_contract(proposed):
    answer, _, _ = proposed
    rows = answer.rows()
    assert rows.columns == levers.COLUMNS
    for row in rows.records():
        assert row["saves_low_kg"] <= row["saves_kg"] <= row["saves_high_kg"]
        assert (row["rank"] == 0) == row["changes"].startswith("nothing within reach")
        assert row["gone_without"] is None or row["gone_without"] == levers.TOO_FEW or " of " in row["gone_without"]
    ranks = {}
    for row in rows.records():
        ranks.setdefault(row["job_id"], []).append(row["rank"])
    assert all(told in ([0], list(range(1, len(told) + 1))) for told in ranks.values())


def test_the_count_of_alike_builds_that_went_without_is_what_a_plain_loop_counts(shop, proposed):
    _, edition = shop
    answer, drafts, _ = proposed
    told = [(key, text) for key, text in answer.gone_without.items() if text and " of " in text]
    carried = {}
    for job, body, item, qty in (
        edition.cursor().execute("SELECT job_id, body, item_id, sum(qty) FROM current_fitout GROUP BY ALL").fetchall()
    ):
        carried.setdefault((job, body), {})[item] = qty
    assert told
    past = edition.cursor().execute("SELECT job_id, body, kind, size_class, length_mm FROM current_bodies WHERE counted").fetchall()
    for (job_id, rank), text in told[:5]:
        levers_of_job = next(one for one in answer.levers if one.job_id == job_id)
        dropped = {change.drops for change in levers_of_job.proposals[rank - 1].changes if change.drops}
        rows = np.flatnonzero(drafts.bodies["job_id"] == job_id)
        if len(rows) != 1:
            continue
        row = rows[0]
        items = {}
        for line in np.flatnonzero(drafts.fitout["body_row"] == row):
            items[drafts.fitout["item_id"][line]] = items.get(drafts.fitout["item_id"][line], 0) + drafts.fitout["qty"][line]
        alike = without = 0
        for job, body, kind, size, length in past:
            there = carried.get((job, body), {})
            both = sum(min(items.get(one, 0), there.get(one, 0)) for one in {*items, *there})
            either = sum(max(items.get(one, 0), there.get(one, 0)) for one in {*items, *there})
            same = (kind, size) == (drafts.bodies["kind"][row], drafts.bodies["size_class"][row])
            if same and abs(length - drafts.bodies["length_mm"][row]) <= 0.2 * drafts.bodies["length_mm"][row] and both >= 0.3 * either:
                alike += 1
                without += not dropped & set(there)
        assert text == f"{without} of {alike}"


def test_levers_say_where_nothing_is_known(shop, tmp_path):
    _, edition = shop
    folder = write(tmp_path / "drafts", bodies=[{"job_id": "A", "body": "tray", "length_mm": 1800, "width_mm": 1800}])
    answer = levers.levers_of_folder(edition, folder, SETTINGS)
    assert answer.rows().rows == []
    assert answer.said()[0].startswith("A: no limit has a verdict")


def test_levers_say_which_jobs_need_none(proposed):
    answer, _, _ = proposed
    idle = [one.job_id for one in answer.levers if not one.needed]
    assert idle
    assert f"{idle[0]}: no lever is needed" in answer.said()


@pytest.fixture(scope="module")
def past(shop):
    _, edition = shop
    return margins.past_jobs(edition, SETTINGS)


def test_every_delivered_job_stands_twice(past):
    frame = margins.margins(past, SETTINGS.travel)
    delivered = (past.work.jobs["status"] == "delivered").sum()
    assert len(frame["job_id"]) == 2 * delivered == 2 * len(set(frame["job_id"].tolist()))
    smallest = np.fmin(frame["margin_kg"], frame["rear_margin_kg"])
    assert (np.diff(smallest[~np.isnan(smallest)]) >= 0).all()
    assert set(frame["body_source"].tolist()) <= {
        "weighed", "tickets", "cad", "estimate", "weighed+cad", "weighed+estimate", "cad+estimate", "tickets+cad", "weighed+tickets"
    }  # fmt: skip
    assert "tickets" in frame["body_source"].tolist()


def test_the_export_has_the_columns_of_the_contract(shop):
    _, edition = shop
    rows = kept_margins.margins_table(edition, SETTINGS)
    assert rows.columns == COLUMNS
    for row in rows.records():
        if row["margin_kg"] is not None:
            assert row["margin_kg"] == pytest.approx(row["gvm_kg"] - row["laden_kg"], abs=0.11)


def test_tickets_agree_with_what_was_added_up(past):
    """The truth of this workshop is known to lie within the noise of scales and estimates."""
    check = margins.tickets_beside(past)
    assert len(check["job_id"]) >= 10
    apart = check["apart_kg"] / check["sd_kg"]
    assert np.sqrt(np.nanmean(apart**2)) < 1.6
    assert abs(np.nanmean(check["apart_kg"])) < 15
    assert np.nanmedian(np.abs(check["rear_apart_kg"])) < 30


def test_a_past_job_is_opened_as_it_stands_in_the_list(past):
    frame = margins.margins(past, SETTINGS.travel)
    row = int(np.flatnonzero((frame["load"] == "travel") & (frame["laden_source"] == "parts"))[0])
    opened = margins.open_job(past, frame["job_id"][row], SETTINGS.travel)
    assert opened.board.kg[0] == pytest.approx(frame["laden_kg"][row])
    assert margins.open_job(past, "no such job", SETTINGS.travel) is None


def test_margins_take_the_load_that_is_asked_for(past):
    usual, heavy = (margins.margins(past, load) for load in (SETTINGS.travel, msgspec.structs.replace(SETTINGS.travel, luggage_kg=150.0)))
    for name in ("delivered", "travel"):
        kg = []
        for frame in (usual, heavy):
            here = frame["load"] == name
            kg.append(dict(zip(frame["job_id"][here], frame["laden_kg"][here], strict=True)))
        apart = {round(kg[1][job] - kg[0][job], 6) for job in kg[0]}
        assert apart == ({0.0} if name == "delivered" else {100.0})


def test_a_job_by_its_tickets_alone(tmp_path):
    """Without a model and without a scale: bodies are 2220 − 1960 = 260 kg, and two finished tickets of a day are averaged."""
    ticket = {"job_id": "T", "scale_step_kg": 20, "fuel_fraction": 0.8, "people_kg": 0}
    folder = write(
        tmp_path / "hand-in",
        vehicles=[DRAFT_VEHICLE | {"tub_kg": 0}],
        jobs=[{"job_id": "T", "vehicle_id": "MINE", "status": "delivered", "delivered_on": "2026-04-02"}],
        bodies=[{"job_id": "T", "body": "tray", "length_mm": 2400, "width_mm": 1860}],
        weighings=[
            ticket | {"ticket": "1", "weighed_on": "2026-01-20", "state": "bare", "total_kg": 1960, "front_kg": 1220, "rear_kg": 720},
            ticket | {"ticket": "2", "weighed_on": "2026-04-01", "state": "finished", "total_kg": 2220, "front_kg": 1230, "rear_kg": 990},
            ticket | {"ticket": "3", "weighed_on": "2026-04-01", "state": "finished", "total_kg": 2220, "front_kg": 1190, "rear_kg": 1030},
        ],
    )
    assert main(["load", str(folder), "--store", str(tmp_path / "store"), "--out", str(tmp_path / "accounts.csv")]) == 0
    edition = Store(tmp_path / "store").live()
    row = kept_margins.margins_table(edition, Settings()).records()[0]
    assert (row["body_kg"], row["body_source"], row["load"]) == (260.0, "tickets", "travel")
    fuel = 0.2 * 80 * 0.835
    assert row["laden_kg"] == pytest.approx(2220 + fuel + 190, abs=0.06)
    rear = 1010 + (fuel * 0.62 + 140 * 0.45) + 50 * (3220 - 760 - 400) / 3220
    assert row["rear_kg"] == pytest.approx(rear, abs=0.06)
