"""A past build on a page: its drawing out of the records."""

from __future__ import annotations

from typing import Any

from dashboard import live
from dashboard.early.choices import choices
from dashboard.here import Here
from pipeline.answers.draft import Draft
from pipeline.answers.starts import job_draft
from pipeline.frames import from_sql, rows
from pipeline.pictures.drawing import Drawing, draw
from pipeline.pictures.palette import DARK, LIGHT
from pipeline.pictures.shape import BodyShape, Centre, body_shape
from pipeline.settings import Settings


def job_drawing(now: Here, job_id: str, body: str, size: str) -> Drawing | None:
    """One body of a past job to scale; None where there is no such body of ours."""
    return live.ask(_drawn, job_id, body, size, now.look.name, now.units.system)


def _drawn(con: Any, settings: Settings, job_id: str, body: str, size: str, look: str, units: str) -> Drawing | None:
    draft = job_draft(con, settings, job_id)
    shape = draft_shape(settings, draft, body) if draft else None
    return draw(shape, size, DARK if look == DARK.name else LIGHT, title=f"{body} to scale", units=units) if shape else None


def draft_shape(settings: Settings, draft: Draft, body: str, centre: Centre | None = None) -> BodyShape | None:
    """One body of a draft as it is drawn, its items with the keys that the drawing writes on them."""
    items = live.ask(choices)["items"]
    vehicle = live.ask(vehicle_row, draft.vehicle_id)
    for one in draft.bodies:
        if one.body == body:
            row = {field: getattr(one, field) for field in one.__struct_fields__ if field != "lines"}
            lines = [{field: getattr(line, field) for field in line.__struct_fields__} for line in one.lines]
            return body_shape(row, lines, items, vehicle, centre, settings.mass)
    return None


def vehicle_row(con: Any, _settings: Settings, vehicle_id: str | None) -> dict[str, Any] | None:
    """One vehicle of the records."""
    found = list(rows(from_sql(con, "SELECT * FROM vehicles WHERE vehicle_id = ?", [vehicle_id])))
    return found[0] if found else None
