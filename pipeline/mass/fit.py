"""Fits the mass model: which records count, the robust shrunk fit, what history covers, calibration, centre of mass."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Protocol

import msgspec
import numpy as np

from pipeline.frames import take
from pipeline.mass.bodies import KINDS, MEASURES, numbers, plain_bodies, plain_lines
from pipeline.mass.calibrate import LEVELS, OutOfFold, factors
from pipeline.mass.centre import centre_rows, fit_axis
from pipeline.mass.change import choose_change
from pipeline.mass.closing import Closing, close_alone, close_rows
from pipeline.mass.declare import declare, densities, needed_pairs, usual_bodies, with_pairs
from pipeline.mass.design import SOURCES, Design
from pipeline.mass.evidence import NO_MASS, REASONS, USED, Evidence, History, Rows, gather, groups, lines_of, newest, reasons, settle
from pipeline.mass.items import item_list
from pipeline.mass.model import Model, lower
from pipeline.mass.packages import packed, unpacked
from pipeline.mass.places import Axis
from pipeline.mass.robust import Blocks, Residuals, State, first_state, fit_rows, run_passes
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
    start = begin(history, settings, usual)
    design, evidence, settings, state, rows = start.design, start.evidence, start.settings, start.state, start.rows
    if not start.whole:
        state, rows = fit_rows(design, gather(design, evidence, settings), settings, near=state)
    closing, residuals, out = close_rows(design, state, settings, rows)
    return Fitted(finish(start, state, closing, usual), settings, usual, evidence, rows, residuals, out)


class FarBlocks(Blocks, Protocol):
    """Blocks on other machines, which hand back sums alone."""

    def close(self, work: Callable[[Rows], Closing]) -> Closing:
        """What every block says under the last state, added up."""


Spread = Callable[[Iterable[bytes], Callable[[bytes], Rows]], FarBlocks]
"""Sends packages of rows out, to be unpacked where they arrive."""


def fit_spread(history: History, settings: MassSettings, usual: VehicleSettings, spread: Spread) -> tuple[Model, Evidence]:
    """As `fit`, but the rows lie and are worked on elsewhere: here are the records, a sample's rows, and sums."""
    from threadpoolctl import threadpool_limits  # as in `fit_fully`

    with threadpool_limits(1):
        start = begin(history, settings, usual)
        design, evidence, settings = start.design, start.evidence, start.settings
        if not len(start.rows):
            return finish(start, start.state, close_rows(design, start.state, settings, start.rows)[0], usual), evidence
        blocks = spread(packed(evidence, settings), partial(unpacked, design, settings))
        near = first_state(design, start.rows, settings) if start.whole else start.state
        state = run_passes(design, blocks, near, settings)
        return finish(start, state, blocks.close(partial(close_alone, design, state, settings)), usual), evidence


@dataclass(frozen=True)
class Beginning:
    """What a sample has settled, and where all rows go on from.

    Attributes:
        settings: with the way of change that was chosen; tried: each way's error.
        state, rows: the sample's last state, and its rows; `whole` where they are all there are.
    """

    design: Design
    evidence: Evidence
    settings: MassSettings
    tried: dict[str, float]
    state: State
    rows: Rows
    whole: bool


def begin(history: History, settings: MassSettings, usual: VehicleSettings) -> Beginning:
    """Declare the design and settle on a sample what changes over the years and what brings mass together."""
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
    return Beginning(design, evidence, settings, tried, state, rows, len(rows) < SAMPLE)


def finish(start: Beginning, state: State, closing: Closing, usual: VehicleSettings) -> Model:
    """The model out of the last state and of what all rows say under it; the records are digested meanwhile."""
    design, evidence, settings = start.design, start.evidence, start.settings
    with ThreadPoolExecutor() as pool:
        centre = pool.submit(_centre, design, state.solution.coef, evidence, settings)
        stands_on = digest(evidence.history, settings, usual)
    along, across = centre.result()
    model = _model(design, state, closing, stands_on, evidence.history, settings)
    facts = model.facts | {"change": settings.change, "change_tried": start.tried}
    return replace(model, facts=facts, along=along, across=across)


def prepare(history: History, settings: MassSettings, usual: VehicleSettings = AS_SET_BY_DEFAULT) -> tuple[Design, Evidence]:
    """Settle, choose the bodies that count, declare the design, read the tickets."""
    history, wrong, right = settle(history)
    today = newest(history.bodies)
    reason = reasons(history.bodies, wrong)
    counts = (reason == USED) | (reason == NO_MASS)
    measures = usual_bodies(take({name: history.bodies[name] for name in ("kind", *MEASURES) if name in history.bodies}, counts))
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


def _model(design: Design, state: State, closing: Closing, stands_on: str, history: History, settings: MassSettings) -> Model:
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
        factors=factors(np.abs(closing.error_kg) / closing.sd_kg, closing.degrees),
        ranges={kind: closing.cover.of(place) for place, kind in enumerate(KINDS)},
        item_records=closing.holds,
        unseen_pairs=closing.unseen_pairs(settings.unseen_pair),
        along=flat,
        across=flat,
        facts={"beyond": settings.beyond, "few_weighed": settings.few_weighed, "few_records": settings.few_records},
    )
    return replace(model, facts=model.facts | _facts(model, closing))


def _facts(model: Model, closing: Closing) -> dict[str, Any]:
    """Figures of the fit, out of fold, over weighed bodies that were not flagged."""
    error, sd, mass = closing.error_kg, closing.sd_kg, closing.mass_kg
    some = bool(len(error))
    reach = {level: model.reach(level) for level in (0.5, 0.8, 0.9, 0.95)}
    return {
        "rows": {name: int(closing.sources[place]) for place, name in enumerate(SOURCES)},
        "flagged": closing.flagged,
        "degrees": round(closing.degrees, 1),
        "rmse_kg": float(np.sqrt(np.mean(error**2))) if some else None,
        "mape": float(np.mean(np.abs(error) / mass)) if some else None,
        "coverage": {f"{level:g}": float(np.mean(np.abs(error) <= one * sd)) for level, one in reach.items()} if some else {},
        "width_kg": float(np.mean(2 * reach[0.9] * sd)) if some else None,
        "cad_bias": model.drawing_bias,
        "cad_bias_sd": model.drawing_bias_sd,
        "newest": model.design.today,
    }


def _centre(design: Design, coef: np.ndarray, evidence: Evidence, settings: MassSettings) -> list[Axis]:
    """Offsets along and across, side by side."""
    with ThreadPoolExecutor() as pool:
        found = pool.map(lambda rows, axis: fit_axis(design, rows, settings, axis), centre_rows(design, coef, evidence), (0, 1))
        return [replace(axis, factor=lower(axis.factor)) for axis in found]


def digest(history: History, settings: MassSettings, usual: VehicleSettings) -> str:
    """SHA-256 over every column that the fit reads and over the settings."""
    told = hashlib.sha256(msgspec.json.encode([settings, usual], order="sorted"))
    for name, columns in READ.items():
        frame = getattr(history, name)
        for column in columns or sorted(frame):
            if column in frame:
                values = frame[column]
                told.update(f"{name}.{column}:{len(values)}".encode())
                told.update(_in_one(values.tolist()).encode() if values.dtype == object else np.ascontiguousarray(values).tobytes())
    return told.hexdigest()


def _in_one(values: list[Any]) -> str:
    try:
        return "\x1f".join(values)
    except TypeError:  # not all of them are texts: most columns are, and need not be asked cell by cell
        return "\x1f".join(map(str, values))


def left_out(evidence: Evidence) -> dict[str, int]:
    """Bodies of the history by why they are in the fit or not."""
    return {words: int(np.count_nonzero(evidence.reason == place)) for place, words in enumerate(REASONS)}
