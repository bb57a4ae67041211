"""Every row is kept, suspect, rejected or superseded, over one hand-in and over many."""

from __future__ import annotations

import itertools
import json
import shutil
from pathlib import Path

import pytest
import xlsxwriter
from store_rig import FINE, HAND_INS, account, ask, digests, hand_in, loaded

from pipeline.contract import TABLES
from pipeline.errors import InputRefused
from pipeline.store import Store
from pipeline.store.load import load


@pytest.fixture
def plain(tmp_path: Path, _plain_store: Path) -> Store:
    """A store of its own with the tidy hand-in."""
    shutil.copytree(_plain_store, tmp_path / "plain")
    return Store(tmp_path / "plain")


@pytest.fixture(scope="module")
def _plain_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return loaded(tmp_path_factory.mktemp("plain") / "store", "plain").root


def rejects(store: Store, hand_in_name: str) -> list[tuple[object, ...]]:
    return ask(store, 'SELECT "table", line, "column", rule, value FROM rejects WHERE hand_in = ?', hand_in_name)


def test_a_tidy_hand_in_is_kept_whole(plain: Store) -> None:
    states = ask(plain, 'SELECT "table", read, kept, suspect + rejected + superseded + left_out FROM accounts ORDER BY 1')
    assert states == [
        ("bodies", 4, 4, 0),
        ("fitout", 5, 5, 0),
        ("items", 3, 3, 0),
        ("jobs", 3, 3, 0),
        ("on_vehicle", 3, 3, 0),
        ("upgrades", 1, 1, 0),
        ("vehicles", 2, 2, 0),
        ("weighings", 3, 3, 0),
    ]
    assert plain.live().manifest["records_to"] == "2026-03-02"


def test_a_long_file_read_in_stretches_keeps_each_row_with_its_line_and_in_its_place(tmp_path: Path) -> None:
    # Two stretches, each longer than a row group of the database (122,880 rows); each job is numbered by its line.
    jobs = [{**FINE["jobs"], "job_id": f"{line}"} for line in range(2, 300_002)]
    jobs[250_000]["status"] = "odd"
    bodies = [{**FINE["bodies"], "job_id": job["job_id"]} for job in jobs]
    store = loaded(tmp_path / "store", hand_in(tmp_path / "long", {"vehicles": [FINE["vehicles"]], "jobs": jobs, "bodies": bodies}))
    for table in ("jobs", "bodies"):
        rows = ask(store, f"SELECT CAST(job_id AS BIGINT), line FROM {table} ORDER BY rowid")
        assert rows == [(line, line) for line in range(2, 300_002) if line != 250_002]
    told = {(table, line, rule) for table, line, _, rule, _ in rejects(store, "long")}
    assert told == {("jobs", 250_002, "not-in-list"), ("bodies", 250_002, "unknown-job")}


def test_alike_lines_of_fit_out_are_two_items(plain: Store) -> None:
    assert ask(plain, "SELECT sum(qty) FROM fitout WHERE job_id = '102'") == [(2.0,)]


def test_a_ticket_without_a_number_goes_by_its_date_and_state(plain: Store) -> None:
    assert ask(plain, "SELECT ticket FROM weighings ORDER BY 1") == [("2026-01-25 arrived",), ("2026-03-01 finished",), ("77",)]


def test_the_same_key_twice_counts_once_where_alike_and_not_at_all_where_not(plain: Store) -> None:
    load([HAND_INS / "same-key-twice"], plain)
    assert account(plain, "same-key-twice", "jobs") == {
        "read": 6, "kept": 2, "suspect": 0, "rejected": 2, "superseded": 2, "left_out": 0, "taken_up": 0,
    }  # fmt: skip
    assert rejects(plain, "same-key-twice") == [
        ("jobs", 4, "job_id", "duplicate-key", "302"),
        ("jobs", 5, "job_id", "duplicate-key", "302"),
    ]
    assert ask(plain, "SELECT job_id FROM jobs WHERE job_id LIKE '30_' ORDER BY 1") == [("301",), ("303",)]


def test_a_later_row_replaces_the_whole_earlier_one_which_stays_readable(plain: Store) -> None:
    load([HAND_INS / "correction"], plain)
    assert ask(plain, "SELECT length_mm, weighed_kg, doors FROM bodies WHERE job_id = '101' AND body = 'canopy'") == [(1655.0, None, None)]
    assert account(plain, "plain", "bodies")["superseded"] == 1
    ((reason, closed_by, row),) = ask(plain, "SELECT reason, closed_by, row FROM history WHERE key = '101/canopy'")
    assert (reason, closed_by, json.loads(row)["weighed_kg"]) == ("replaced", "correction", 235.0)


def test_a_fit_out_list_is_replaced_whole_and_only_for_its_body(plain: Store) -> None:
    load([HAND_INS / "list-anew"], plain)
    lists = ask(plain, "SELECT body, item_id, sum(qty), count(*) FROM fitout WHERE job_id = '101' GROUP BY ALL ORDER BY ALL")
    assert lists == [("canopy", "drawer", 3.0, 3), ("tray", "tank-60", 1.0, 1)]
    assert account(plain, "plain", "fitout")["superseded"] == 2


def test_the_last_revision_counts_and_all_are_kept(plain: Store) -> None:
    load([HAND_INS / "revisions"], plain)
    last = ask(plain, "SELECT job_id, revision, status FROM current_jobs WHERE job_id IN ('103', '104', '105') ORDER BY 1")
    assert last == [("103", "A", "ordered"), ("104", "B", "lost"), ("105", "10", "quoted")]
    assert ask(plain, "SELECT count(*) FROM jobs WHERE job_id IN ('103', '104', '105')") == [(6,)]
    assert ask(plain, "SELECT length_mm FROM current_bodies WHERE job_id IN ('103', '104', '105') ORDER BY job_id") == [
        (2650.0,), (1900.0,), (2050.0,),
    ]  # fmt: skip


def test_rows_that_came_before_what_they_refer_to_wait_and_are_taken_up(tmp_path: Path) -> None:
    store = loaded(tmp_path / "store", "plain", "bodies-first")
    assert (account(store, "bodies-first", "bodies")["rejected"], account(store, "bodies-first", "fitout")["rejected"]) == (2, 3)
    assert {rule for *_, rule, _ in rejects(store, "bodies-first")} == {"unknown-job"}
    result = load([HAND_INS / "jobs-after"], store)
    changed = {(row["hand_in"], row["table"]): (row["kept"], row["rejected"], row["taken_up"]) for row in result.accounts}
    assert changed == {("bodies-first", "bodies"): (2, 0, 2), ("bodies-first", "fitout"): (3, 0, 3), ("jobs-after", "jobs"): (2, 0, 0)}
    assert rejects(store, "bodies-first") == []


def test_a_row_taken_up_late_never_replaces_a_newer_one(tmp_path: Path) -> None:
    store = loaded(tmp_path / "store", "plain", "bodies-first", "body-corrected", "jobs-after")
    assert ask(store, "SELECT length_mm, weighed_kg FROM bodies WHERE job_id = '201'") == [(1510.0, 240.0)]
    assert account(store, "bodies-first", "bodies") == {
        "read": 2, "kept": 1, "suspect": 0, "rejected": 0, "superseded": 1, "left_out": 0, "taken_up": 2,
    }  # fmt: skip
    other = loaded(tmp_path / "other", "plain", "jobs-after", "bodies-first", "body-corrected")
    assert {table: digests(store)[table] for table in TABLES} == {table: digests(other)[table] for table in TABLES}


def test_a_body_with_a_refused_line_is_short_until_the_item_comes(plain: Store) -> None:
    load([HAND_INS / "item-unknown"], plain)
    assert ask(plain, "SELECT key, rule FROM suspects") == [("103/tray", "list-short")]
    assert ask(plain, "SELECT suspect, list_short FROM current_bodies WHERE job_id = '103'") == [(1, 1)]
    load([HAND_INS / "item-then-known"], plain)
    assert ask(plain, "SELECT count(*) FROM suspects") == [(0,)]
    assert account(plain, "item-unknown", "fitout") == {
        "read": 2, "kept": 2, "suspect": 0, "rejected": 0, "superseded": 0, "left_out": 0, "taken_up": 1,
    }  # fmt: skip


def test_a_refused_line_still_replaces_the_list_it_belongs_to(plain: Store) -> None:
    load([HAND_INS / "item-unknown"], plain)
    load([HAND_INS / "old-item-name"], plain)
    assert ask(plain, "SELECT item_id, count(*) FROM fitout WHERE job_id = '103' GROUP BY 1") == [("drawer", 2)]
    assert rejects(plain, "item-unknown") == []
    load([HAND_INS / "item-then-known"], plain)
    assert ask(plain, "SELECT item_id, count(*) FROM fitout WHERE job_id = '103' GROUP BY 1") == [("drawer", 2)]


def test_a_job_number_of_another_branch_is_refused(plain: Store) -> None:
    load([HAND_INS / "other-branch"], plain)
    assert rejects(plain, "other-branch") == [
        ("jobs", 2, "branch", "job-of-another-branch", "west"),
        ("jobs", 4, "job_id", "duplicate-key", "402"),
        ("jobs", 5, "job_id", "duplicate-key", "402"),
    ]
    assert ask(plain, "SELECT branch FROM jobs WHERE job_id = '101'") == [("east",)]


def test_a_row_with_too_many_cells_is_refused_as_it_stood(plain: Store) -> None:
    load([HAND_INS / "cells-too-many"], plain)
    ((line, rule, value, row),) = ask(plain, "SELECT line, rule, value, row FROM rejects WHERE hand_in = 'cells-too-many'")
    assert (line, rule, value) == (2, "cell-count", "6 cells")
    assert list(json.loads(row).values()) == ["103", "canopy", "1650", "1800", "long", "and then some"]


def test_a_wide_list_makes_several_rows_a_line_and_each_has_its_own_fate(plain: Store) -> None:
    load([HAND_INS / "wide-list"], plain)
    assert account(plain, "wide-list", "jobs")["kept"] == 3
    assert account(plain, "wide-list", "fitout") == {
        "read": 5, "kept": 4, "suspect": 0, "rejected": 1, "superseded": 0, "left_out": 2, "taken_up": 0,
    }  # fmt: skip
    assert ask(plain, "SELECT item_id, qty FROM fitout WHERE job_id = '602' ORDER BY 1") == [("drawer", 2.0), ("kitchen", 1.0)]
    assert ask(plain, "SELECT length_mm FROM bodies WHERE job_id IN ('601', '602') ORDER BY job_id") == [(1650.0,), (1700.0,)]
    assert rejects(plain, "wide-list") == [("fitout", 4, "item_id", "unknown-item", "rocket")]


NAMES = (b"Quillfeather", b"Ottoline", b"Brask")


def test_a_customer_stands_in_clear_nowhere_but_in_the_original(plain: Store) -> None:
    load([HAND_INS / "with-customers"], plain)
    assert account(plain, "with-customers", "jobs")["rejected"] == 3
    holders = {path.parent.name for path in plain.root.rglob("*") if path.is_file() and any(name in path.read_bytes() for name in NAMES)}
    assert holders == {"originals"}
    hashes = ask(plain, "SELECT DISTINCT customer_ref FROM jobs WHERE customer_ref IS NOT NULL")
    told = ask(plain, "SELECT DISTINCT row ->> 'customer_ref' FROM rejects WHERE line = 4 AND hand_in = 'with-customers'")
    assert len(hashes) == 1
    assert hashes == told
    assert all((path.stat().st_mode & 0o777) == 0o600 for path in plain.originals.iterdir())


ROW = {
    "job_id": "9{at}", "note": "blue", "vehicle_id": "V1", "status": "quoted", "branch": "east", "quoted_on": "2026-01-05",
    "price": "14500", "customer_ref": "Quillfeather", "folder": "x/y", "cost": "9000",
}  # fmt: skip


def test_whichever_cells_are_lost_or_added_a_customer_stands_in_clear_nowhere(plain: Store, tmp_path: Path) -> None:
    """Each column order with every one, two or three cells left out before or behind the name, or one too many put in."""
    folder = tmp_path / "slid"
    folder.mkdir()
    for turn in range(len(ROW)):
        order = [*ROW][turn:] + [*ROW][:turn]
        whole = [ROW[column] for column in order]
        left_out = [set(places) for many in (1, 2, 3) for places in itertools.combinations(range(len(order)), many)]
        rows = [[cell for at, cell in enumerate(whole) if at not in places] for places in left_out]
        rows += [[*whole[:at], "one more", *whole[at:]] for at in range(len(order) + 1)]
        lines = [",".join(row).format(at=f"{turn}-{at}") for at, row in enumerate(rows)]
        (folder / f"jobs-{turn}.csv").write_text("\n".join([",".join(order), *lines]) + "\n")
    load([folder], plain)
    tables = [
        name
        for (name,) in ask(
            plain, "SELECT table_name FROM duckdb_tables() UNION ALL SELECT view_name FROM duckdb_views() WHERE NOT internal"
        )
    ]
    told = " UNION ALL ".join(f"SELECT '{table}', CAST(t AS VARCHAR) AS row FROM {table} t" for table in tables)
    assert ask(plain, f"SELECT * FROM ({told}) WHERE row LIKE '%Quillfeather%'") == []
    kept, rejected = ask(plain, "SELECT sum(kept), sum(rejected) FROM accounts WHERE hand_in = 'slid'")[0]
    assert rejected > 500
    assert kept > 20


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [
        ("header-near-miss", "did you mean 'length_mm'"),
        ("unknown-table", "did you mean 'bodies'"),
        ("broken-quote", "a quote opens here and is never closed"),
    ],
)
def test_a_file_that_cannot_be_used_changes_nothing_even_beside_good_ones(fault: str, sentence: str, plain: Store) -> None:
    before = plain.live()
    kept = sorted(path.name for path in plain.originals.iterdir())
    with pytest.raises(InputRefused, match=sentence):
        load([HAND_INS / "jobs-after", HAND_INS / fault], plain)
    assert plain.live().name == before.name
    assert sorted(path.name for path in plain.originals.iterdir()) == kept


def test_every_fault_of_several_files_is_told_at_once(plain: Store) -> None:
    with pytest.raises(InputRefused) as refused:
        load([HAND_INS / "header-near-miss", HAND_INS / "broken-quote", HAND_INS / "unknown-table"], plain)
    assert len(refused.value.faults) == 3


def test_each_rule_of_a_table_is_in_the_ledger_with_line_column_value_and_row(plain: Store, tmp_path: Path) -> None:
    faults = [
        ("length_mm", "long", "not-a-number"), ("length_mm", "-1650", "out-of-range"), ("length_mm", "", "missing"),
        ("body", "gazebo", "not-in-list"), ("job_id", "", "missing-key"), ("job_id", "NO-SUCH", "unknown-job"),
        ("doors", "2.5", "not-a-whole-number"), ("painted", "perhaps", "not-in-list"), ("weighed_kg", "NaN", "not-a-number"),
    ]  # fmt: skip
    columns = {column for column, _, _ in faults}
    rows = [{**dict.fromkeys(columns, ""), **FINE["bodies"], "job_id": "103", column: value} for column, value, _ in faults]
    load([hand_in(tmp_path / "faults", {"bodies": rows})], plain)
    found = ask(plain, "SELECT line, \"column\", value, rule, row FROM rejects WHERE hand_in = 'faults'")
    assert [(line, column, value or "", rule) for line, column, value, rule, _ in found] == [
        (at, column, value, rule) for at, (column, value, rule) in enumerate(faults, 2)
    ]
    for row, (*_, stood) in zip(rows, found, strict=True):
        assert {key: value for key, value in json.loads(stood).items() if value} == {key: value for key, value in row.items() if value}


def test_a_refused_row_needs_no_more_attention_once_a_newer_one_brought_it_right(plain: Store, tmp_path: Path) -> None:
    body = {**FINE["bodies"], "job_id": "103", "body": "box"}
    job = {**FINE["jobs"], "job_id": "109"}
    load([hand_in(tmp_path / "wrong", {"bodies": [{**body, "length_mm": "long"}], "jobs": [{**job, "status": "vanished"}]})], plain)
    assert len(rejects(plain, "wrong")) == 2
    load([hand_in(tmp_path / "put-right", {"bodies": [body], "jobs": [job]})], plain)
    assert rejects(plain, "wrong") == []
    assert [account(plain, "wrong", table)["superseded"] for table in ("bodies", "jobs")] == [1, 1]


def test_blanks_around_a_customer_make_nobody_else(plain: Store, tmp_path: Path) -> None:
    folder = tmp_path / "blanks"
    folder.mkdir()
    (folder / "jobs.csv").write_text("job_id,vehicle_id,status,customer_ref\n701,V1,quoted,Quillfeather\n702,V1,quoted,  Quillfeather \n")
    load([folder], plain)
    assert ask(plain, "SELECT count(*), count(DISTINCT customer_ref) FROM jobs WHERE job_id IN ('701', '702')") == [(2, 1)]


def test_a_refused_cell_of_a_sheet_goes_by_its_address_and_of_a_csv_by_its_line_alone(plain: Store, tmp_path: Path) -> None:
    head, row = ["job_id", "body", "length_mm", "width_mm"], ["103", "box", "long", "1800"]
    folder = tmp_path / "sheets"
    folder.mkdir()
    book = xlsxwriter.Workbook(folder / "bodies.xlsx")
    sheet = book.add_worksheet("bodies")
    for at, cells in enumerate([head, row]):
        sheet.write_row(at + 3, 1, cells)
    book.close()
    (folder / "bodies-2.csv").write_text("\n".join([",".join(head), ",".join(row).replace("box", "tray")]) + "\n")
    load([folder], plain)
    found = ask(plain, "SELECT file, sheet, line, cell, value FROM rejects WHERE hand_in = 'sheets' ORDER BY file")
    assert found == [("bodies-2.csv", None, 2, None, "long"), ("bodies.xlsx", "bodies", 5, "D5", "long")]
