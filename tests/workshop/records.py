"""Put the invented workshop together: draw, weigh, read, and lay it out in the frames that rooms hand to each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .bodies import Bodies, Jobs, Lines, draw_bodies, draw_jobs, draw_lines
from .catalogue import ITEMS, UPGRADES, VEHICLES
from .effects import Change, Effects
from .evidence import Readings, Tickets, read_bodies, read_tickets
from .truth import DRAWING_BIAS, NOISE, SCALE_STEP_KG, Habits, Mass, draw_habits, weigh

Columns = dict[str, np.ndarray]

_NO_DATE = np.datetime64("NaT", "D")
_LOST_WHY = ("price", "lead-time", "mass", "elsewhere", "no-answer", "other")


@dataclass(frozen=True)
class Frames:
    """One set of records, a frame a table; `fitout.body_row` points into `bodies`."""

    bodies: Columns
    fitout: Columns
    items: Columns
    vehicles: Columns
    upgrades: Columns
    jobs: Columns
    on_vehicle: Columns
    weighings: Columns


@dataclass(frozen=True)
class Truth:
    """What only the generator knows.

    `history` and `drafts` are row by row for the bodies of the frame of that name: mu_kg (noiseless), sd_kg (what no
    model can foretell: build and scale), actual_kg (as a scale would show it), com_x_mm, com_y_mm, family (planted
    number, -1: none), gross (None or the kind of the planted error), items (pieces really in the body),
    unlisted (of those, not written down).
    """

    history: Columns
    drafts: Columns
    items: Columns
    """item_id, kg and kg_per_m (about a length of 1.7 m) of what an item adds."""
    drawing_bias: float
    missing: Columns
    """body_row into history.bodies and item_id of each line that nobody wrote down."""
    changes: tuple[Change, ...]
    vehicle_offset_kg: dict[str, float]


@dataclass(frozen=True)
class Workshop:
    """History, drafts held out of it, and the truth behind both."""

    history: Frames
    drafts: Frames
    truth: Truth
    effects: Effects


def make_workshop(seed: int, bodies: int, years: int = 6, **effects: object) -> Workshop:
    """An invented workshop with `bodies` bodies of history over `years` years.

    Args:
        seed: same seed and switches, same workshop.
        effects: fields of `Effects`.
    """
    switches = Effects(**effects)  # type: ignore[arg-type]
    rng = np.random.default_rng([seed, 20261125])
    drafts = switches.drafts if switches.drafts is not None else max(120, bodies // 4)
    habits = draw_habits(rng, switches)
    jobs = draw_jobs(rng, bodies, drafts, years, switches)
    shells = draw_bodies(rng, jobs, switches)
    lines = draw_lines(rng, jobs, shells, switches)
    mass = weigh(habits, shells, lines, _years_ago(jobs, shells, switches), _of_vehicle(jobs, "size_class")[shells.job], switches)
    actual = mass.mu_kg * (1 + rng.normal(0, NOISE, len(mass.mu_kg)))
    readings = read_bodies(rng, jobs, shells, mass, actual, switches)
    job_id = np.array([f"W{seed}-{number:05d}" for number in range(len(jobs.kinds))], dtype=object)
    tickets = read_tickets(rng, jobs, shells, mass, actual, readings, job_id, switches)
    checked = rng.random(len(shells.job)) < switches.checked
    listed = (rng.random(len(lines.body)) >= switches.unlisted) | checked[lines.body]
    drawn = _Drawn(jobs, shells, lines, mass, actual, readings, tickets, job_id, checked, listed)
    items = _items(rng, habits, switches)
    money = _money(rng, drawn)
    parts = [_frames(drawn, items, money, jobs.draft == mark) for mark in (False, True)]
    return Workshop(parts[0], parts[1], _truth(drawn, habits, switches), switches)


@dataclass(frozen=True)
class _Drawn:
    jobs: Jobs
    bodies: Bodies
    lines: Lines
    mass: Mass
    actual_kg: np.ndarray
    readings: Readings
    tickets: Tickets
    job_id: np.ndarray
    checked: np.ndarray
    listed: np.ndarray


def _dated(jobs: Jobs) -> np.ndarray:
    dated = np.where(np.isnat(jobs.delivered_on), jobs.ordered_on, jobs.delivered_on)
    return np.where(np.isnat(dated), jobs.quoted_on, dated)


def _years_ago(jobs: Jobs, bodies: Bodies, effects: Effects) -> np.ndarray:
    return (effects.newest - _dated(jobs)[bodies.job]).astype(float) / 365.25


def _of_vehicle(jobs: Jobs, name: str) -> np.ndarray:
    values = [getattr(vehicle, name) for vehicle in VEHICLES]
    return np.array(values, dtype=object if isinstance(values[0], str) else float)[jobs.vehicle]


def _money(rng: np.random.Generator, drawn: _Drawn) -> Columns:
    jobs = drawn.jobs
    n = len(jobs.kinds)
    work = np.bincount(drawn.bodies.job, 12 + 0.09 * drawn.mass.mu_kg, n)
    quoted = np.round(work * np.exp(rng.normal(0, 0.05, n)), 1)
    delivered = ~np.isnat(jobs.delivered_on)
    price = np.round(np.bincount(drawn.bodies.job, 3800 + 31.0 * drawn.mass.mu_kg, n) * np.exp(rng.normal(0, 0.08, n)), -1)
    labour = np.where(delivered, np.round(work * np.exp(rng.normal(0.04, 0.12, n)), 1), np.nan)
    why = np.full(n, None, dtype=object)
    lost = jobs.status == "lost"
    why[lost] = rng.choice(np.array(_LOST_WHY, dtype=object), lost.sum(), p=[0.34, 0.18, 0.12, 0.14, 0.16, 0.06])
    return {"price": price, "cost": np.round(price * 0.71, -1), "quoted_h": quoted, "labour_h": labour, "lost_why": why}


def _frames(drawn: _Drawn, items: Columns, money: Columns, of_job: np.ndarray) -> Frames:
    picked = np.flatnonzero(of_job)
    rows = np.flatnonzero(of_job[drawn.bodies.job])
    jobs = _jobs(drawn, money, picked)
    ids = set(jobs["job_id"])
    return Frames(
        bodies=_bodies(drawn, money, rows),
        fitout=_fitout(drawn, rows),
        items=items,
        vehicles=_vehicles(),
        upgrades=_upgrades(),
        jobs=jobs,
        on_vehicle=_frame(drawn.tickets.on_vehicle, _ON_VEHICLE, ids),
        weighings=_frame(drawn.tickets.weighings, _WEIGHINGS, ids),
    )


def _text(n: int, value: object = None) -> np.ndarray:
    return np.full(n, value, dtype=object)


def _jobs(drawn: _Drawn, money: Columns, picked: np.ndarray) -> Columns:
    jobs, n = drawn.jobs, len(picked)
    return {
        "job_id": drawn.job_id[picked],
        "revision": _text(n),
        "branch": jobs.branch[picked],
        "vehicle_id": _of_vehicle(jobs, "vehicle_id")[picked],
        "upgrade_id": drawn.tickets.upgrade[picked],
        "status": jobs.status[picked],
        "quoted_on": jobs.quoted_on[picked],
        "ordered_on": jobs.ordered_on[picked],
        "delivered_on": jobs.delivered_on[picked],
        "lost_on": jobs.lost_on[picked],
        "lost_why": money["lost_why"][picked],
        "price": money["price"][picked],
        "cost": money["cost"][picked],
        "quoted_h": money["quoted_h"][picked],
        "labour_h": money["labour_h"][picked],
        "towbar_tow_kg": np.full(n, np.nan),
        "towbar_ball_kg": np.full(n, np.nan),
        "customer_ref": _text(n),
        "folder": _text(n),
        "note": _text(n),
    }


def _bodies(drawn: _Drawn, money: Columns, rows: np.ndarray) -> Columns:
    jobs, bodies, readings, n = drawn.jobs, drawn.bodies, drawn.readings, len(rows)
    of = bodies.job[rows]
    unknown = np.full(n, np.nan)
    paired = np.isin(of, np.flatnonzero([len(kinds) > 1 for kinds in jobs.kinds]))
    on_tray = paired & (bodies.kind[rows] == "canopy")
    sold = np.where(np.isin(jobs.status, ("ordered", "delivered")), jobs.ordered_on, _NO_DATE)
    drawing = np.where(jobs.repeat_of >= 0, drawn.job_id[jobs.repeat_of], drawn.job_id)[of]
    painted_in = np.where(bodies.painted[rows] == 1, "white", None)
    return {
        "job_id": drawn.job_id[of],
        "revision": _text(n),
        "body": bodies.kind[rows],
        "kind": bodies.kind[rows],
        "length_mm": bodies.length_mm[rows],
        "width_mm": bodies.width_mm[rows],
        "height_mm": bodies.height_mm[rows],
        "length_approximate": unknown,
        "sheet_mm": bodies.sheet_mm[rows],
        "floor_mm": bodies.floor_mm[rows],
        "material": _text(n, "5052"),
        "doors": bodies.doors[rows],
        "painted": bodies.painted[rows],
        "colour_outside": painted_in.astype(object),
        "colour_doors": painted_in.astype(object),
        "colour_inside": _text(n),
        "cad_kg": readings.cad_kg[rows],
        "cad_shell_kg": unknown,
        "weighed_kg": readings.weighed_kg[rows],
        "scale_step_kg": readings.scale_step_kg[rows],
        "com_x_mm": readings.com_x_mm[rows],
        "com_y_mm": readings.com_y_mm[rows],
        "com_z_mm": unknown,
        "offset_mm": np.where(on_tray, 30.0, 0.0),
        "sits_on": np.where(on_tray, "tray", "chassis").astype(object),
        "lift_off": unknown,
        "sticks_out_mm": unknown,
        "list_whole": np.where(drawn.checked[rows], 1.0, np.nan),
        "drawing": np.array([f"{model}/{kind}" for model, kind in zip(drawing, bodies.kind[rows], strict=True)], dtype=object),
        "origin": np.where(jobs.repeat_of[of] >= 0, "repeat", "new").astype(object),
        "same_as": _text(n),
        "vehicle_id": _of_vehicle(jobs, "vehicle_id")[of],
        "upgrade_id": drawn.tickets.upgrade[of],
        "branch": jobs.branch[of],
        "status": jobs.status[of],
        "size_class": _of_vehicle(jobs, "size_class")[of],
        "cab": _of_vehicle(jobs, "cab")[of],
        "dated_on": _dated(jobs)[of],
        "sold_on": sold[of],
        "price": money["price"][of],
        "labour_h": money["labour_h"][of],
        "quoted_h": money["quoted_h"][of],
        "suspect": np.zeros(n),
        "list_short": np.zeros(n),
    }


def _fitout(drawn: _Drawn, rows: np.ndarray) -> Columns:
    lines, bodies = drawn.lines, drawn.bodies
    row_of = np.full(len(bodies.job), -1)
    row_of[rows] = np.arange(len(rows))
    here = np.flatnonzero((row_of[lines.body] >= 0) & drawn.listed)
    body = lines.body[here]
    ids = np.array([item.item_id for item in ITEMS], dtype=object)
    return {
        "job_id": drawn.job_id[bodies.job[body]],
        "revision": _text(len(here)),
        "body": bodies.kind[body],
        "item_id": ids[lines.item[here]],
        "qty": lines.qty[here],
        "length_mm": np.full(len(here), np.nan),
        "zone": _zones(bodies, lines, here),
        "x_mm": lines.x_mm[here],
        "y_mm": lines.y_mm[here],
        "body_row": row_of[body].astype(np.int64),
    }


def _zones(bodies: Bodies, lines: Lines, here: np.ndarray) -> np.ndarray:
    part = np.clip(lines.x_mm[here] / bodies.length_mm[lines.body[here]], 0, 0.999)
    place = np.array(["front", "mid", "rear"], dtype=object)[(part * 3).astype(int)]
    side = np.array(["left", "middle", "right"], dtype=object)[lines.side[here] + 1]
    named = np.array([{"roof": "roof", "under": "under-tray"}.get(item.side) for item in ITEMS], dtype=object)[lines.item[here]]
    return np.where(named == None, side + "-" + place, named)  # noqa: E711 - elementwise


def _items(rng: np.random.Generator, habits: Habits, effects: Effects) -> Columns:
    n = len(ITEMS)
    error = np.exp(rng.normal(0, effects.catalogue_error, n))
    # the maker's figure is for the bare part, `kg + kg_per_m x length in metres`; brackets and wiring come on top
    at_usual = (habits.item_kg - 0.8) / 1.05 * error
    per_m = habits.item_kg_per_m * error
    unknown = np.full(n, np.nan)
    return {
        "item_id": np.array([item.item_id for item in ITEMS], dtype=object),
        "label": np.array([item.label for item in ITEMS], dtype=object),
        "group": np.array([item.group for item in ITEMS], dtype=object),
        "datasheet_kg": np.round(at_usual - 1.7 * per_m, 2) if effects.catalogue else unknown,
        "datasheet_kg_per_m": np.round(per_m, 2) if effects.catalogue else unknown,
        "also_called": _text(n),
        "needs": _text(n),
        "not_with": _text(n),
        "instead_of": _text(n),
        "shortest_mm": unknown,
        "holds_l": np.array([{"tank-45": 45.0, "tank-90": 90.0}.get(item.item_id, np.nan) for item in ITEMS]),
        "retired_on": np.full(n, _NO_DATE),
    }


def _vehicles() -> Columns:
    text = {"vehicle_id", "label", "size_class", "cab"}
    frame: Columns = {}
    for name in VEHICLES[0]._fields:
        frame[name] = np.array([getattr(vehicle, name) for vehicle in VEHICLES], dtype=object if name in text else float)
    del frame["share"]
    n = len(VEHICLES)
    frame |= {"deck_height_mm": np.full(n, 900.0), "empty_basis": _text(n, "kerb"), "fuel": _text(n, "diesel")}
    frame["empty_rear_kg"] = frame["empty_kg"] - frame["empty_front_kg"]
    unknown = ("tub_x_mm", "tank_mm", "front_seat_mm", "rear_seat_mm", "front_tyres_kg", "rear_tyres_kg")
    frame |= {name: np.full(n, np.nan) for name in unknown}
    return frame | {"tow_limit_kg": np.full(n, 3500.0), "ball_limit_kg": np.full(n, 350.0)}


def _upgrades() -> Columns:
    names = ("upgrade_id", "vehicle_id", "label", "gvm_kg", "front_limit_kg", "rear_limit_kg", "added_kg", "added_x_mm")
    columns = zip(names, zip(*UPGRADES, strict=True), strict=True)
    frame = {name: np.array(values, dtype=object if isinstance(values[0], str) else float) for name, values in columns}
    n = len(UPGRADES)
    unknown = ("gcm_kg", "front_tyres_kg", "rear_tyres_kg", "tow_limit_kg", "ball_limit_kg", "wheelbase_added_mm")
    frame |= {name: np.full(n, np.nan) for name in unknown}
    return frame | {"available": _text(n, "before-registration")}


_ON_VEHICLE = {
    "job_id": "text", "label": "text", "kg": "number", "x_mm": "number", "y_mm": "number", "holds_l": "number",
    "put_on_by": "text", "on_first_ticket": "number",
}  # fmt: skip
_WEIGHINGS = {
    "job_id": "text", "ticket": "text", "weighed_on": "date", "state": "text", "total_kg": "number", "front_kg": "number",
    "rear_kg": "number", "left_kg": "number", "right_kg": "number", "scale_step_kg": "number", "fuel_fraction": "number",
    "people_kg": "number", "water_l": "number", "other_kg": "number", "ball_kg": "number",
}  # fmt: skip


def _frame(records: list[dict[str, object]], kinds: dict[str, str], ids: set[str]) -> Columns:
    here = [record for record in records if record["job_id"] in ids]
    types = {"number": float, "text": object, "date": "datetime64[D]"}
    absent = {"number": np.nan, "text": None, "date": _NO_DATE}
    return {name: np.array([record.get(name, absent[kind]) for record in here], dtype=types[kind]) for name, kind in kinds.items()}


def _truth(drawn: _Drawn, habits: Habits, effects: Effects) -> Truth:
    n = len(drawn.bodies.job)
    sd = np.sqrt((NOISE * drawn.mass.mu_kg) ** 2 + SCALE_STEP_KG**2 / 12)
    full = {
        "mu_kg": drawn.mass.mu_kg,
        "sd_kg": sd,
        "actual_kg": np.round(drawn.actual_kg / SCALE_STEP_KG) * SCALE_STEP_KG,
        "com_x_mm": drawn.mass.com_x_mm,
        "com_y_mm": drawn.mass.com_y_mm,
        "family": drawn.bodies.family,
        "gross": drawn.readings.gross,
        "items": np.bincount(drawn.lines.body, drawn.lines.qty, n),
        "unlisted": np.bincount(drawn.lines.body[~drawn.listed], minlength=n),
    }
    draft = drawn.jobs.draft[drawn.bodies.job]
    row_of = np.cumsum(~draft) - 1
    ids = np.array([item.item_id for item in ITEMS], dtype=object)
    gone = np.flatnonzero(~drawn.listed & ~draft[drawn.lines.body])
    return Truth(
        history={name: values[~draft] for name, values in full.items()},
        drafts={name: values[draft] for name, values in full.items()},
        items={"item_id": ids, "kg": habits.item_kg, "kg_per_m": habits.item_kg_per_m},
        drawing_bias=DRAWING_BIAS,
        missing={"body_row": row_of[drawn.lines.body[gone]], "item_id": ids[drawn.lines.item[gone]]},
        changes=effects.changes,
        vehicle_offset_kg=drawn.tickets.vehicle_offset_kg,
    )
