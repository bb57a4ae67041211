"""From jobs to the rows of the tables, as the branches knew them on a day."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from .catalogue import ITEMS
from .job import Body, Job, Line, Revision

Row = dict[str, object]

TABLES = ("jobs", "bodies", "fitout", "on_vehicle", "weighings")
OLD_NAMES_UNTIL = date(2022, 6, 30)
TOW_RATINGS = (3500, 350)


def rows_of(jobs: Iterable[Job], known_on: date) -> dict[str, list[Row]]:
    """Rows by table of everything that had happened with these jobs by `known_on`."""
    tables: dict[str, list[Row]] = {table: [] for table in TABLES}
    for job in jobs:
        known = [revision for revision in job.revisions if revision.quoted_on <= known_on]
        for revision in known:
            last = revision is known[-1]
            tables["jobs"].append(_job(job, revision, known_on if last else None))
            built = revision is job.last and (job.delivered_on or date.max) <= known_on
            for body in revision.bodies:
                tables["bodies"].append(_body(job, revision, body, weighed=revision is job.last and _ordered(job, known_on)))
                tables["fitout"] += [_line(job, revision, body, line) for line in body.lines if line.listed]
            if built or (last and job.status == "quoted"):
                tables["on_vehicle"] += [{"job_id": job.job_id, **line} for line in job.on_vehicle]
        tables["weighings"] += [{"job_id": job.job_id, **ticket} for ticket in job.weighings if str(ticket["weighed_on"]) <= str(known_on)]
    return tables


def _ordered(job: Job, known_on: date) -> bool:
    return job.ordered_on is not None and job.ordered_on <= known_on


def status_on(job: Job, day: date) -> str:
    """What the job book said on that day."""
    for status, since in (("delivered", job.delivered_on), ("lost", job.lost_on), ("ordered", job.ordered_on)):
        if since is not None and since <= day:
            return "cancelled" if job.status == "cancelled" and status == "ordered" else status
    return "quoted"


def _job(job: Job, revision: Revision, known_on: date | None) -> Row:
    """The row of one version; an earlier version knows only that it was quoted (`known_on` is None)."""
    row: Row = {
        "job_id": job.job_id,
        "revision": revision.letter,
        "branch": job.branch,
        "vehicle_id": job.vehicle_id,
        "upgrade_id": job.upgrade_id,
        "status": "quoted" if known_on is None else status_on(job, known_on),
        "quoted_on": revision.quoted_on,
        "price": revision.price,
        "quoted_h": revision.quoted_h,
        "customer_ref": job.customer,
    }
    if known_on is not None:
        row |= {name: day for name, day in _dates(job) if day is not None and day <= known_on}
        row["lost_why"] = job.lost_why if "lost_on" in row else ""
        row["note"] = job.note if job.ordered_on and job.ordered_on <= known_on else ""
        if job.towbar:
            row["towbar_tow_kg"], row["towbar_ball_kg"] = TOW_RATINGS
        if row["status"] == "delivered":
            row |= {"cost": job.cost, "labour_h": job.labour_h, "folder": f"jobs/{job.job_id}"}
    return row


def _dates(job: Job) -> tuple[tuple[str, date | None], ...]:
    return (("ordered_on", job.ordered_on), ("delivered_on", job.delivered_on), ("lost_on", job.lost_on))


def _body(job: Job, revision: Revision, body: Body, weighed: bool) -> Row:
    step = {"eastport": 5, "millrace": 5, "northgap": 10 * 0.45359237}[job.branch]
    scale = body.weighed_kg if weighed else None
    centred = body.com_mm if scale or body.cad_kg else None
    return {
        "job_id": job.job_id,
        "revision": revision.letter,
        "body": body.body,
        "length_mm": body.length_mm,
        "width_mm": body.width_mm,
        "height_mm": body.height_mm,
        "length_approximate": "yes" if body.length_approximate else "",
        "sheet_mm": body.sheet_mm,
        "floor_mm": body.floor_mm,
        "material": "5052",
        "doors": body.doors,
        "painted": "yes" if body.painted else "no",
        "colour_outside": body.colour if body.painted else "",
        "cad_kg": body.cad_kg,
        "weighed_kg": scale,
        "scale_step_kg": step if scale else None,
        "com_x_mm": centred[0] if centred else None,
        "com_y_mm": centred[1] if centred else None,
        "offset_mm": body.offset_mm,
        "sits_on": body.sits_on,
        "lift_off": "yes" if body.lift_off else "",
        "sticks_out_mm": 310 if any(line.item_id == "wheel-arm" for line in body.lines) else None,
        "list_whole": "yes" if body.list_whole and scale else "",
        "drawing": body.drawing,
        "origin": body.origin,
        "same_as": body.same_as,
    }


def _line(job: Job, revision: Revision, body: Body, line: Line) -> Row:
    old = ITEMS[line.item_id].more.get("also_called") if line.item_id in ITEMS and revision.quoted_on <= OLD_NAMES_UNTIL else None
    return {
        "job_id": job.job_id,
        "revision": revision.letter,
        "body": body.body,
        "item_id": old or line.item_id,
        "qty": line.qty,
        "zone": line.zone,
        "x_mm": round(line.x_mm),
        "y_mm": round(line.y_mm),
    }
