"""Workbooks with a sheet a table or one table a file, and Parquet."""

from __future__ import annotations

import datetime as dt
import io
from decimal import Decimal

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hand_ins import records, workbook

BODIES = [["job_id", "body", "length_mm", "width_mm", "painted"], ["J1", "tray", 1650, 1780.5, True], [2401, "canopy", "1700", None, False]]
KEPT = [
    {"job_id": "J1", "body": "tray", "length_mm": "1650", "width_mm": "1780.5", "painted": "yes"},
    {"job_id": "2401", "body": "canopy", "length_mm": "1700", "painted": "no"},
]


def test_a_sheet_a_table(read):
    jobs = [["Jobs of the north"], [], ["job_id", "vehicle_id", "status"], ["J1", "V", "lost"], [], ["J2", "V", "lost"]]
    bodies, jobs_table = read({"records.xlsx": workbook({"bodies": BODIES, "jobs": jobs, "notes": [["to do", "ring Ann"]], "empty": []})})
    assert (bodies.table, bodies.sheet, records(bodies)) == ("bodies", "bodies", KEPT)
    assert (jobs_table.sheet, jobs_table.left_out, [line for line, _ in jobs_table.rows()]) == ("jobs", 3, [4, 6])
    assert (jobs_table.cell(6, "status"), jobs_table.cell(6, "note")) == ("C6", None)
    assert jobs_table.as_stood(6) == {"job_id": "J2", "vehicle_id": "V", "status": "lost"}


def test_one_table_a_file_whatever_its_sheet_is_called(read):
    (table,) = read({"bodies-2024.xlsx": workbook({"Sheet1": BODIES, "Sheet2": []})})
    assert (table.table, table.sheet, records(table)) == ("bodies", "Sheet1", KEPT)


def test_what_a_cell_can_hold(read):
    rows = [
        ["job_id", "vehicle_id", "status", "quoted_on", "price", "cost", "note", "quoted_h"],
        ["007", "V", "lost", dt.datetime(2024, 3, 5), 0.1 + 0.2, ("=A1", ""), ("=1/0", "#DIV/0!"), 1e15],
        ["J2", "V", "lost", dt.datetime(2024, 3, 5, 7, 30), ("=6*7", 42), -0.5, "a\nb", 1e-7],
    ]
    (table,) = read({"jobs.xlsx": workbook({"x": rows})})
    first, second = records(table)
    assert first == {
        "job_id": "007", "vehicle_id": "V", "status": "lost", "quoted_on": "2024-03-05",
        "price": "0.3", "note": "#DIV/0!", "quoted_h": "1000000000000000",
    }  # fmt: skip
    assert (second["quoted_on"], second["price"], second["cost"], second["note"]) == ("2024-03-05 07:30:00", "42", "-0.5", "a\nb")


def test_pounds_and_stray_cells(read):
    rows = [["job_id", "body", "length_in", "width_mm", "", "shade"], ["J1", "tray", 70, 1800, "look!", "red", None, "?"]]
    (table,) = read({"bodies.xlsx": workbook({"x": rows})})
    assert table.scale == {"length_mm": 25.4}
    assert table.unknown_columns == ("shade", "column E", "column H")
    assert table.as_stood(2) == {"job_id": "J1", "body": "tray", "length_in": "70", "width_mm": "1800"}


@pytest.mark.parametrize(
    ("name", "sheets", "sentence"),
    [
        ("records.xlsx", {"bodys": BODIES, "jobs": []}, "records.xlsx sheet 'bodys': no table of that name; did you mean 'bodies'?"),
        ("records.xlsx", {"Trays": BODIES}, "did you mean 'bodies'? It has that table's columns"),
        ("records.xlsx", {"one": [["x"]], "two": [["y"]]}, "no sheet is named for a table; got one, two"),
        ("bodies.xlsx", {"a": BODIES, "b": BODIES}, "sheet 'a': no table of that name; did you mean 'bodies'?"),
        ("bodies.xlsx", {"a": []}, "bodies.xlsx: the workbook is empty"),
        ("bodeis.xlsx", {"a": [["x"]]}, "did you mean to call the file 'bodies'?"),
        ("bodies.xlsx", {"a": [["title"], ["job_id", "body", "lenght_mm", "width_mm"]]}, "sheet 'a' row 2: no column 'lenght_mm'"),
        ("bodies.xlsx", {"a": [["x", "y"]]}, "bodies.xlsx sheet 'a': no header in its first 30 rows"),
    ],
)
def test_refusals(refusal, name, sheets, sentence):
    assert sentence in refusal({name: workbook(sheets)})


def parquet(table: pa.Table) -> bytes:
    out = io.BytesIO()
    pq.write_table(table, out)
    return out.getvalue()


def test_parquet_counts_rows_as_a_sheet_with_one_header_row(read):
    table = pa.table(
        {
            "job_id": pa.array(["1", None, "3"]),
            "vehicle_id": pa.array(["V", None, "V"]).dictionary_encode(),
            "status": ["lost", None, "lost"],
            "quoted_on": pa.array([dt.date(2024, 3, 5), None, None]),
            "lost_on": pa.array([dt.datetime(2024, 3, 5), None, dt.datetime(2024, 3, 5, 1)]),
            "price": pa.array([Decimal("41850.50"), None, None]),
            "cost": [41850.0, None, float("nan")],
            "labour_h": pa.array([7, None, 0], pa.int8()),
            "shade": [True, None, False],
        }
    )
    (text,) = read({"jobs.parquet": parquet(table)})
    assert [line for line, _ in text.rows()] == [2, 4]
    first, second = records(text)
    assert first == {
        "job_id": "1", "vehicle_id": "V", "status": "lost", "quoted_on": "2024-03-05", "lost_on": "2024-03-05",
        "price": "41850.50", "cost": "41850", "labour_h": "7",
    }  # fmt: skip
    assert second == {"job_id": "3", "vehicle_id": "V", "status": "lost", "lost_on": "2024-03-05 01:00:00", "cost": "nan", "labour_h": "0"}
    assert (text.sheet, text.cell(2, "price"), text.left_out, text.unknown_columns) == (None, None, 1, ("shade",))


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"PAR1 not really PAR1", "jobs.parquet: not readable as a parquet"),
        (b"", "jobs.parquet: not readable as a parquet"),
        (parquet(pa.table({"job_id": [[1]], "status": [b"x"]})), "no single values in columns job_id, status"),
        (
            parquet(pa.table({"job_id": ["1"], "vehicle_id": ["1"], "staus": ["1"]})),
            "jobs.parquet: no column 'staus'; did you mean 'status'?",
        ),
    ],
)
def test_parquet_refusals(refusal, content, sentence):
    assert sentence in refusal({"jobs.parquet": content})
