"""The demo is what its script writes, comes in as its README says, and agrees with what the scenario knows."""

from __future__ import annotations

import csv
import re
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest

from pipeline.answers.drafts import read_drafts
from pipeline.answers.history import history_of
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.store.load import load

FOLDER = Path(__file__).parents[2] / "sample_data"
RECORDS = FOLDER / "records"
HALF_OF_LAST_DIGIT = {"northgap": 0.005 * 25.4 + 1e-6}
"""Northgap's lengths come out of inches with two decimals; the other branches write what they know."""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The scenario made anew: its folder, and the jobs as it knows them."""
    sys.path.insert(0, str(FOLDER))
    try:
        import make

        folder = tmp_path_factory.mktemp("made")
        return folder, make.write_all(folder)
    finally:
        sys.path.remove(str(FOLDER))


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """A store with all hand-ins of the demo."""
    place = tmp_path_factory.mktemp("demo")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TAREBOOK_KEY", str(place / "customer.key"))
        store = Store(place / "store")
        result = load([RECORDS], store)
    yield store, result
    result.edition.close()


@pytest.fixture(scope="module")
def cursor(store):
    return store[1].edition.cursor()


def _files(folder: Path) -> list[str]:
    places = [*sorted(folder.glob("records/**/*")), *sorted(folder.glob("drafts/*")), folder / "faults.key.csv", folder / "travel.toml"]
    return [str(path.relative_to(folder)) for path in places if path.is_file()]


def test_the_script_writes_what_is_committed(made):
    folder, _ = made
    assert _files(folder) == _files(FOLDER)
    for name in _files(folder):
        if name.endswith(".xlsx"):
            # another compressor packs the same sheet into other bytes
            fresh, kept = zipfile.ZipFile(folder / name), zipfile.ZipFile(FOLDER / name)
            assert {part: fresh.read(part) for part in fresh.namelist()} == {part: kept.read(part) for part in kept.namelist()}
        else:
            assert (folder / name).read_bytes() == (FOLDER / name).read_bytes(), name


def test_it_is_small_enough_for_git():
    assert sum(path.stat().st_size for path in FOLDER.rglob("*") if "__pycache__" not in path.parts) < 3_000_000


def test_every_account_adds_up_and_only_planted_rows_are_rejected(store):
    _, result = store
    for account in result.accounts:
        told = account["kept"] + account["suspect"] + account["rejected"] + account["superseded"]
        assert account["read"] == told, account
        assert account["rejected"] == 0 or account["hand_in"] == "08-with-faults", account


def test_each_planted_fault_stands_in_the_ledger_and_nothing_else_does(cursor):
    with (FOLDER / "faults.key.csv").open(newline="", encoding="utf-8") as lines:
        planted = {(row["table"], int(row["line"]), row["column"], row["rule"]) for row in csv.DictReader(lines)}
    stands = cursor.execute("SELECT table_name, line, column_name, rule FROM ledger WHERE closed IS NULL").fetchall()
    assert {tuple(row) for row in stands} == planted
    assert len(stands) == len(planted)


def test_rows_that_came_before_what_they_name_are_taken_up(store):
    taken = {(account["hand_in"], account["table"]): account["taken_up"] for account in store[1].accounts if account["taken_up"]}
    assert taken[("03-eastport-2024-on", "weighings")] == 20
    assert {hand_in for hand_in, table in taken if table == "fitout"} == {"03-eastport-2024-on", "04-millrace", "05-northgap"}


def test_the_store_agrees_with_what_the_scenario_knows(made, cursor):
    """Whatever way a branch saves its tables: lengths, masses and counts of the last revision come out as they were."""
    _, jobs = made
    history = history_of(cursor)
    rows = {key: row for row, key in enumerate(zip(history.bodies["job_id"], history.bodies["body"], strict=True))}
    lines = np.bincount(history.fitout["body_row"], history.fitout["qty"], len(rows))
    known = [
        (job, body)
        for job in jobs
        for body in job.last.bodies
        if (job.branch, job.job_id[1:3]) not in {("millrace", "20"), ("millrace", "21")}
    ]
    assert len(known) > 2_400
    for job, body in known:
        row = rows[job.job_id, body.body]
        assert history.bodies["length_mm"][row] == pytest.approx(body.length_mm, abs=HALF_OF_LAST_DIGIT.get(job.branch, 0))
        assert history.bodies["branch"][row] == job.branch
        assert history.bodies["status"][row] == job.status
        assert lines[row] == sum(line.qty for line in body.lines if line.listed)
        wanted = np.nan if body.weighed_kg is None or job.ordered_on is None else body.weighed_kg
        assert history.bodies["weighed_kg"][row] == pytest.approx(wanted, abs=0.005, nan_ok=True)
        assert history.bodies["cad_kg"][row] == pytest.approx(np.nan if body.cad_kg is None else body.cad_kg, abs=0.005, nan_ok=True)


def test_the_early_wide_list_comes_in_as_jobs_bodies_and_items(made, cursor):
    _, jobs = made
    history = history_of(cursor)
    rows = {job_id: row for row, job_id in enumerate(history.bodies["job_id"])}
    lines = np.bincount(history.fitout["body_row"], history.fitout["qty"], len(history.bodies["job_id"]))
    early = [job for job in jobs if job.branch == "millrace" and job.job_id[1:3] in ("20", "21")]
    assert len(early) > 100
    for job in early:
        body, row = job.last.bodies[0], rows[job.job_id]
        assert history.bodies["length_mm"][row] == body.length_mm
        assert history.bodies["vehicle_id"][row] == job.vehicle_id
        assert history.bodies["status"][row] == job.status
        assert lines[row] == sum(line.qty for line in body.lines if line.listed)


def test_the_readme_tells_the_trend_that_is_there(cursor):
    told = re.search(r"(\d+) in 100 canopies ordered in 2021, (\d+) in 2024, (\d+) in 2026", (FOLDER / "README.md").read_text("utf-8"))
    found = cursor.execute("""
        SELECT round(100 * avg(CAST(EXISTS (SELECT 1 FROM current_fitout f WHERE f.job_id = b.job_id AND f.body = b.body
                                            AND f.item_id = 'cook-induction') AS INTEGER)))
        FROM current_bodies b WHERE kind = 'canopy' AND status IN ('ordered', 'delivered') AND year(sold_on) IN (2021, 2024, 2026)
        GROUP BY year(sold_on) ORDER BY year(sold_on)""").fetchall()
    # the lists themselves are a little short
    assert [float(share) for share in told.groups()] == pytest.approx([share for (share,) in found], abs=1.5)


def test_the_drafts_can_be_read_but_for_the_pizza_oven(store):
    drafts = read_drafts(FOLDER / "drafts", store[1].edition, Settings())
    assert len(set(drafts.bodies["job_id"])) == 8
    assert [(reject.rule, reject.value) for reject in drafts.rejects] == [("unknown-item", "pizza-oven")]
