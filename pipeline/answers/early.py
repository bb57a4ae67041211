"""One draft, asked about from all sides: its mass and what that is made of, what it stands on, and what it leaves of each limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np

from pipeline.answers.draft import Draft, frames_of, from_json, job_id_of
from pipeline.answers.estimates import with_unknown_items
from pipeline.answers.files import Rows
from pipeline.answers.limits import COLUMNS, check_drafts, rounded
from pipeline.errors import NoModel
from pipeline.frames import Columns, rows, take
from pipeline.loads.check import Checked
from pipeline.mass.estimate import Estimates, given_or_estimated
from pipeline.mass.model import Model
from pipeline.settings import Settings
from pipeline.settings_loads import TravelLoad
from pipeline.store import Edition


@dataclass(frozen=True)
class BodyEstimate:
    """One body of a draft: kg, mm behind its own front face and right of its centre line; the interval is at `level`."""

    body: str
    estimate_kg: float
    low_kg: float
    high_kg: float
    com_x_mm: float
    com_x_low_mm: float
    com_x_high_mm: float
    com_y_mm: float
    com_y_low_mm: float
    com_y_high_mm: float
    standing: str
    why: tuple[str, ...]
    level: float


@dataclass(frozen=True)
class OnVehicle:
    """A draft on its vehicle with one upgrade, or none.

    `limits` are columns of `check`, the worst first; `loads` is what is on the vehicle, line by line, adding up to the total.
    """

    upgrade_id: str | None
    limits: Rows
    loads: Rows


@dataclass(frozen=True)
class EarlyAnswer:
    """Everything a page shows of one draft.

    `cases` holds the draft's own upgrade first, then none and every other that can be had; empty without a vehicle.
    `said` is what stands beside them: rules that are broken, what history never did, side balance.
    """

    draft: Draft
    bodies: tuple[BodyEstimate, ...]
    vehicle: dict[str, Any] | None
    cases: tuple[OnVehicle, ...]
    said: tuple[str, ...]


def estimate_draft(
    edition: Edition, model: Model | None, settings: Settings, draft_json: str, level: float, travel_json: str = ""
) -> EarlyAnswer:
    """Estimate one draft and check it on its vehicle.

    Args:
        draft_json: as `draft.to_json` gives it.
        level: how much of such bodies the interval should hold, 0.50 to 0.99.
        travel_json: a TravelLoad as JSON; empty: that of the settings.
    Raises: NoModel: nothing was fitted yet; WrongCall: a level outside its range.
    """
    if model is None:
        raise NoModel("the live edition has no mass model", where=str(edition.path), do="run `tarebook fit`")
    draft = from_json(draft_json)
    frames = frames_of([draft], edition.cursor(), edition.manifest["records_to"])
    found = given_or_estimated(model, frames.bodies, frames.fitout, level)
    standing, why = with_unknown_items(frames, found)
    bodies = tuple(_body(frames.bodies, found, row, standing[row], why[row]) for row in range(len(draft.bodies)))
    travel = msgspec.json.decode(travel_json, type=TravelLoad) if travel_json else settings.travel
    vehicle = _vehicle(frames.vehicles, draft.vehicle_id)
    checked = check_drafts(edition, model, frames, settings, travel, every_upgrade=True)
    said = tuple(line.removeprefix(f"{job_id_of(1)}/").removeprefix(f"{job_id_of(1)}: ") for line in checked.said())
    return EarlyAnswer(draft, bodies, vehicle, _own_first(cases_of(checked.checked), draft.upgrade_id) if vehicle else (), said)


def cases_of(checked: Checked) -> tuple[OnVehicle, ...]:
    """Each case of a check with its limits, the worst first, and its loads; kg and mm to a tenth."""
    table = rounded(checked.limits)
    upgrades = [upgrade or None for upgrade in checked.cases["upgrade_id"].tolist()]
    jobs = checked.cases["job_id"].tolist()
    made = []
    for case, (job_id, upgrade_id) in enumerate(zip(jobs, upgrades, strict=True)):
        mine = (table["job_id"] == job_id) & np.array([(one or None) == upgrade_id for one in table["upgrade_id"].tolist()], dtype=bool)
        limits = Rows.of_columns(take(table, mine), COLUMNS[2:])
        lines = [line | {"mass_kg": line["kg"]} for line in checked.board.lines(case)]
        made.append(OnVehicle(upgrade_id, limits, Rows.of(lines, ("group", "label", "mass_kg", "x_mm", "y_mm", "basis"))))
    return tuple(made)


def _own_first(cases: tuple[OnVehicle, ...], own: str | None) -> tuple[OnVehicle, ...]:
    return tuple(sorted(cases, key=lambda one: (one.upgrade_id != own, one.upgrade_id or "")))


def _body(frame: Columns, found: Estimates, row: int, standing: str, why: str | None) -> BodyEstimate:
    numbers = {name: float(getattr(found, name)[row]) for name in BodyEstimate.__dataclass_fields__ if name.endswith(("_kg", "_mm"))}
    return BodyEstimate(
        body=frame["body"][row], standing=standing, why=tuple((why or "").split("; ")) if why else (), level=found.level, **numbers
    )


def _vehicle(vehicles: Columns, vehicle_id: str | None) -> dict[str, Any] | None:
    ids: Sequence[str] = vehicles["vehicle_id"].tolist()
    return next(rows(take(vehicles, np.array([ids.index(vehicle_id)])))) if vehicle_id in ids else None
