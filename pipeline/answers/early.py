"""One draft, asked about from all sides: its mass and what that is made of, what it stands on, and what it leaves of each limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import msgspec
import numpy as np

from pipeline.answers.draft import Draft, frames_of, from_json, job_id_of
from pipeline.answers.estimates import with_unknown_items
from pipeline.answers.files import Rows
from pipeline.answers.levers import levers_of_drafts
from pipeline.answers.limits import COLUMNS, check_drafts, rounded
from pipeline.answers.nearest import NearBuild, nearest_builds
from pipeline.errors import NoModel
from pipeline.frames import Columns, rows, take
from pipeline.layouts.alike import Wanted, alike
from pipeline.loads.check import Checked
from pipeline.mass.estimate import Estimates, given_or_estimated
from pipeline.mass.explain import Part, difference, explain
from pipeline.mass.items import with_items
from pipeline.mass.model import Model
from pipeline.settings import Settings
from pipeline.settings_loads import TravelLoad
from pipeline.store import Edition

PARTS = ("label", "kg", "sd_kg", "source", "records")
NEAREST = ("job_id", "body", "mass_kg", "length_mm", "distance_kg", "differs")
NEAREST_SHOWN = 5


@dataclass(frozen=True)
class BodyEstimate:
    """One body of a draft: kg, mm behind its own front face and right of its centre line; the interval is at `level`.

    `parts` (PARTS) add up to the estimate; `nearest` (NEAREST) are the nearest weighed builds.
    """

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
    parts: Rows
    nearest: Rows


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
    model = with_items(model, frames.items)
    found = given_or_estimated(model, frames.bodies, frames.fitout, level)
    standing, why = with_unknown_items(frames, found)
    near = nearest_builds(edition, frames.bodies, frames.fitout, NEAREST_SHOWN)
    bodies = tuple(
        _body(frames.bodies, found, row, standing[row], why[row], explain(model, frames.bodies, frames.fitout, row), near[row])
        for row in range(len(draft.bodies))
    )
    travel = _travel(settings, travel_json)
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


def _body(
    frame: Columns, found: Estimates, row: int, standing: str, why: str | None, parts: Sequence[Part], near: Sequence[NearBuild]
) -> BodyEstimate:
    numbers = {name: float(getattr(found, name)[row]) for name in BodyEstimate.__dataclass_fields__ if name.endswith(("_kg", "_mm"))}
    return BodyEstimate(
        body=frame["body"][row], standing=standing, why=tuple((why or "").split("; ")) if why else (), level=found.level,
        parts=Rows.of([asdict(part) for part in parts], PARTS),
        nearest=Rows.of([asdict(one) | {"differs": ", ".join(one.differs)} for one in near], NEAREST), **numbers,
    )  # fmt: skip


@dataclass(frozen=True)
class LeversFound:
    """The smallest changes that give a draft its margins back (columns of `levers`), and what is said beside them."""

    rows: Rows
    said: tuple[str, ...]


def draft_levers(edition: Edition, model: Model | None, settings: Settings, draft_json: str, travel_json: str = "") -> LeversFound:
    """Levers of one draft. Raises: NoModel."""
    if model is None:
        raise NoModel("the live edition has no mass model", where=str(edition.path), do="run `tarebook fit`")
    frames = frames_of([from_json(draft_json)], edition.cursor(), edition.manifest["records_to"])
    found = levers_of_drafts(edition, model, frames, settings, _travel(settings, travel_json))
    rows = found.rows()
    return LeversFound(
        Rows(rows.columns[1:], [row[1:] for row in rows.rows]), tuple(line.removeprefix(f"{job_id_of(1)}: ") for line in found.said())
    )


def draft_difference(edition: Edition, model: Model | None, _settings: Settings, first_json: str, second_json: str) -> Rows:
    """Two drafts part by part: `body, label, first_kg, second_kg, difference_kg, sd_kg`; differences add up body by body.

    Raises: NoModel.
    """
    if model is None:
        raise NoModel("the live edition has no mass model", where=str(edition.path), do="run `tarebook fit`")
    first, second = from_json(first_json), from_json(second_json)
    frames = frames_of([first, second], edition.cursor(), edition.manifest["records_to"])
    model = with_items(model, frames.items)
    places = {body.body: len(first.bodies) + place for place, body in enumerate(second.bodies)}
    told = []
    for place, body in enumerate(first.bodies):
        if body.body in places:
            parts = difference(model, frames.bodies, frames.fitout, place, places[body.body])
            told += [{"body": body.body} | asdict(part) for part in parts]
    return Rows.of(told, ("body", "label", "first_kg", "second_kg", "difference_kg", "sd_kg"))


@dataclass(frozen=True)
class AlikeBuilds:
    """Past builds alike a body: how many, hours and prices where known (middle 8 in 10), and the bodies, the likest first."""

    bodies: Rows
    too_few: bool
    hours: tuple[float, float] | None
    prices: tuple[float, float] | None


def alike_builds(con: Any, settings: Settings, draft_json: str, place: int) -> AlikeBuilds:
    """Past builds alike one body of a draft."""
    draft = from_json(draft_json)
    body = draft.bodies[place]
    held: dict[str, float] = {}
    for line in body.lines:
        held[line.item_id] = held.get(line.item_id, 0.0) + line.qty
    size = con.execute("SELECT size_class FROM vehicles WHERE vehicle_id = ?", [draft.vehicle_id]).fetchall()
    found = alike(con, Wanted(body.body.partition("-")[0], body.length_mm, held, size[0][0] if size else None), settings.layouts)
    jobs = found.bodies["job_id"].unique().to_list()
    told = con.execute(
        "SELECT quantile_cont(labour_h, [0.1, 0.9]), count(labour_h), quantile_cont(price, [0.1, 0.9]), count(price) FROM current_jobs "
        "WHERE list_contains(?, job_id)", [jobs],
    ).fetchall()[0]  # fmt: skip
    least = settings.layouts.alike_few
    hours, prices = (tuple(ends) if count >= least else None for ends, count in (told[:2], told[2:]))
    return AlikeBuilds(Rows.of_frame(found.bodies), found.too_few, hours, prices)


def _travel(settings: Settings, travel_json: str) -> TravelLoad:
    return msgspec.json.decode(travel_json, type=TravelLoad) if travel_json else settings.travel


def _vehicle(vehicles: Columns, vehicle_id: str | None) -> dict[str, Any] | None:
    ids: Sequence[str] = vehicles["vehicle_id"].tolist()
    return next(rows(take(vehicles, np.array([ids.index(vehicle_id)])))) if vehicle_id in ids else None
