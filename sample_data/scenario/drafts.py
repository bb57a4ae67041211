"""Eight enquiries of today, without masses: what the workshop would like to know before anybody draws them."""

from __future__ import annotations

import random
from datetime import date
from pathlib import Path

from .body import draw_body
from .catalogue import STYLES, VEHICLES
from .draw import bolt_on, years_ago
from .files import COLUMNS, write_plain
from .job import Body, Job, Line, Revision
from .mass import settle_mass
from .rows import rows_of

ASKED_ON = date(2026, 10, 30)
_ENQUIRIES = (
    ("D26-01", "SED-D", "SED-D+300", (("canopy", "tourer, induction", 1620), ("tray", "touring tray", 1770)), "the usual"),
    ("D26-02", "TUS-D", "", (("canopy", "lift-off home", 1770), ("tray", "touring tray", 1830)), "everything, and no upgrade"),
    ("D26-03", "SED-S", "", (("canopy", "trade shelves", 2430),), "trade, long"),
    ("D26-04", "ALD-45", "", (("box", "mobile workshop", 3450),), "a box"),
    ("D26-05", "BRA-L", "", (("canopy", "tourer, gas", 3150),), "longer than anything we ever built"),
    ("D26-06", "SED-X", "SED-X+300", (("canopy", "weekender", 1820),), "with something that is not in our list"),
    ("D26-07", "TUS-X", "TUS-X+350", (("canopy", "tourer, induction", 1820), ("tray", "trade tray", 2090)), "canopy weighed, tray drawn"),
    ("D26-08", "BRA-C", "BRA-C+420", (("canopy", "electrician", 1620), ("tray", "plain tray", 1830)), "a van replaced"),
)


def write_drafts(folder: Path, rng: random.Random) -> None:
    """Drafts as `estimate`, `check`, `levers` and `sheet` take them."""
    jobs = [_enquiry(rng, *enquiry) for enquiry in _ENQUIRIES]
    known = jobs[6].last.bodies
    known[0].weighed_kg = round(known[0].true_kg / 5) * 5.0
    known[1].cad_kg = round(known[1].true_kg * 0.96, 1)
    jobs[5].last.bodies[0].lines.append(Line("pizza-oven", 1, 0, 1500, 0, "middle-rear"))
    tables = rows_of(jobs, ASKED_ON)
    for row, job in zip(tables["jobs"], jobs, strict=True):
        row["note"] = job.note
    for row in tables["bodies"]:
        if row["job_id"] == "D26-07" and row["body"] == "canopy":
            row["weighed_kg"], row["scale_step_kg"] = known[0].weighed_kg, 5
    wanted = {
        "jobs": ("job_id", "branch", "vehicle_id", "upgrade_id", "status", "quoted_on", "towbar_tow_kg", "towbar_ball_kg", "note"),
        "bodies": tuple(
            column for column in COLUMNS["bodies"] if column not in ("revision", "com_x_mm", "com_y_mm", "list_whole", "drawing", "same_as")
        ),
        "fitout": tuple(column for column in COLUMNS["fitout"] if column != "revision"),
        "on_vehicle": COLUMNS["on_vehicle"],
    }
    for table, columns in wanted.items():
        write_plain(folder / f"{table}.csv", columns, tables[table])


def _enquiry(rng: random.Random, job_id: str, vehicle_id: str, upgrade_id: str, wanted: tuple[tuple[str, str, int], ...], note: str) -> Job:
    job = Job(job_id, "eastport", vehicle_id, upgrade_id, [], note=note)
    kinds = [kind for kind, _, _ in wanted]
    bodies = [_body(rng, kind, style, length_mm, vehicle_id, kinds) for kind, style, length_mm in wanted]
    bolt_on(rng, job)
    job.revisions.append(Revision("", ASKED_ON, 0, 0.0, bodies))
    return job


def _body(rng: random.Random, kind: str, style_name: str, length_mm: int, vehicle_id: str, kinds: list[str]) -> Body:
    style = next(style for style in STYLES if style.name == style_name)
    body = draw_body(rng, kind, style, VEHICLES[vehicle_id], kinds, "", ASKED_ON, length_mm)
    settle_mass(body, VEHICLES[vehicle_id]["size_class"], years_ago(ASKED_ON), rng)
    return body
