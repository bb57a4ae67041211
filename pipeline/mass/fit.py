"""Fits the mass model: which records count, the robust shrunk fit, what history covers, calibration, centre of mass."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from typing import Any

import msgspec
import numpy as np

from pipeline.frames import take
from pipeline.mass.bodies import KINDS, MEASURES, numbers, plain_bodies, plain_lines
from pipeline.mass.calibrate import LEVELS, OutOfFold, factors, leave_out
from pipeline.mass.centre import centre_rows, fit_axis
from pipeline.mass.change import choose_change
from pipeline.mass.declare import declare, densities, needed_pairs, usual_bodies, with_pairs
from pipeline.mass.design import SHELL, SHELL_COUNT, SOURCES, WEIGHED, Design
from pipeline.mass.evidence import NO_MASS, REASONS, USED, Evidence, History, Rows, gather, groups, lines_of, newest, reasons, settle
from pipeline.mass.items import item_list
from pipeline.mass.model import KindRange, Model, lower
from pipeline.mass.places import Axis
from pipeline.mass.robust import Residuals, State, fit_rows, row_kind, row_state
from pipeline.mass.tickets import read_tickets
from pipeline.mass.together import find_pairs
from pipeline.settings_loads import VehicleSettings
from pipeline.settings_mass import MassSettings

AS_SET_BY_DEFAULT = VehicleSettings()

SAMPLE = 10_000
"""Rows on which the passes begin: what they teach of weights and pairs holds for all, who then need a few passes more."""

READ: dict[str, tuple[str, ...]] = {
    "bodies": (
        "job_id", "body", "kind", *MEASURES, "material", "size_class", "dated_on", "weighed_kg", "scale_step_kg", "cad_kg", "com_x_mm",
        "com_y_mm", "offset_mm", "origin", "same_as", "drawing", "length_approximate", "list_short",
    ),
    "fitout": ("body_row", "item_id", "qty", "length_mm", "zone", "x_mm", "y_mm"),
    "items": ("item_id", "label", "group", "datasheet_kg", "datasheet_kg_per_m", "needs"),
    "jobs": ("job_id", "vehicle_id", "upgrade_id"),
    "vehicles": (), "upgrades": (), "on_vehicle": (), "weighings": (), "settled": (),
}  # fmt: skip
"""What the fit reads, by table; empty: all of it."""


@dataclass(frozen=True)
class Fitted:
    """A model with the rows it stands on, for reports; only the model is stored."""

    model: Model
    settings: MassSettings
    usual: VehicleSettings
    evidence: Evidence
    rows: Rows
    residuals: Residuals
    out_of_fold: OutOfFold


def fit(history: History, settings: MassSettings, usual: VehicleSettings = AS_SET_BY_DEFAULT) -> Model:
    """Fit and calibrate; a history without records gives what datasheets and geometry say, everything outside.

    Args:
        usual: what stands in for what a vehicle or a ticket does not say; loads reckon by the same.
    """
    return fit_fully(history, settings, usual).model


def fit_fully(history: History, settings: MassSettings, usual: VehicleSettings = AS_SET_BY_DEFAULT) -> Fitted:
    """As `fit`, with all that reports need."""
    from threadpoolctl import threadpool_limits  # imported where it is used: estimating must not load it

    # the matrices are narrow: threads of the linear algebra would wait for each other longer than they work
    with threadpool_limits(1):
        return _fit_fully(history, settings, usual)


def _fit_fully(history: History, settings: MassSettings, usual: VehicleSettings) -> Fitted:
    """Settle the way of change and the pairs on a sample, then fit all rows on from there."""
    design, evidence = prepare(history, settings, usual)
    rows = gather(design, evidence, settings, SAMPLE)
    tried: dict[str, float] = {}
    if settings.change == "auto":
        chosen, tried = choose_change(design, rows, rows.years, settings)
        settings = msgspec.structs.replace(settings, change=chosen)
        if chosen != "drift":
            design, evidence = prepare(history, settings, usual)
            rows = gather(design, evidence, settings, SAMPLE)
    state, rows = fit_rows(design, rows, settings)
    pairs = find_pairs(design, rows, state, settings)
    if pairs:
        design = with_pairs(design, pairs, settings)
        state, rows = fit_rows(design, gather(design, evidence, settings, SAMPLE), settings)
    if len(rows) == SAMPLE:
        state, rows = fit_rows(design, gather(design, evidence, settings), settings, near=state)
    residuals, x = row_state(design, rows, state, settings)
    out = leave_out(rows.group, rows.weight * rows.robust, x, residuals, state.solution.factor)
    model = _model(design, rows, state, residuals, out, digest(evidence.history, settings, usual), evidence.history, settings)
    model = replace(model, facts=model.facts | {"change": settings.change, "change_tried": tried})
    return Fitted(_with_centre(model, evidence, settings), settings, usual, evidence, rows, residuals, out)


def prepare(history: History, settings: MassSettings, usual: VehicleSettings = AS_SET_BY_DEFAULT) -> tuple[Design, Evidence]:
    """Settle, choose the bodies that count, declare the design, read the tickets."""
    history, wrong, right = settle(history)
    today = newest(history.bodies)
    reason = reasons(history.bodies, wrong)
    counts = (reason == USED) | (reason == NO_MASS)
    measures = usual_bodies(take(history.bodies, counts))
    plain = plain_bodies(history.bodies, measures, densities(settings), today)
    items = item_list(history.items, settings.unknown_item_kg)
    ids = [item.item_id for item in items]
    lines = plain_lines(history.fitout, plain, ids, settings.place_fractions, settings.side_fraction)
    pairs = (*settings.together, *needed_pairs(history.items))
    rows = np.flatnonzero(counts)
    drifts = settings.change in ("auto", "drift")
    design = declare(items, measures, plain.rows(rows), lines_of(lines, rows), today, settings, drifts, pairs)
    readings = read_tickets(history, plain.years, counts, settings, usual, wrong)
    return design, Evidence(history, plain, lines, reason, groups(history.bodies), right, readings)


def _model(
    design: Design, rows: Rows, state: State, residuals: Residuals, out: OutOfFold, stands_on: str, history: History,
    settings: MassSettings,
) -> Model:  # fmt: skip
    judged = (rows.source == WEIGHED) & (np.abs(residuals.z) < settings.flag)
    weight = rows.robust * rows.weight / residuals.var
    used_up = float(np.sum(np.minimum(weight * residuals.leverage, 1.0)))
    degrees = max(1.0, float(rows.robust.sum()) - used_up)
    scores = np.abs(out.residual_kg[judged]) / out.sd_kg[judged]
    flat = Axis(np.zeros(0), np.zeros((0, 0)), 0.0, np.zeros(0), 0.0, 0)
    step = numbers(history.bodies, "scale_step_kg")
    steps, seen = np.unique(step[~np.isnan(step)], return_counts=True)
    model = Model(
        digest=stands_on,
        design=design,
        coef=state.solution.coef,
        factor=lower(state.solution.factor),
        noise=state.noise,
        step_kg=float(steps[np.argmax(seen)]) if len(steps) else settings.unknown_step_kg,
        levels=LEVELS,
        factors=factors(scores, degrees),
        ranges=_ranges(design, rows, residuals, out, state),
        item_records=np.count_nonzero(rows.x[:, design.at.item], axis=0),
        unseen_pairs=_unseen_pairs(design, rows, settings),
        along=flat,
        across=flat,
        facts={"beyond": settings.beyond, "few_weighed": settings.few_weighed, "few_records": settings.few_records},
    )
    return replace(model, facts=model.facts | _facts(model, rows, residuals, out, judged, degrees))


def _facts(model: Model, rows: Rows, residuals: Residuals, out: OutOfFold, judged: np.ndarray, degrees: float) -> dict[str, Any]:
    """Figures of the fit, out of fold, over weighed bodies that were not flagged."""
    error, sd, mass = out.residual_kg[judged], out.sd_kg[judged], rows.y_kg[judged]
    some = bool(len(error))
    reach = {level: model.reach(level) for level in (0.5, 0.8, 0.9, 0.95)}
    return {
        "rows": {name: int(np.count_nonzero(rows.source == place)) for place, name in enumerate(SOURCES)},
        "flagged": int(np.count_nonzero(~judged & (rows.source == WEIGHED))),
        "degrees": round(degrees, 1),
        "rmse_kg": float(np.sqrt(np.mean(error**2))) if some else None,
        "mape": float(np.mean(np.abs(error) / mass)) if some else None,
        "coverage": {f"{level:g}": float(np.mean(np.abs(error) <= one * sd)) for level, one in reach.items()} if some else {},
        "width_kg": float(np.mean(2 * reach[0.9] * sd)) if some else None,
        "cad_bias": model.drawing_bias,
        "cad_bias_sd": model.drawing_bias_sd,
        "newest": model.design.today,
    }


def _ranges(design: Design, rows: Rows, residuals: Residuals, out: OutOfFold, state: State) -> dict[str, KindRange]:
    """What history covers, by kind; rows of several bodies and of drawings beside scales say nothing here.

    Leverage is each body's as it was before it came in, as a draft's is.
    """
    place_of = {name: place for place, (name, _unit, _meaning) in enumerate(SHELL)}
    single = rows.body >= 0
    alone = np.maximum(out.sd_kg**2 - residuals.var, 0.0)
    relative = alone / (state.noise[WEIGHED] * np.maximum(residuals.mass_kg, 1.0)) ** 2
    found = {}
    for place, kind in enumerate(KINDS):
        first = place * SHELL_COUNT
        here = single & (rows.x[:, first] > 0)
        length = rows.x[here, first + place_of["length"]] * 1e3 + design.usual[kind]["length_mm"]
        found[kind] = KindRange(
            records=int(here.sum()),
            weighed=int(np.count_nonzero(here & (rows.source == WEIGHED))),
            length_low_mm=round(float(length.min(initial=np.inf)), 3) if here.any() else 0.0,
            length_high_mm=round(float(length.max(initial=0.0)), 3),
            fitout_high_kg=float((rows.x[here, design.at.uplift] * 100).max(initial=0.0)),
            items_high=float(rows.x[here, design.at.each].max(initial=0.0)),
            leverage_high=float(relative[here].max(initial=0.0)),
        )
    return found


def _unseen_pairs(design: Design, rows: Rows, settings: MassSettings) -> np.ndarray:
    """Pairs of items that chance would have put together often, and history never did; (pairs, 2)."""
    single = rows.body >= 0
    stands = (rows.x[single][:, design.at.item] > 0).astype(np.float32)
    kind = row_kind(design, rows)[single]
    together = stands.T @ stands
    expected = np.zeros_like(together)
    for place in np.unique(kind):
        count = stands[kind == place].sum(axis=0)
        expected += np.outer(count, count) / np.count_nonzero(kind == place)
    return np.argwhere(np.triu((together == 0) & (expected >= settings.unseen_pair), 1))


def _with_centre(model: Model, evidence: Evidence, settings: MassSettings) -> Model:
    along, across = centre_rows(model.design, model.coef, evidence)
    first, second = (fit_axis(model.design, rows, settings, axis) for axis, rows in enumerate((along, across)))
    return replace(model, along=replace(first, factor=lower(first.factor)), across=replace(second, factor=lower(second.factor)))


def digest(history: History, settings: MassSettings, usual: VehicleSettings) -> str:
    """SHA-256 over every column that the fit reads and over the settings."""
    told = hashlib.sha256(msgspec.json.encode([settings, usual], order="sorted"))
    for name, columns in READ.items():
        frame = getattr(history, name)
        for column in columns or sorted(frame):
            if column in frame:
                values = frame[column]
                told.update(f"{name}.{column}:{len(values)}".encode())
                plain = (
                    "\x1f".join(map(str, values.tolist())).encode() if values.dtype == object else np.ascontiguousarray(values).tobytes()
                )
                told.update(plain)
    return told.hexdigest()


def left_out(fitted: Fitted) -> dict[str, int]:
    """Bodies of the history by why they are in the fit or not."""
    return {words: int(np.count_nonzero(fitted.evidence.reason == place)) for place, words in enumerate(REASONS)}
