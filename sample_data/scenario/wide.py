"""Millrace's early job list: one wide sheet, a row a job and a column an item, as a small shop keeps it."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import xlsxwriter

from .catalogue import ITEMS
from .job import Job

HEADERS = (
    "Job",
    "Came in",
    "Vehicle",
    "Where is it",
    "Ordered",
    "Out the door",
    "Lost",
    "Price",
    "What",
    "Length",
    "Width",
    "Height",
    "Sheet",
    "Deck",
    "Doors",
    "Paint",
    "Mass",
    "Drawn",
)
HEADER_ROW = 4
"""As the sheet numbers its rows, from 1."""


_MAPPING = """\
# How to read the list that Millrace kept until the end of 2021.

[[sheet]]
sheet = "Jobs"
header_row = {header_row}
dates = ["DD/MM/YYYY"]
not_known = ["TBC", "?", "-", "n/a"]
yes = ["Y", "x", "✓", "yes"]
no = ["no"]
case = {{ vehicle_id = "upper", body = "lower" }}
prefix = {{ job_id = "M" }}
leave_out = [{{ header = "Job", starts_with = "Total" }}]

[sheet.words.status]
"done" = "delivered"
"in work" = "ordered"
"offered" = "quoted"
"called off" = "cancelled"

[sheet.jobs]
job_id = "Job"
vehicle_id = "Vehicle"
status = "Where is it"
quoted_on = "Came in"
ordered_on = "Ordered"
delivered_on = "Out the door"
lost_on = "Lost"
price = "Price"
always = {{ branch = "millrace" }}

[sheet.bodies]
job_id = "Job"
body = "What"
length_mm = "Length"
width_mm = "Width"
height_mm = "Height"
sheet_mm = "Sheet"
floor_mm = "Deck"
doors = "Doors"
painted = "Paint"
weighed_kg = "Mass"
cad_kg = "Drawn"
always = {{ scale_step_kg = "5" }}

[[sheet.item_columns]]
job_id = "Job"
body = "What"

[sheet.item_columns.columns]
{items}
"""


def write_early_list(path: Path, jobs: list[Job]) -> None:
    """The workbook and its mapping; only what it had room for: one body a job, its last version, no places."""
    book = xlsxwriter.Workbook(path)
    book.set_properties({"title": "Job list", "created": datetime(2022, 1, 3)})
    sheet = book.add_worksheet("Jobs")
    day = book.add_format({"num_format": "dd/mm/yyyy"})
    sheet.write(0, 0, "Millrace: job list")
    sheet.write(1, 0, "Y, x or a tick: it has one. A number: so many. Ask in the office before changing a column.")
    items = [item for item in ITEMS.values() if any(line.item_id == item.item_id for job in jobs for line in job.last.bodies[0].lines)]
    for column, header in enumerate([*HEADERS, *(item.label for item in items)]):
        sheet.write(HEADER_ROW - 1, column, header)
    row, quarter = HEADER_ROW, None
    for number, job in enumerate(jobs):
        here = _quarter(job.last.quoted_on)
        if quarter and here != quarter:
            sheet.write(row, 0, f"Total {quarter}")
            sheet.write(row, 7, sum(each.last.price for each in jobs if _quarter(each.last.quoted_on) == quarter))
            row += 1
        quarter = here
        for column, value in enumerate([*_cells(job, number), *_marks(job, number, [item.item_id for item in items])]):
            if isinstance(value, date):
                sheet.write_datetime(row, column, datetime(value.year, value.month, value.day), day)
            elif value not in ("", None):
                sheet.write(row, column, value)
        row += 1
    book.close()
    mapping = _MAPPING.format(header_row=HEADER_ROW, items="\n".join(f'"{item.label}" = "{item.item_id}"' for item in items))
    path.with_suffix(".intake.toml").write_bytes(mapping.encode())


def _quarter(day: date) -> str:
    return f"{day.year} Q{(day.month + 2) // 3}"


def _cells(job: Job, number: int) -> list[object]:
    body = job.last.bodies[0]
    length = (f"{body.length_mm}mm", f"{body.length_mm / 1000:.3f} m", f"{body.length_mm:,}", body.length_mm)[number % 4]
    states = {"delivered": "done", "ordered": "in work", "quoted": "offered", "lost": "lost", "cancelled": "called off"}
    return [
        job.job_id[1:],
        job.last.quoted_on if number % 3 else job.last.quoted_on.strftime("%d/%m/%Y"),
        job.vehicle_id.lower() if number % 2 else job.vehicle_id,
        states[job.status],
        job.ordered_on or "",
        job.delivered_on or "",
        job.lost_on or "",
        job.last.price if number % 11 else "TBC",
        body.kind.title(),
        length,
        body.width_mm,
        body.height_mm or "-",
        f"{body.sheet_mm} mm" if body.sheet_mm else "n/a",
        body.floor_mm,
        body.doors if body.doors is not None else "-",
        "yes" if body.painted else "no",
        f"{body.weighed_kg:.0f} kg" if body.weighed_kg else "",
        body.cad_kg or "?",
    ]


def _marks(job: Job, number: int, item_ids: list[str]) -> list[object]:
    has = {line.item_id: line.qty for line in job.last.bodies[0].lines if line.listed}
    tick = ("Y", "x", "✓", "yes")[number % 4]
    return [(has[item_id] if has[item_id] > 1 else tick) if item_id in has else "" for item_id in item_ids]
