"""What a draft may start from: an empty body, a typical build of its vehicle, or a past job."""

from __future__ import annotations

from typing import Any

from pipeline.answers.draft import Draft, DraftBody, DraftLine, DraftThing
from pipeline.mass.bodies import USUAL
from pipeline.settings import Settings

_BODY = ("height_mm", "sheet_mm", "floor_mm", "material", "doors", "painted", "offset_mm", "sits_on", "lift_off", "sticks_out_mm")


def empty_draft(con: Any, _settings: Settings, vehicle_id: str | None, kind: str) -> Draft:
    """A body of a kind without fit-out, at the median measures of that kind on the vehicle, else of that kind, else the usual ones."""
    row = con.execute("""
        SELECT median(length_mm), median(width_mm), median(height_mm) FROM current_bodies
        WHERE counted AND kind = ? AND vehicle_id = coalesce((
            SELECT vehicle_id FROM current_bodies WHERE counted AND kind = ? AND vehicle_id = ? LIMIT 1), vehicle_id)""",
        [kind, kind, vehicle_id]).fetchall()[0]  # fmt: skip
    length_mm, width_mm, height_mm = (
        value if value is not None else USUAL[kind][name] for name, value in zip(("length_mm", "width_mm", "height_mm"), row, strict=True)
    )
    height = None if kind == "tray" else _to(height_mm, 10.0)
    return Draft((DraftBody(kind, _to(length_mm, 50.0), _to(width_mm, 10.0), height_mm=height),), vehicle_id=vehicle_id)


def job_draft(con: Any, _settings: Settings, job_id: str) -> Draft | None:
    """A past job as a draft of its own: every body of ours with its lines, without its masses; None: there is no such job."""
    bodies = con.execute(
        f"SELECT body, length_mm, width_mm, {', '.join(_BODY)} FROM current_bodies WHERE job_id = ? AND ours ORDER BY body", [job_id]
    ).fetchall()
    if not bodies:
        return None
    lines: dict[str, list[DraftLine]] = {}
    found = con.execute(
        "SELECT body, item_id, qty, zone, length_mm, x_mm, y_mm FROM current_fitout WHERE job_id = ? ORDER BY source_id, line, part",
        [job_id],
    )
    for body, item_id, qty, zone, *places in found.fetchall():
        lines.setdefault(body, []).append(DraftLine(item_id, qty or 1.0, zone or "", *places))
    job = con.execute(
        "SELECT vehicle_id, upgrade_id, towbar_tow_kg, towbar_ball_kg FROM current_jobs WHERE job_id = ?", [job_id]
    ).fetchall()[0]
    things = con.execute(
        "SELECT label, kg, x_mm, y_mm, holds_l FROM on_vehicle WHERE job_id = ? ORDER BY source_id, line, part", [job_id]
    ).fetchall()
    made = tuple(_body(body, tuple(lines.get(body[0], ()))) for body in bodies)
    vehicle_id, upgrade_id, tow_kg, ball_kg = job
    return Draft(made, vehicle_id, upgrade_id or None, tow_kg, ball_kg, tuple(DraftThing(*thing) for thing in things))


def typical_job(con: Any, _settings: Settings, vehicle_id: str) -> str | None:
    """The job that stands for a vehicle: of its most common layout family's bodies, the one nearest their median length."""
    if not con.execute("SELECT 1 FROM information_schema.tables WHERE table_name = 'family_of_body'").fetchall():
        return _middle_job(con, vehicle_id)
    row = con.execute(
        """
        WITH here AS (
            SELECT b.job_id, b.length_mm, f.family, count(*) OVER (PARTITION BY f.family) AS bodies
            FROM current_bodies AS b JOIN family_of_body AS f ON f.job_id = b.job_id AND f.body = b.body
            WHERE b.counted AND b.vehicle_id = ? AND b.sold_on IS NOT NULL
        ), largest AS (SELECT * FROM here QUALIFY dense_rank() OVER (ORDER BY bodies DESC, family) = 1)
        SELECT job_id FROM largest ORDER BY abs(length_mm - (SELECT median(length_mm) FROM largest)), job_id DESC LIMIT 1""",
        [vehicle_id],
    ).fetchall()
    return row[0][0] if row else _middle_job(con, vehicle_id)


def _middle_job(con: Any, vehicle_id: str) -> str | None:
    row = con.execute(
        """
        WITH here AS (SELECT job_id, length_mm FROM current_bodies WHERE counted AND vehicle_id = ?)
        SELECT job_id FROM here ORDER BY abs(length_mm - (SELECT median(length_mm) FROM here)), job_id DESC LIMIT 1""",
        [vehicle_id],
    ).fetchall()
    return row[0][0] if row else None


def _body(row: tuple[Any, ...], lines: tuple[DraftLine, ...]) -> DraftBody:
    body, length_mm, width_mm, *rest = row
    told = dict(zip(_BODY, rest, strict=True))
    return DraftBody(body, length_mm, width_mm, **told, lines=lines)


def _to(value: float, step: float) -> float:
    return round(value / step) * step
