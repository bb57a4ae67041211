"""Job lists as small shops keep them, through a mapping, as workbook and as CSV alike."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import Any

import pytest
from hand_ins import cells, records, workbook

from pipeline.intake import Ragged

MAPPING = """
[[sheet]]
{file}
header_row = 4
dates = ["DD/MM/YYYY", "D MMM YY"]
case = {{ vehicle_id = "upper", body = "lower" }}
prefix = {{ job_id = "N-" }}
empty = {{ painted = "no" }}
units = {{ com_x_mm = "cm" }}
leave_out = [{{ header = "Job", starts_with = "subtotal" }}]

[sheet.words]
body = {{ "Ute tray" = "tray" }}

[sheet.jobs]
job_id = "Job"
vehicle_id = "Ute"
quoted_on = "Quoted"
price = "$ ex tax"
customer_ref = "Who"
always = {{ status = "delivered" }}

[sheet.bodies]
job_id = "Job"
body = "What"
length_mm = "Len"
width_mm = "Wid"
painted = "Paint?"
weighed_kg = "Scale"
com_x_mm = "Centre"

[[sheet.item_columns]]
job_id = "Job"
body = "What"
first = "Lock Box"
last = "Sink"
without = ["Paint?"]
header_case = "lower"
spaces = "-"

[sheet.item_columns.columns]
"Fridge L" = {{ item_id = "fridge", zone = "left-mid" }}
"""
HEADER = [
    "Job",
    "Ute",
    "Quoted",
    "$ ex tax",
    "Who",
    "What",
    "Len",
    "Wid",
    "Scale",
    "Centre",
    "Lock Box",
    "Paint?",
    "Sink",
    "Fridge L",
    "Phone",
]
TITLE: list[list[Any]] = [["Our jobs"], ["mm and kg unless it says so"], []]
ROWS: list[list[Any]] = [
    ["13 ", "vx-d", dt.datetime(2024, 3, 5), 15780, "Ann Example", "Canopy", 1650, "1,780", "310 kg", 81, "x", "Y", "2", None, "0400"],
    ["14", "VX-D", "06/03/2024", "$21,290", None, "Ute tray", "1.65 m", "1860mm", "TBC", "0.9 m", "-", None, "✓", "x", None],
    ["Subtotal", None, None, 37070, None, None, None, None, None, None, None, None, None, None, None],
    [],
    ["15", "VX-D", "7 Mar 24", "TBC", None, "canopy", "about 2 m", "1,65", "683 lb", "?", "12.5 kg", "perhaps", "lots", "0", None],
]
JOBS = [
    {
        "job_id": "N-13",
        "vehicle_id": "VX-D",
        "status": "delivered",
        "quoted_on": "2024-03-05",
        "price": "15780",
        "customer_ref": "Ann Example",
    },
    {"job_id": "N-14", "vehicle_id": "VX-D", "status": "delivered", "quoted_on": "2024-03-06", "price": "21290"},
    {"job_id": "N-15", "vehicle_id": "VX-D", "status": "delivered", "quoted_on": "2024-03-07"},
]
BODIES = [
    {"job_id": "N-13", "body": "canopy", "length_mm": "1650", "width_mm": "1780", "painted": "yes", "weighed_kg": "310", "com_x_mm": "810"},
    {"job_id": "N-14", "body": "tray", "length_mm": "1650", "width_mm": "1860", "painted": "no", "com_x_mm": "900"},
    {"job_id": "N-15", "body": "canopy", "length_mm": "about 2 m", "width_mm": "1,65", "painted": "perhaps", "weighed_kg": "309.80358871"},
]
FITOUT = [
    {"job_id": "N-13", "body": "canopy", "item_id": "lock-box", "qty": "1"},
    {"job_id": "N-13", "body": "canopy", "item_id": "sink", "qty": "2"},
    {"job_id": "N-14", "body": "tray", "item_id": "sink", "qty": "1"},
    {"job_id": "N-14", "body": "tray", "item_id": "fridge", "qty": "1", "zone": "left-mid"},
    {"job_id": "N-15", "body": "canopy", "item_id": "lock-box", "qty": "1"},
    {"job_id": "N-15", "body": "canopy", "item_id": "sink", "qty": "lots"},
]


def as_csv(rows: list[list[Any]], delimiter: str = ",") -> str:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter)
    writer.writerows([[cell.strftime("%d/%m/%Y") if isinstance(cell, dt.datetime) else cell for cell in row] for row in rows])
    return out.getvalue()


ALL = [*TITLE, HEADER, *ROWS]
WORKBOOK = {"list.xlsx": workbook({"JOBS 24-25": ALL, "scribbles": [["x"]]}), "intake.toml": MAPPING.format(file='sheet = "JOBS 24-25"')}
CSV = {"list.csv": as_csv(ALL), "intake.toml": MAPPING.format(file="")}


@pytest.mark.parametrize("files", [WORKBOOK, CSV], ids=["workbook", "csv"])
def test_a_row_a_job_and_an_item_a_column(read, files):
    jobs, bodies, fitout = read(files)
    assert (records(jobs), records(bodies), records(fitout)) == (JOBS, BODIES, FITOUT)
    assert [line for line, _ in jobs.rows()] == [5, 6, 9]
    assert [table.left_out for table in (jobs, bodies, fitout)] == [5, 5, 5]
    assert (jobs.unknown_columns, bodies.unknown_columns) == (("Phone",), ())
    assert jobs.stood_as["customer_ref"] == "Who"


def test_what_cannot_be_read_has_its_address(read):
    jobs, bodies, fitout = read(WORKBOOK)
    assert (bodies.cell(9, "length_mm"), jobs.cell(9, "quoted_on"), jobs.cell(9, "status")) == ("G9", "C9", None)
    assert (fitout.cell(9, "qty", "sink"), fitout.cell(9, "qty", "lock-box"), fitout.cell(9, "job_id", "sink")) == ("M9", "K9", "A9")
    assert fitout.cell(9, "qty") == "K9 or M9"
    assert bodies.as_stood(9)["Len"] == "about 2 m"
    assert "Phone" not in bodies.as_stood(5)


def test_a_csv_has_lines_and_no_addresses(read):
    _, bodies, _ = read(CSV)
    assert bodies.cell(9, "length_mm") is None
    assert bodies.as_stood(9)["Wid"] == "1,65"


def test_the_header_is_found_by_its_names_where_no_row_is_stated(read):
    for files in (WORKBOOK, CSV):
        jobs, *_ = read({name: text.replace("header_row = 4", "") if isinstance(text, str) else text for name, text in files.items()})
        assert records(jobs) == JOBS


def test_in_a_semicolon_file_the_comma_is_the_decimal_mark(read):
    mapping = '[[sheet]]\n[sheet.bodies]\njob_id = "Job"\nbody = "What"\nlength_mm = "Len"\nwidth_mm = "Wid"\nsheet_mm = "Wall"\n'
    rows = [["Job", "What", "Len", "Wid", "Wall"], ["1", "tray", "1,65 m", "1.860", "2,5"], ["2", "tray", "1.65", "1860", "2.5"]]
    (bodies,) = read({"list.csv": as_csv(rows, ";"), "intake.toml": mapping})
    assert bodies.decimal_comma
    assert cells(bodies) == [("1", "tray", "1650", "1860", "2,5"), ("2", "tray", "1.65", "1860", "2.5")]


def test_numbers_of_a_sheet_are_numbers_whatever_mark_its_texts_have(read):
    mapping = '[[sheet]]\ndecimal_mark = ","\n[sheet.bodies]\njob_id = "Job"\nbody = "What"\nlength_mm = "Len"\nwidth_mm = "Wid"\n'
    rows = [["Job", "What", "Len", "Wid"], [1, "tray", 1650.5, "1.860,5"]]
    (bodies,) = read({"list.xlsx": workbook({"x": rows}), "intake.toml": mapping})
    assert cells(bodies) == [("1", "tray", "1650,5", "1860,5")]
    assert bodies.decimal_comma


def test_two_bodies_of_a_line_and_a_line_only_where_there_is_one(read):
    mapping = """
    [[sheet]]
    [[sheet.bodies]]
    job_id = "Job"
    length_mm = "Canopy length"
    width_mm = "Width"
    only_if = "Canopy length"
    always = { body = "canopy" }
    [[sheet.bodies]]
    job_id = "Job"
    length_mm = "column C"
    width_mm = "Width"
    only_if = "column C"
    always = { body = "tray" }
    [sheet.on_vehicle]
    job_id = "Job"
    kg = "Bull bar"
    only_if = "Bull bar"
    always = { label = "bull bar", put_on_by = "dealer" }
    """
    rows = [["Job", "Canopy length", "", "Width", "Bull bar"], ["1", 1700, 1780, 1860, "62 kg"], ["2", "-", 2400, 1860, None]]
    bodies, bars = read({"list.xlsx": workbook({"x": rows}), "intake.toml": mapping})
    assert cells(bodies) == [("1", "canopy", "1700", "1860"), ("1", "tray", "1780", "1860"), ("2", "tray", "2400", "1860")]
    assert (bodies.cell(2, "length_mm"), bodies.cell(3, "length_mm")) == ("B2 or C2", "C3")
    assert records(bars) == [{"job_id": "1", "label": "bull bar", "kg": "62", "put_on_by": "dealer"}]


@pytest.mark.parametrize(
    ("cell", "numbers", "qty"),
    [
        ("Y", "quantity", "1"), ("yes", "quantity", "1"), ("X", "quantity", "1"), ("✓", "quantity", "1"), ("1", "quantity", "1"),
        (1, "quantity", "1"), (2, "quantity", "2"), (0.5, "quantity", "0.5"), ("12 kg", "quantity", "1"), ("-2", "quantity", "-2"),
        (12, "mass", "1"), ("12,5 kg", "mass", "12,5 kg"), ("2x", "quantity", "2x"), (True, "quantity", "1"),
        (None, "quantity", None), ("N", "quantity", None), ("TBC", "quantity", None), (0, "quantity", None), ("0 kg", "mass", None),
        (False, "mass", None),
    ],
)  # fmt: skip
def test_what_counts_as_an_item(read, cell, numbers, qty):
    mapping = '[[sheet]]\n[sheet.item_columns]\njob_id = "Job"\nalways = { body = "tray" }\ncolumns = { Sink = "sink" }\nnumbers = '
    mapping += f'"{numbers}"'
    (fitout,) = read({"list.xlsx": workbook({"x": [["Job", "Sink"], ["1", cell], ["2", "x"]]}), "intake.toml": mapping})
    expected = [("1", "tray", "sink", qty)] if qty else []
    assert cells(fitout) == [*expected, ("2", "tray", "sink", "1")]


def test_other_files_of_the_folder_stay_what_they_are(read):
    tables = read({**CSV, "vehicles.csv": "vehicle_id,label,size_class\n"})
    assert [table.table for table in tables] == ["jobs", "bodies", "fitout", "vehicles"]


def test_a_csv_row_with_too_many_cells_makes_one_row_that_is_not_read(read):
    mapping = (
        '[[sheet]]\n[sheet.jobs]\njob_id = "Job"\nvehicle_id = "Ute"\nnote = "Said"\ncustomer_ref = "Who"\nalways = { status = "lost" }\n'
    )
    (jobs,) = read({"list.csv": "Job,Ute,Said,Who\n1,V,blue,or green,Ann Example\n", "intake.toml": mapping})
    assert set(cells(jobs)[0]) == {None}
    assert jobs.as_stood(2) == {"cell 1": "1", "cell 2": "V", "cell 3": "blue", "cell 4 and beyond": "(hidden)"}


def test_a_line_that_does_not_fit_tells_nobodys_name_as_a_row_of_another_table_either(read):
    mapping = '[[sheet]]\n[sheet.jobs]\njob_id = "Job"\nvehicle_id = "Ute"\ncustomer_ref = "Who"\nalways = { status = "lost" }\n'
    mapping += '[sheet.bodies]\njob_id = "Job"\nbody = "Kind"\nlength_mm = "Len"\nwidth_mm = "Wid"\n'
    lines = ["Job,Ute,Kind,Len,Wid,Who", "1,V,tray,1,650,1800,Ann Example", "2,V,tray,1800,Ann Example", "3,V,tray,1650,1800"]
    tables = {table.table: table for table in read({"list.csv": "\n".join(lines), "intake.toml": mapping})}
    for table in (tables["jobs"], tables["bodies"]):
        assert [isinstance(row, Ragged) for _, row in table.rows()] == [True, True, False]
        assert table.as_stood(2) == {
            "cell 1": "1", "cell 2": "V", "cell 3": "tray", "cell 4": "1", "cell 5": "650", "cell 6 and beyond": "(hidden)",
        }  # fmt: skip
        assert table.as_stood(3) == {"cell 1": "2", "cell 2": "V", "cell 3": "tray", "cell 4": "1800", "cell 5 and beyond": "(hidden)"}


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('sheet = "JOBS 24-25"', 'sheet = "JOBS 24/25"', "no sheet 'JOBS 24/25'; got JOBS 24-25, scribbles; did you mean 'JOBS 24-25'?"),
        ('sheet = "JOBS 24-25"', "", "more than one sheet"),
        ('"Scale"', '"Scales"', "row 4 (by intake.toml): no header 'Scales'; did you mean 'Scale'?"),
        ('first = "Lock Box"', 'first = "Sink"', ""),
        ('last = "Sink"', 'last = "Len"', "'Lock Box' stands after 'Len'"),
        ("header_row = 4", "header_row = 3", "no header 'Job'"),
    ],
)
def test_a_mapping_that_does_not_fit_its_sheet(refusal, read, old, new, sentence):
    files = {**WORKBOOK, "intake.toml": str(WORKBOOK["intake.toml"]).replace(old, new)}
    if sentence:
        assert sentence in refusal(files)
    else:
        assert {row["item_id"] for row in records(read(files)[2])} == {"sink", "fridge"}


def test_a_header_that_stands_there_twice_goes_by_its_column(refusal, read):
    mapping = '[[sheet]]\n[sheet.on_vehicle]\njob_id = "Job"\nlabel = "What"\nkg = "{}"\n'
    content = workbook({"x": [["Job", "What", "kg", "kg"], ["1", "bar", 1, 2]]})
    assert "header 'kg' stands there twice; got columns C, D; write 'column C'" in refusal(
        {"l.xlsx": content, "intake.toml": mapping.format("kg")}
    )
    (table,) = read({"l.xlsx": content, "intake.toml": mapping.format("column D")})
    assert cells(table) == [("1", "bar", "2")]
