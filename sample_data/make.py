"""Make the demo scenario anew: `python sample_data/make.py` writes the same bytes each time.

What the files tell, and what is planted in them, stands in the README beside this script.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
from datetime import date
from pathlib import Path

from scenario.catalogue import ITEMS, LATECOMER, UPGRADE_COLUMNS, UPGRADES, VEHICLE_COLUMNS, VEHICLES, WITHOUT_DATASHEET, Item
from scenario.drafts import write_drafts
from scenario.draw import NEWEST, draw_jobs
from scenario.evidence import write_down
from scenario.faults import write_faults
from scenario.files import COLUMNS, write_decimal_comma, write_imperial, write_plain
from scenario.job import Body, Job
from scenario.rows import TABLES, Row, rows_of
from scenario.wide import write_early_list

SEED = 20201102
ENQUIRIES = 2000
EXPORTED_ON = date(2026, 8, 31)
"""Eastport's job book was exported then; what came after stands in the corrections."""
EARLY_UNTIL = date(2021, 12, 31)
"""Until then Millrace kept one wide list in a workbook."""
BORROWED_TICKETS = 10
"""Vehicles of Millrace that were weighed on Eastport's bridge; the tickets came in before their jobs."""
ITEM_COLUMNS = (
    "item_id", "label", "group", "datasheet_kg", "datasheet_kg_per_m", "also_called", "needs", "not_with", "instead_of",
    "shortest_mm", "holds_l", "retired_on",
)  # fmt: skip
TRAVEL = """\
# Two people in front, a child behind, luggage, full water, a light trailer.
people = [
    {kg = 82, seat = "front", side = "right"},
    {kg = 64, seat = "front", side = "left"},
    {kg = 30, seat = "rear", side = "left"},
]
luggage_kg = 60
water_l = 50
fuel_fraction = 1.0
trailer_kg = 900
ball_kg = 80

[[extra]]
label = "roof tent"
kg = 58
x_mm = 700
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent, help="folder to write into (default: beside this script)")
    write_all(parser.parse_args().out)


def write_all(folder: Path) -> list[Job]:
    """Write every file of the scenario into `folder`; returns the jobs as the last hand-in leaves them."""
    rng = random.Random(SEED)
    jobs = draw_jobs(rng, ENQUIRIES)
    write_down(rng, jobs)
    records = folder / "records"
    if records.exists():
        shutil.rmtree(records)
    _catalogue(records / "01-catalogue", rng)
    _eastport(records, rng, jobs)
    _millrace(records, jobs)
    _northgap(records / "05-northgap", jobs)
    taken = next(job.job_id for job in jobs if job.branch == "millrace" and job.revisions[0].quoted_on.year == 2024)
    write_faults(records / "08-with-faults", folder / "faults.key.csv", taken)
    write_drafts(folder / "drafts", random.Random(SEED + 1))
    (folder / "travel.toml").write_bytes(TRAVEL.encode())
    return jobs


def _catalogue(folder: Path, rng: random.Random) -> None:
    write_plain(folder / "vehicles.csv", VEHICLE_COLUMNS, VEHICLES.values())
    write_plain(folder / "upgrades.csv", UPGRADE_COLUMNS, UPGRADES.values())
    rows = [_item_row(item, rng) for item in ITEMS.values()]
    write_plain(folder / "items.csv", ITEM_COLUMNS, [row for row in rows if row["group"] != "power"])
    lines = [
        json.dumps({name: value for name, value in row.items() if value not in ("", None)}) + "\n"
        for row in rows
        if row["group"] == "power"
    ]
    (folder / "items-power.jsonl").write_bytes("".join(lines).encode())


def _item_row(item: Item, rng: random.Random) -> Row:
    """The maker's figure is a little off, and knows of no bracket and no wire."""
    error = rng.gauss(1, 0.07)
    per_m = round(item.kg_per_m * error, 1)
    row: Row = {"item_id": item.item_id, "label": item.label, "group": item.group, **item.more}
    if item.item_id not in WITHOUT_DATASHEET:
        row["datasheet_kg"] = round(item.kg * error - 1.6 * per_m, 1)
        row["datasheet_kg_per_m"] = per_m or None
    return row


def _eastport(records: Path, rng: random.Random, jobs: list[Job]) -> None:
    own = [job for job in jobs if job.branch == "eastport"]
    before = rows_of(own, EXPORTED_ON)
    old = [job for job in own if job.revisions[0].quoted_on.year <= 2023]
    tables = rows_of(old, EXPORTED_ON)
    first = records / "02-eastport-to-2023"
    for year in range(2020, 2024):
        write_plain(
            first / f"jobs-{year}.csv", COLUMNS["jobs"], [row for row in tables["jobs"] if str(row["job_id"])[1:3] == str(year)[2:]]
        )
    for table in TABLES[1:]:
        write_plain(first / f"{table}.csv", COLUMNS[table], tables[table])
    tables = rows_of([job for job in own if job not in old], EXPORTED_ON)
    tables["weighings"] += rows_of(_borrowers(jobs), EXPORTED_ON)["weighings"]
    for table in TABLES:
        write_plain(records / "03-eastport-2024-on" / f"{table}.csv", COLUMNS[table], tables[table])
    _correct(rng, own)
    _corrections(records / "07-corrections", before, rows_of(own, NEWEST))


def _borrowers(jobs: list[Job]) -> list[Job]:
    weighed = [
        job
        for job in jobs
        if job.branch == "millrace" and job.weighings and job.delivered_on and date(2024, 1, 1) < job.delivered_on < EXPORTED_ON
    ]
    return weighed[:BORROWED_TICKETS]


def _correct(rng: random.Random, jobs: list[Job]) -> None:
    """Somebody went through the old papers: half of the gross errors put right, a dozen lists completed."""
    built = [body for job in jobs for body in job.last.bodies if job.delivered_on and job.delivered_on < EXPORTED_ON and body.weighed_kg]
    wrong = [body for body in built if body.gross]
    for body in wrong[::2]:
        body.weighed_kg, body.gross = round(body.true_kg / 5) * 5.0, ""
    short = [body for body in built if any(not line.listed for line in body.lines)]
    for body in rng.sample(short, 12):
        _complete(body)


def _complete(body: Body) -> None:
    body.list_whole = True
    for line in body.lines:
        line.listed = True


def _corrections(folder: Path, before: dict[str, list[Row]], after: dict[str, list[Row]]) -> None:
    """All rows that read otherwise than in the earlier exports; of fit-out and things bolted on, all lines of that body or job."""
    for table in TABLES:
        known = {_text(row) for row in before[table]}
        new = [row for row in after[table] if _text(row) not in known]
        if table in ("fitout", "on_vehicle"):
            touched = {_group(row) for row in new}
            new = [row for row in after[table] if _group(row) in touched]
        write_plain(folder / f"{table}.csv", COLUMNS[table], new)
    row: Row = {"item_id": LATECOMER.item_id, "label": LATECOMER.label, "group": LATECOMER.group, "datasheet_kg": 4.4, **LATECOMER.more}
    write_plain(folder / "items.csv", ITEM_COLUMNS, [row])


def _text(row: Row) -> str:
    return repr(sorted((name, value) for name, value in row.items() if value not in ("", None)))


def _group(row: Row) -> tuple[object, ...]:
    return row["job_id"], row.get("revision"), row.get("body")


def _millrace(records: Path, jobs: list[Job]) -> None:
    own = [job for job in jobs if job.branch == "millrace"]
    early = [job for job in own if job.revisions[0].quoted_on <= EARLY_UNTIL]
    write_early_list(records / "06-millrace-early.xlsx", early)
    tables = rows_of([job for job in own if job not in early], NEWEST)
    borrowed = {job.job_id for job in _borrowers(jobs)}
    tables["weighings"] = [row for row in tables["weighings"] if row["job_id"] not in borrowed]
    for table in TABLES:
        columns = [column for column in COLUMNS[table] if column not in ("x_mm", "y_mm", "folder") or table == "on_vehicle"]
        write_decimal_comma(records / "04-millrace" / f"{table}.csv", columns, tables[table], f"Millrace branch, {table.replace('_', ' ')}")


def _northgap(folder: Path, jobs: list[Job]) -> None:
    tables = rows_of([job for job in jobs if job.branch == "northgap"], NEWEST)
    inches = ("length_mm", "width_mm", "height_mm", "com_x_mm", "com_y_mm", "offset_mm", "sticks_out_mm")
    for table in TABLES:
        columns = [column for column in COLUMNS[table] if table != "fitout" or column not in ("x_mm", "y_mm")]
        if table in ("bodies", "weighings"):
            write_imperial(folder / f"{table}.csv", columns, tables[table], inches)
        else:
            write_plain(folder / f"{table}.csv", columns, tables[table])


if __name__ == "__main__":
    main()
