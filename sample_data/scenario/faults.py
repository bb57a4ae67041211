# ruff: noqa: E501 - a row of a table reads better unbroken
"""A hand-in with one fault a row, and the key that says what is wrong where."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import NamedTuple

from .files import COLUMNS

Row = dict[str, str]


class Fault(NamedTuple):
    """A row that differs from a good one in `cells`; `rule` is what the ledger should say of `column`."""

    cells: Row
    column: str
    rule: str
    words: str


GOOD: dict[str, Row] = {
    "vehicles": {"vehicle_id": "XX-{n}", "label": "Never seen again", "size_class": "midsize", "wheelbase_mm": "3200"},
    "upgrades": {"upgrade_id": "XX+{n}", "vehicle_id": "SED-D", "label": "Never offered again", "gvm_kg": "3300"},
    "items": {"item_id": "oddment-{n}", "label": "Oddment", "group": "storage", "datasheet_kg": "4"},
    "jobs": {"job_id": "E26-8{n:03d}", "branch": "eastport", "vehicle_id": "SED-D", "status": "quoted", "quoted_on": "2026-09-14", "price": "15200"},
    "bodies": {"job_id": "E26-9{n:03d}", "body": "canopy", "length_mm": "1620", "width_mm": "1770", "height_mm": "860", "sheet_mm": "2.5", "floor_mm": "2.5", "doors": "2", "painted": "yes"},
    "fitout": {"job_id": "E26-9{n:03d}", "body": "tray", "item_id": "head-rack", "qty": "1", "zone": "middle-front"},
    "on_vehicle": {"job_id": "E26-9{n:03d}", "label": "Tow bar", "kg": "36", "put_on_by": "workshop"},
    "weighings": {"job_id": "E26-9{n:03d}", "ticket": "9{n:04d}", "weighed_on": "2026-09-20", "state": "finished", "total_kg": "2840", "fuel_fraction": "0.5"},
}  # fmt: skip
CONTEXT_JOBS = 34
"""Good jobs E26-9001 and on, each with a good tray, for the faulty rows to hang on."""

TAKEN = "M24-TAKEN"
"""Stands for a job number that Millrace uses."""

FAULTS: dict[str, tuple[Fault, ...]] = {
    "vehicles": (
        Fault({"size_class": "small"}, "size_class", "not-in-list", "a size class of nobody's list"),
        Fault({"wheelbase_mm": "3.2"}, "wheelbase_mm", "out-of-range", "metres under a header in millimetres"),
        Fault({"label": ""}, "label", "missing", "a vehicle without a name"),
    ),
    "upgrades": (
        Fault({"vehicle_id": "SED-Q"}, "vehicle_id", "unknown-vehicle", "for a vehicle that nobody has entered"),
        Fault({"gvm_kg": "TBC"}, "gvm_kg", "missing", "an upgrade whose rating is still to come"),
    ),
    "items": (
        Fault({"group": "toys"}, "group", "not-in-list", "a group of nobody's list"),
        Fault({"datasheet_kg": "9000"}, "datasheet_kg", "out-of-range", "an item heavier than any truck"),
    ),
    "jobs": (
        Fault({"vehicle_id": "ZED-9"}, "vehicle_id", "unknown-vehicle", "a vehicle that nobody has entered"),
        Fault({"vehicle_id": ""}, "vehicle_id", "missing", "no vehicle"),
        Fault({"upgrade_id": "SED-D+9000"}, "upgrade_id", "unknown-upgrade", "an upgrade that nobody offers"),
        Fault({"status": "maybe"}, "status", "not-in-list", "a status of nobody's list"),
        Fault({"quoted_on": "2026-02-30"}, "quoted_on", "not-a-date", "a day that February does not have"),
        Fault({"quoted_on": "03/04/2026"}, "quoted_on", "not-a-date", "March or April, nobody can tell"),
        Fault({"delivered_on": "1876-01-01"}, "delivered_on", "out-of-range", "a century and a half ago"),
        Fault({"ordered_on": "2062-09-14"}, "ordered_on", "out-of-range", "two digits swapped: 2062 for 2026"),
        Fault({"price": "-450"}, "price", "out-of-range", "a price below nothing"),
        Fault({"lost_why": "weather"}, "lost_why", "not-in-list", "a reason of nobody's list"),
        Fault({"labour_h": "two days"}, "labour_h", "not-a-number", "hours in words"),
        Fault({"job_id": TAKEN}, "branch", "job-of-another-branch", "a job number of the Millrace branch"),
    ),
    "bodies": (
        Fault({"length_mm": "long"}, "length_mm", "not-a-number", "a length in words"),
        Fault({"length_mm": "-1620"}, "length_mm", "out-of-range", "shorter than nothing"),
        Fault({"length_mm": "16200"}, "length_mm", "out-of-range", "a digit too many"),
        Fault({"length_mm": "?"}, "length_mm", "missing", "a length that nobody knew"),
        Fault({"width_mm": "1.77"}, "width_mm", "out-of-range", "metres under a header in millimetres"),
        Fault({"height_mm": "1,020"}, "height_mm", "not-a-number", "a comma for thousands"),
        Fault({"body": "gazebo"}, "body", "not-in-list", "a kind of body that is none"),
        Fault({"job_id": ""}, "job_id", "missing-key", "nobody's body"),
        Fault({"job_id": "E26-7777"}, "job_id", "unknown-job", "a job that never came"),
        Fault({"revision": "Z"}, "job_id", "unknown-job", "a revision that its job does not have"),
        Fault({"weighed_kg": "0"}, "weighed_kg", "out-of-range", "nothing on the scale"),
        Fault({"weighed_kg": "NaN"}, "weighed_kg", "not-a-number", "what a script wrote for an empty cell"),
        Fault({"weighed_kg": "3e9"}, "weighed_kg", "out-of-range", "a mountain"),
        Fault({"weighed_kg": "=SUM(A1:A9)"}, "weighed_kg", "not-a-number", "a formula that was saved as text"),
        Fault({"cad_kg": "318 kg"}, "cad_kg", "not-a-number", "a unit in the cell"),
        Fault({"painted": "sometimes"}, "painted", "not-in-list", "neither yes nor no"),
        Fault({"doors": "2.5"}, "doors", "not-a-whole-number", "half a door"),
        Fault({"sheet_mm": "25"}, "sheet_mm", "out-of-range", "a lost decimal point: 25 for 2.5"),
        Fault({"sits_on": "rack"}, "sits_on", "not-in-list", "it can sit on a tray or on the chassis"),
        Fault({"offset_mm": "near"}, "offset_mm", "not-a-number", "a gap in words"),
    ),
    "fitout": (
        Fault({"item_id": "pizza-oven"}, "item_id", "unknown-item", "an item that is not in the list of items"),
        Fault({"item_id": ""}, "item_id", "missing", "a line without an item"),
        Fault({"qty": "two"}, "qty", "not-a-number", "a quantity in words"),
        Fault({"qty": "0"}, "qty", "out-of-range", "none of it"),
        Fault({"qty": "500"}, "qty", "out-of-range", "five hundred of it"),
        Fault({"zone": "boot"}, "zone", "not-in-list", "a place of nobody's list"),
        Fault({"x_mm": "99999"}, "x_mm", "out-of-range", "a hundred metres behind the cab"),
        Fault({"body": "canopy-2"}, "body", "unknown-body", "a body that this job does not have"),
    ),
    "on_vehicle": (
        Fault({"kg": ""}, "kg", "missing", "nobody knows what it weighs"),
        Fault({"put_on_by": "neighbour"}, "put_on_by", "not-in-list", "workshop, dealer or customer"),
        Fault({"job_id": "E26-7777"}, "job_id", "unknown-job", "a job that never came"),
    ),
    "weighings": (
        Fault({"state": "wet"}, "state", "not-in-list", "a state of nobody's list"),
        Fault({"total_kg": "2.84"}, "total_kg", "out-of-range", "tonnes under a header in kilograms"),
        Fault({"weighed_on": ""}, "weighed_on", "missing", "a ticket without a day"),
        Fault({"fuel_fraction": "80"}, "fuel_fraction", "out-of-range", "per cent under a header from 0 to 1"),
        Fault({"job_id": "E26-7777"}, "job_id", "unknown-job", "a job that never came"),
    ),
}


def write_faults(folder: Path, key: Path, taken: str) -> None:
    """The hand-in into `folder`, its key into `key`; `taken` is a job number of another branch."""
    folder.mkdir(parents=True, exist_ok=True)
    told = []
    for table, faults in FAULTS.items():
        columns = [*GOOD[table], *(column for column in COLUMNS.get(table, ()) if column not in GOOD[table])]
        rows = [*_context(table), *(_faulty(table, number, fault, taken) for number, fault in enumerate(faults, 1))]
        path = folder / f"{table}.csv"
        path.write_bytes(_csv(columns, rows).encode())
        first = 2 + len(rows) - len(faults)
        for at, fault in enumerate(faults):
            row = rows[len(rows) - len(faults) + at]
            told.append((table, path.name, first + at, fault.column, row.get(fault.column, ""), fault.rule, fault.words))
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("table", "file", "line", "column", "value", "rule", "words"))
    writer.writerows(told)
    key.write_bytes(out.getvalue().encode())


def _faulty(table: str, number: int, fault: Fault, taken: str) -> Row:
    row = _filled(table, number) | fault.cells
    return {column: taken if value == TAKEN else value for column, value in row.items()}


def _filled(table: str, number: int) -> Row:
    return {column: text.format(n=number) for column, text in GOOD[table].items()}


def _context(table: str) -> list[Row]:
    if table == "jobs":
        return [_filled("jobs", number) | {"job_id": f"E26-9{number:03d}"} for number in range(1, CONTEXT_JOBS + 1)]
    if table == "bodies":
        return [
            _filled("bodies", number) | {"body": "tray", "height_mm": "", "sheet_mm": "", "doors": ""}
            for number in range(1, CONTEXT_JOBS + 1)
        ]
    return []


def _csv(columns: list[str], rows: list[Row]) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([row.get(column, "") for column in columns] for row in rows)
    return out.getvalue()
