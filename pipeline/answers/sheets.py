"""The customer's sheet of a draft: mass, loads, limits and drawing joined into `SheetContent`, and nothing of anybody else.

Why a body is outside of history would tell of the longest or fullest one ever built, so the sheet says only that it is. On a
customer's own screen, where a draft can be changed freely, it gets no count of alike bodies either, since two of them would
differ by a job, and its figures come in steps (`customer_sheet`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.answers.access import Role, require
from pipeline.answers.customer import FULL_TANK, covered, for_customers
from pipeline.answers.customer_sheet import in_steps
from pipeline.answers.draft import Draft, DraftBody, DraftLine, DraftThing, code_of
from pipeline.answers.drafts import Drafts
from pipeline.answers.estimates import with_unknown_items
from pipeline.answers.limits import check_drafts
from pipeline.answers.sheet_content import FitoutLine, LeftOver, LimitLine, LoadLine, SheetBody, SheetContent
from pipeline.answers.sheet_words import assumed, travel_said, what_may_be_added
from pipeline.errors import WrongCall, did_you_mean
from pipeline.frames import Columns, rows, take
from pipeline.layouts.alike import Wanted, alike
from pipeline.loads.cases import text
from pipeline.loads.cautions import CAUTIONS
from pipeline.loads.check import Checked, check
from pipeline.loads.limits import LIMITS
from pipeline.mass.estimate import Estimates, given_or_estimated
from pipeline.mass.items import with_items
from pipeline.mass.model import Model
from pipeline.pictures.drawing import draw
from pipeline.pictures.palette import PAPER
from pipeline.pictures.shape import BodyShape, Centre, ItemMark, body_shape
from pipeline.pictures.units import plain
from pipeline.settings import Settings
from pipeline.settings_loads import TravelLoad
from pipeline.store import Edition

_MASS_FROM = {"estimate": "estimated", "weighed": "weighed", "drawn": "by its drawing, corrected as past drawings were off"}


@dataclass(frozen=True)
class Asked:
    """What is known of one draft before it is told on a sheet.

    Attributes:
        drafts: frames that hold the draft.
        job_id: which job of them.
        found: estimates of `drafts.bodies`, row by row; None: there is no model.
        standing, why: as `answers.estimates.with_unknown_items` gives them.
        laden: the check with the travel load, a case a job.
        empty: the check with a full tank, nobody and nothing on board, cases as in `laden`.
        alike: how many bodies are alike each body of the job, and how many of them were weighed or drawn; None: too few.
    """

    drafts: Drafts
    job_id: str
    found: Estimates | None
    standing: np.ndarray
    why: np.ndarray
    laden: Checked
    empty: Checked
    travel: TravelLoad
    alike: Sequence[tuple[int, int] | None]


def sheet_content(
    edition: Edition | None,
    model: Model | None,
    drafts: Drafts,
    job_id: str,
    settings: Settings,
    travel: TravelLoad,
    role: Role,
    dated_on: dt.date | None = None,
    name: str = "",
) -> SheetContent:
    """Everything on the sheet of one draft, joined from store, mass and loads.

    Args:
        drafts: frames that hold the draft, and maybe others.
        role: who asks, or whose screen it is made on.
        dated_on: day of the sheet; None: the edition's records-to date, else the draft's own day.
        name: what the draft is called; empty: its body and vehicle.
    Raises: WrongCall: the role makes no sheets, no such draft, or it has no body, or no day is known.
    """
    require(role, "make-sheet")
    guest = role is Role.CUSTOMER
    settings = for_customers(settings) if guest else settings
    drafts = one_draft(drafts, job_id)
    checked = check_drafts(edition, model, drafts, settings, travel)
    model = None if model is None else with_items(model, drafts.items)
    found = None if model is None else given_or_estimated(model, drafts.bodies, drafts.fitout, settings.limits.level)
    unknown = np.full(len(drafts.bodies["body"]), "", dtype=object)
    standing, why = (unknown, unknown) if found is None else with_unknown_items(drafts, replace(found, why=unknown))
    records_to = edition.manifest.get("records_to") if edition else None
    asked = Asked(
        drafts=drafts,
        job_id=job_id,
        found=found,
        standing=standing,
        why=why,
        laden=checked.checked,
        empty=check(checked.work, checked.assessed, FULL_TANK, checked.terms),
        travel=travel,
        alike=_alike(None if guest else edition, drafts, settings),
    )
    content = content_of(
        asked,
        settings,
        str(edition.number) if edition else "none",
        dt.date.fromisoformat(records_to) if records_to else None,
        dated_on or _day_of(drafts, records_to),
        name,
    )
    return in_steps(content, edition is None or covered(edition, draft_of(drafts, job_id))) if guest else content


def one_draft(drafts: Drafts, job_id: str) -> Drafts:
    """The frames of one job alone, at its last revision. Raises: WrongCall: no such job, or it has no body."""
    ids, revisions = drafts.bodies["job_id"], text(drafts.bodies, "revision")
    named = sorted({revision or "" for revision in revisions[ids == job_id]}, key=lambda revision: (len(revision), revision))
    own = (ids == job_id) & np.array([(revision or "") == (named[-1] if named else "") for revision in revisions], dtype=bool)
    rows_kept = np.flatnonzero(own)
    place = np.full(len(ids), -1)
    place[rows_kept] = np.arange(len(rows_kept))
    fitout = take(drafts.fitout, np.flatnonzero(own[drafts.fitout["body_row"]]) if len(ids) else np.zeros(0, np.int64))
    fitout["body_row"] = place[fitout["body_row"]].astype(np.int64) if len(ids) else fitout["body_row"]
    kept = replace(drafts, bodies=take(drafts.bodies, rows_kept), fitout=fitout)
    _job(drafts, job_id)
    jobs, on_vehicle, weighings = (_of_job(frame, job_id) for frame in (drafts.jobs, drafts.on_vehicle, drafts.weighings))
    return replace(kept, jobs=jobs, on_vehicle=on_vehicle, weighings=weighings)


def _of_job(frame: Columns, job_id: str) -> Columns:
    return take(frame, np.flatnonzero(text(frame, "job_id") == job_id))


def _alike(edition: Edition | None, drafts: Drafts, settings: Settings) -> list[tuple[int, int] | None]:
    """How many bodies are alike each, and how many of them have a mass; None: too few to count."""
    if edition is None:
        return [None] * len(drafts.bodies["body"])
    counts: list[tuple[int, int] | None] = []
    for at, body in enumerate(rows(drafts.bodies)):
        lines = rows(take(drafts.fitout, drafts.fitout["body_row"] == at))
        held: dict[str, float] = {}
        for line in lines:
            held[line["item_id"]] = held.get(line["item_id"], 0.0) + (line["qty"] or 1.0)
        found = alike(edition.cursor(), Wanted(body["kind"], body["length_mm"], held, body.get("size_class")), settings.layouts)
        counts.append(None if found.too_few else (found.bodies.height, found.bodies["measured_kg"].drop_nulls().len()))
    return counts


def _day_of(drafts: Drafts, records_to: str | None) -> dt.date:
    if records_to:
        return dt.date.fromisoformat(records_to)
    dated = [row["dated_on"] for row in rows(drafts.bodies) if row.get("dated_on") is not None]
    if not dated:
        raise WrongCall("which day is the sheet of?", do="give it a date, or the draft a quoted_on")
    return max(dated)


def content_of(
    asked: Asked, settings: Settings, edition: str, records_to: dt.date | None, dated_on: dt.date, name: str = ""
) -> SheetContent:
    """Everything on the sheet of one draft.

    Args:
        edition: number of the live edition, or `none`.
        dated_on: day of the sheet.
        name: what the draft is called; empty: its body and vehicle.
    Raises: WrongCall: no such job in the drafts, or it has no body.
    """
    job = _job(asked.drafts, asked.job_id)
    vehicle = _row(asked.drafts.vehicles, "vehicle_id", job.get("vehicle_id"))
    upgrade = _row(asked.drafts.upgrades, "upgrade_id", job.get("upgrade_id"))
    case = _case(asked)
    bodies = _bodies(asked, vehicle, upgrade)
    limits = _limits(asked.laden, case)
    vehicle_label = str(vehicle.get("label") or "a vehicle not named yet")
    return SheetContent(
        workshop=settings.workshop.name,
        draft=name or f"{bodies[0].heading.split(',')[0]} for {vehicle_label}",
        vehicle=vehicle_label,
        upgrade=str(upgrade.get("label") or ""),
        bodies=bodies,
        left=_left(asked, case),
        loads=tuple(LoadLine(line["group"], line["label"], line["kg"], line["basis"] or "") for line in asked.laden.board.lines(case)),
        limits=limits,
        assumptions=_assumptions(asked, case),
        may_add=what_may_be_added(limits),
        cautions=CAUTIONS,
        edition=edition,
        records_to=records_to,
        dated_on=dated_on,
        code=code_of(draft_of(asked.drafts, asked.job_id)),
        level=asked.laden.limits.level,
        logo=Path(settings.workshop.logo) if settings.workshop.logo else None,
        price=_price(job, settings),
    )


def draft_of(drafts: Drafts, job_id: str) -> Draft:
    """One job of a draft folder as the value that is saved and sent, so that both have one code."""
    job = _job(drafts, job_id)
    bodies = []
    for at in np.flatnonzero(drafts.bodies["job_id"] == job_id):
        body = next(rows(take(drafts.bodies, np.array([at]))))
        lines = [_picked(DraftLine, line) for line in rows(take(drafts.fitout, drafts.fitout["body_row"] == at))]
        bodies.append(_picked(DraftBody, body, lines=tuple(lines), **{name: _yes_no(body.get(name)) for name in ("painted", "lift_off")}))
    things = [_picked(DraftThing, thing) for thing in rows(take(drafts.on_vehicle, drafts.on_vehicle["job_id"] == job_id))]
    own = {name: job.get(name) for name in ("vehicle_id", "upgrade_id", "towbar_tow_kg", "towbar_ball_kg")}
    return Draft(tuple(bodies), things=tuple(things), **own)


def _picked(kind: Any, row: dict[str, Any], **given: Any) -> Any:
    known = {name: row[name] for name in kind.__struct_fields__ if row.get(name) is not None}
    return kind(**(known | given))


def _yes_no(value: float | None) -> bool | None:
    return None if value is None else value > 0.5


def _job(drafts: Drafts, job_id: str) -> dict[str, Any]:
    ids = [str(one) for one in drafts.jobs["job_id"]]
    if job_id not in ids:
        raise WrongCall("no such draft", got=job_id, expected=", ".join(ids[:10]) or "a draft", do=did_you_mean(job_id, ids))
    if not (drafts.bodies["job_id"] == job_id).any():
        raise WrongCall("the draft has no body to draw", got=job_id, do="add a row to its bodies")
    return next(rows(take(drafts.jobs, np.array([ids.index(job_id)]))))


def _row(frame: Columns, key: str, value: Any) -> dict[str, Any]:
    """The frame's row of that key, empty where there is none."""
    at = np.flatnonzero(frame[key] == value) if value is not None and key in frame else np.zeros(0, np.int64)
    return next(rows(take(frame, at[:1]))) if len(at) else {}


def _case(asked: Asked) -> int:
    return int(np.flatnonzero(asked.laden.limits.job_id == asked.job_id)[0])


def _bodies(asked: Asked, vehicle: dict[str, Any], upgrade: dict[str, Any]) -> tuple[SheetBody, ...]:
    items = {str(row["item_id"]): row for row in rows(asked.drafts.items)}
    wheelbase_mm = vehicle.get("wheelbase_mm")
    if wheelbase_mm is not None:
        vehicle = vehicle | {"wheelbase_mm": wheelbase_mm + (upgrade.get("wheelbase_added_mm") or 0.0)}
    frame, fitout, made = asked.drafts.bodies, asked.drafts.fitout, []
    for number, at in enumerate(np.flatnonzero(frame["job_id"] == asked.job_id).tolist()):
        lines = list(rows(take(fitout, fitout["body_row"] == at)))
        shape = body_shape(next(rows(take(frame, np.array([at])))), lines, items, vehicle, _centre(asked.found, at))
        made.append(_body(asked, shape, at, lines, asked.alike[number]))
    return tuple(made)


def _centre(found: Estimates | None, at: int) -> Centre | None:
    if found is None or np.isnan(found.com_x_mm[at]):
        return None
    names = ("x_mm", "x_low_mm", "x_high_mm", "y_mm", "y_low_mm", "y_high_mm")
    return Centre(*(float(getattr(found, f"com_{name}")[at]) for name in names))


def _body(asked: Asked, shape: BodyShape, at: int, lines: list[dict[str, Any]], alike: tuple[int, int] | None) -> SheetBody:
    found = asked.found
    mass = (None, None, None) if found is None else tuple(float(getattr(found, f"{name}_kg")[at]) for name in ("estimate", "low", "high"))
    source = "estimate" if found is None else str(found.source[at])
    return SheetBody(
        heading=_heading(shape),
        drawing=draw(shape, "sheet", PAPER),
        fitout=tuple(_fitout_line(mark, line) for mark, line in zip(shape.items, lines, strict=True)),
        mass_kg=mass[0],
        low_kg=mass[1],
        high_kg=mass[2],
        mass_from=_MASS_FROM.get(source, source),
        stands_on=_stands_on(alike) if source == "estimate" and found is not None else "",
        standing=str(asked.standing[at] or "") if source == "estimate" else "",
        why="there is no mass model yet" if found is None else str(asked.why[at] or ""),
    )


def _heading(shape: BodyShape) -> str:
    sides = [shape.length_mm, shape.width_mm] + ([shape.height_mm] if shape.height_mm else [])
    return f"{shape.kind.capitalize()}, {' × '.join(plain(side) for side in sides)} mm"


def _fitout_line(mark: ItemMark, line: dict[str, Any]) -> FitoutLine:
    zone = line.get("zone")
    place = str(zone).replace("-", " ") if zone else {"roof": "roof", "under": "under tray"}.get(mark.level, mark.side)
    return FitoutLine(mark.key, mark.label, mark.qty, place)


def _stands_on(alike: tuple[int, int] | None) -> str:
    if alike is None:
        return "It stands on all bodies of ours that were weighed or drawn."
    count, measured = alike
    return f"It stands on {count} alike bodies, {measured} of them weighed or drawn."


def _left(asked: Asked, case: int) -> LeftOver:
    limits = asked.empty.limits
    at = limits.of("gvm")
    margin = limits.margin[case, at]
    if np.isnan(margin):
        return LeftOver(None, None, None, _lines(limits, case)["gvm"].why)
    rating = limits.rating[case, at]
    return LeftOver(float(margin), float(rating - limits.high[case, at]), float(rating - limits.low[case, at]))


def _limits(checked: Checked, case: int) -> tuple[LimitLine, ...]:
    found = _lines(checked.limits, case)
    return tuple(found[name] for name in LIMITS)


def _lines(limits: Any, case: int) -> dict[str, LimitLine]:
    table = limits.table()
    count = len(LIMITS)
    own = take(table, np.arange(case * count, (case + 1) * count))
    names = ("limit", "unit", "value", "low", "high", "rating", "margin", "p_over", "verdict", "why")
    return {row["limit"]: LimitLine(**{name: row[name] for name in names}) for row in rows(own)}


def _assumptions(asked: Asked, case: int) -> tuple[str, ...]:
    return travel_said(asked.travel), *assumed(int(np.bitwise_or.reduce(asked.laden.limits.marks[case])))


def _price(job: dict[str, Any], settings: Settings) -> str:
    price = job.get("price")
    if price is None or not settings.workshop.prices_for_customers:
        return ""
    return f"{plain(price)} {settings.workshop.currency}".strip()
