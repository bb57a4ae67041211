"""Margins kept by the fit: the same as reckoned anew, never those of other settings or records; and what pages count of them.

Beside the counts stand plain loops over the rows of the reckoning itself.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from statistics import median

import msgspec
import numpy as np
import pytest

from pipeline.answers import families, kept_margins, margins, near
from pipeline.answers.filters import Filters
from pipeline.answers.history import histories
from pipeline.answers.kept_margins import MARK, PastMargins, mark_of, past_margins
from pipeline.cli import main
from pipeline.frames import rows
from pipeline.settings import Settings, WorkshopSettings
from pipeline.store import Store
from pipeline.store.schema import PAST_MARGINS

USUAL = Settings()


@pytest.fixture(scope="module")
def fitted(shop):
    return shop[1]


@pytest.fixture(scope="module")
def told(fitted):
    """Every row of the reckoning, with what the records say of the job's bodies beside it."""
    bodies: dict[str, list[tuple]] = {}
    for job_id, *body in fitted.cursor().execute("SELECT job_id, kind, family FROM body_facts").fetchall():
        bodies.setdefault(job_id, []).append(tuple(body))
    frame = margins.margins(margins.past_jobs(fitted, USUAL), USUAL.travel)
    return [row | {"bodies": bodies.get(row["job_id"], [])} for row in rows(frame)]


def test_what_the_fit_kept_is_what_is_reckoned_anew(fitted):
    assert fitted.manifest[MARK] == mark_of(USUAL)
    assert past_margins(fitted, USUAL).reckoned is None
    unmarked = replace(fitted, manifest={name: value for name, value in fitted.manifest.items() if name != MARK})
    anew = past_margins(unmarked, USUAL)
    assert anew.reckoned.num_rows == kept_rows(fitted)
    told = [families.family_margins(con, USUAL, source.on(con)) for source in (PastMargins(), anew) for con in [fitted.cursor()]]
    assert told[0].equals(told[1])
    assert told[0]["jobs"].sum() > 0
    assert kept_margins.margins_table(fitted, USUAL) == kept_margins.margins_table(unmarked, USUAL)


def test_margins_by_parts_of_history_are_those_of_the_whole(fitted, monkeypatch):
    unmarked = replace(fitted, manifest={name: value for name, value in fitted.manifest.items() if name != MARK})
    sizes = []

    def few_jobs(cursor):
        for history in histories(cursor, jobs=37):
            sizes.append(len(history.jobs["job_id"]))
            yield history

    monkeypatch.setattr(kept_margins, "histories", few_jobs)
    assert kept_margins.margins_table(unmarked, USUAL) == kept_margins.margins_table(fitted, USUAL)
    assert len(sizes) > 2
    assert set(sizes[:-1]) == {37}


def kept_rows(edition):
    return edition.cursor().execute(f"SELECT count(*) FROM {PAST_MARGINS}").fetchall()[0][0]


def test_other_settings_never_show_the_kept_numbers(fitted):
    heavy = msgspec.structs.replace(USUAL, travel=msgspec.structs.replace(USUAL.travel, luggage_kg=USUAL.travel.luggage_kg + 100))
    kept, anew = (
        {(row["job_id"], row["load"]): row["laden_kg"] for row in kept_margins.margins_table(fitted, given).records()}
        for given in (USUAL, heavy)
    )
    apart = {load: {round(anew[key] - kept[key], 6) for key in kept if key[1] == load and kept[key] is not None} for load in near.LOADS}
    assert apart == {"delivered": {0.0}, "travel": {100.0}}


def test_what_is_set_about_other_things_leaves_the_kept_margins_in_place():
    assert mark_of(msgspec.structs.replace(USUAL, workshop=WorkshopSettings(name="Another", currency="EUR"))) == mark_of(USUAL)
    assert mark_of(msgspec.structs.replace(USUAL, workshop=WorkshopSettings(country="AU"))) != mark_of(USUAL)


def test_a_load_leaves_the_kept_margins_out(fitted, tmp_path):
    store = Store(tmp_path / "store")
    (store.editions_folder / fitted.name).mkdir(parents=True)
    for file in fitted.path.iterdir():
        (store.editions_folder / fitted.name / file.name).write_bytes(file.read_bytes())
    store.originals.mkdir()
    (tmp_path / "more").mkdir()
    vehicle_id = fitted.cursor().execute("SELECT min(vehicle_id) FROM vehicles").fetchall()[0][0]
    jobs = f"job_id,vehicle_id,status,delivered_on\nNEW-1,{vehicle_id},delivered,2026-03-02\n"
    (tmp_path / "more" / "jobs.csv").write_text(jobs, "utf-8")
    (tmp_path / "more" / "bodies.csv").write_text("job_id,body,length_mm,width_mm,weighed_kg\nNEW-1,tray,2400,1800,210\n", "utf-8")
    assert main(["load", str(tmp_path / "more"), "--store", str(store.root), "--out", str(tmp_path / "accounts.csv")]) == 0
    after = store.live()
    assert MARK not in after.manifest
    assert after.cursor().execute("SELECT 1 FROM duckdb_tables() WHERE table_name = ?", [PAST_MARGINS]).fetchall() == []
    assert "NEW-1" in [row["job_id"] for row in kept_margins.margins_table(after, USUAL).records()]


def some_filters(fitted):
    vehicle_id, branch = fitted.cursor().execute("SELECT min(vehicle_id), min(branch) FROM body_facts").fetchall()[0]
    return {
        "all": (Filters(), lambda row: True),
        "vehicle": (Filters(vehicles=(vehicle_id,)), lambda row: row["bodies"] and row["vehicle_id"] == vehicle_id),
        "since": (Filters(since=date(2023, 1, 1)), lambda row: row["bodies"] and row["dated_on"] >= date(2023, 1, 1)),
        "kind": (Filters(kinds=("tray",)), lambda row: any(kind == "tray" for kind, _family in row["bodies"])),
        "kind and branch": (
            Filters(kinds=("canopy",), branches=(branch,)),
            lambda row: row["branch"] == branch and any(kind == "canopy" for kind, _family in row["bodies"]),
        ),
        "family of a kind": (
            Filters(kinds=("canopy",), families=(1, 2)),
            lambda row: any(kind == "canopy" and family in (1, 2) for kind, family in row["bodies"]),
        ),
    }


@pytest.mark.parametrize("what", ["all", "vehicle", "since", "kind", "kind and branch", "family of a kind"])
@pytest.mark.parametrize(("load", "limit"), [("travel", "gvm"), ("delivered", "rear_axle")])
def test_margins_are_counted_through_the_filters_as_by_hand(fitted, told, what, load, limit):
    filters, passes = some_filters(fitted)[what]
    mine = [row for row in told if row["load"] == load and passes(row)]
    margin = near.LIMITS[limit]
    known = [row[margin] for row in mine if row[margin] is not None]
    asked = (fitted.cursor(), past_margins(fitted, USUAL), filters, load, limit)
    found = near.spread(*asked, USUAL.limits)
    assert (found.said.jobs, found.said.known, found.said.over) == (len(mine), len(known), sum(one < 0 for one in known))
    is_near = [
        row for row in mine
        if row[margin] is not None and row[margin] >= 0
        and (row[margin] < USUAL.limits.near_margin_kg or (limit == "gvm" and (row["p_over"] or 0) > USUAL.limits.near_p))
    ]  # fmt: skip
    assert found.said.near == len(is_near)
    assert found.median_kg == pytest.approx(median(known))
    assert dict(found.bins.iter_rows()) == {
        low: sum(low <= one < low + 50 for one in known) for low in {50 * np.floor(one / 50) for one in known}
    }
    low, high = np.quantile(known, [0.2, 0.6]).tolist()
    count, listed = near.tightest(*asked, (low, high), 3)
    within = sorted((row[margin], row["job_id"]) for row in mine if row[margin] is not None and low <= row[margin] <= high)
    assert (count, listed["job_id"].to_list()) == (len(within), [job_id for _margin, job_id in within[:3]])


@pytest.mark.parametrize("grouping", near.GROUPINGS)
def test_groups_of_margins_hold_each_job_once(fitted, told, grouping):
    found = near.by_group(fitted.cursor(), past_margins(fitted, USUAL), Filters(), "travel", "gvm", grouping, USUAL)
    labels = dict(fitted.cursor().execute("SELECT vehicle_id, label FROM vehicles").fetchall())
    names = dict(fitted.cursor().execute("SELECT family, name FROM families").fetchall())
    step = int(USUAL.layouts.length_step_mm)

    def group(row):
        low = row["length_mm"] and int(row["length_mm"] // step) * step
        return {
            "vehicle": labels[row["vehicle_id"]],
            "year": str(row["dated_on"].year),
            "length": row["length_mm"] and f"{row['kind']} {low} to {low + step - 1} mm",
            "branch": row["branch"] or "not said",
            "family": min((names[family] for kind, family in row["bodies"] if kind != "tray" and family in names), default="left out"),
        }[grouping]

    groups: dict[str, list[float]] = {}
    for row in told:
        if row["load"] == "travel" and row["margin_kg"] is not None:
            groups.setdefault(group(row), []).append(row["margin_kg"])
    groups.pop("left out", None)
    assert len(groups) > 1
    assert {row["group"]: row["jobs"] for row in found.to_dicts()} == {name: len(values) for name, values in groups.items()}
    for row in found.to_dicts():
        expected = np.quantile(groups[row["group"]], [0.1, 0.5, 0.9])
        assert [row["margin_low_kg"], row["margin_median_kg"], row["margin_high_kg"]] == pytest.approx(expected.tolist())


def test_a_few_jobs_read_by_themselves_are_as_among_all(fitted, told):
    weighed = margins.jobs_with_tickets(fitted)
    whole, few = margins.past_jobs(fitted, USUAL), margins.past_jobs(fitted, USUAL, weighed)
    assert 0 < len(few.work.jobs["job_id"]) < len(whole.work.jobs["job_id"])
    every, narrow = (margins.tickets_beside(past) for past in (whole, few))
    assert list(rows(every)) == list(rows(narrow))
    job_id = next(row["job_id"] for row in told if row["laden_source"] == "parts" and row["load"] == "travel")
    opened = [margins.open_job(past, job_id, USUAL.travel) for past in (whole, margins.past_jobs(fitted, USUAL, (job_id,)))]
    assert opened[0].board.lines(0) == opened[1].board.lines(0)
    assert list(rows(opened[0].limits.table())) == list(rows(opened[1].limits.table()))
