"""Fits the mass model: which records count, the robust shrunk fit, what history covers, calibration, centre of mass."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Protocol

import msgspec
import numpy as np

from pipeline.mass.bodies import KINDS, MEASURES, numbers, plain_bodies, plain_lines
from pipeline.mass.calibrate import LEVELS, factors
from pipeline.mass.centre import centre_rows, fit_axis
from pipeline.mass.change import choose_change
from pipeline.mass.closing import Closing, Told, close_alone, close_rows
from pipeline.mass.declare import declare, densities, needed_pairs, usual_bodies, with_pairs
from pipeline.mass.design import SOURCES, Design
from pipeline.mass.evidence import (
    NO_MASS,
    REASONS,
    USED,
    Evidence,
    History,
    Rows,
    Spoken,
    gather,
    groups,
    newest,
    reasons,
    rows_of,
    settle,
    spoken_of,
)
from pipeline.mass.items import item_list
from pipeline.mass.model import Model, lower
from pipeline.mass.packages import packed, unpacked, whole_groups
from pipeline.mass.places import Axis
from pipeline.mass.robust import BLOCK, Blocks, LocalBlocks, State, first_state, fit_rows, run_passes
from pipeline.mass.tickets import read_tickets
from pipeline.mass.together import find_pairs
from pipeline.settings_loads import VehicleSettings
from pipeline.settings_mass import MassSettings

AS_SET_BY_DEFAULT = VehicleSettings()

ROOM_BYTES = 1 << 30
"""Designs of all rows together that are kept from pass to pass: some 1.2 million rows. Beyond it each is made anew when
its turn comes, which takes half a pass more and a thousandth of the memory."""

DIGESTED = 65_536
"""Cells that are digested at a time."""

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
    """A model with what it stands on, for reports; only the model is stored.

    Attributes:
        spoken: the rows of the fit, in the order of history.  told: what the model says of each.
    """

    model: Model
    settings: MassSettings
    usual: VehicleSettings
    evidence: Evidence
    spoken: Spoken
    told: Told

    def rows(self, index: np.ndarray | slice = slice(None)) -> Rows:
        """The rows at `index` with their design, which is made for them: that of all would not fit beside a large history."""
        some = np.arange(len(self.spoken))[index]
        rows = rows_of(self.model.design, self.evidence, self.spoken.at(some), self.settings)
        return replace(rows, robust=self.told.robust[some])

    @property
    def keys(self) -> np.ndarray:
        """(n,) `job_id/body` or `job_id/ticket` of every row."""
        return self.evidence.keys(self.spoken.key)


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
    """Settle the way of change and the pairs on a sample, then fit all rows on from there, block by block."""
    start = begin(history, settings, usual)
    design, evidence, settings, state = start.design, start.evidence, start.settings, start.state
    spoken = spoken_of(evidence, settings)
    parts = whole_groups(spoken.group, BLOCK) or [np.zeros(0, dtype=np.int64)]
    if start.whole:
        blocks = LocalBlocks([partial(start.rows.at, index) for index in parts])
    else:
        blocks = _blocks(design, evidence, settings, spoken, parts)
        state = run_passes(design, blocks, state, settings)
    closings, told = zip(*blocks.each(partial(close_rows, design, state, settings)), strict=True)
    del blocks
    model = finish(start, state, Closing.of(closings), usual)
    return Fitted(model, settings, usual, evidence, spoken, Told.of(list(zip(parts, told, strict=True))))


def _blocks(design: Design, evidence: Evidence, settings: MassSettings, spoken: Spoken, parts: list[np.ndarray]) -> LocalBlocks:
    """The rows at `parts`: their designs are kept where there is room for all of them, else made anew in every pass."""
    ways: list[Callable[[], Rows]] = [partial(_made, design, evidence, settings, spoken, index) for index in parts]
    if len(spoken) * design.at.count * 8 > ROOM_BYTES:
        return LocalBlocks(ways)
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        kept = list(pool.map(lambda way: way(), ways))
    return LocalBlocks([partial(_same, rows) for rows in kept])


def _made(design: Design, evidence: Evidence, settings: MassSettings, spoken: Spoken, index: np.ndarray) -> Rows:
    return rows_of(design, evidence, spoken.at(index), settings)


def _same(rows: Rows) -> Rows:
    return rows


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
            design = design_of(evidence, settings)
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
    """The history as evidence, and the design that is declared from it."""
    evidence = evidence_of(history, settings, usual)
    return design_of(evidence, settings), evidence


def evidence_of(history: History, settings: MassSettings, usual: VehicleSettings) -> Evidence:
    """Settle, choose the bodies that count, fill what is not known, read the tickets."""
    history, wrong, right = settle(history)
    reason = reasons(history.bodies, wrong)
    counts = (reason == USED) | (reason == NO_MASS)
    measures = usual_bodies(history.bodies, counts)
    plain = plain_bodies(history.bodies, measures, densities(settings), newest(history.bodies))
    ids = [item.item_id for item in item_list(history.items, settings.unknown_item_kg)]
    lines = plain_lines(history.fitout, plain, ids, settings.place_fractions, settings.side_fraction)
    readings = read_tickets(history, plain.years, counts, settings, usual, wrong)
    return Evidence(history, plain, lines, measures, reason, groups(history.bodies), right, readings)


def design_of(evidence: Evidence, settings: MassSettings) -> Design:
    """The design for the bodies that count, with drift unless the settings have another way of change."""
    history, counts = evidence.history, np.flatnonzero((evidence.reason == USED) | (evidence.reason == NO_MASS))
    items = item_list(history.items, settings.unknown_item_kg)
    pairs = (*settings.together, *needed_pairs(history.items))
    drifts = settings.change in ("auto", "drift")
    return declare(items, evidence.usual, evidence, counts, newest(history.bodies), settings, drifts, pairs)


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
                told.update(f"{name}.{column}:{len(frame[column])}".encode())
                for start in range(0, len(frame[column]), DIGESTED):
                    told.update(_in_bytes(frame[column][start : start + DIGESTED]))
    return told.hexdigest()


def _in_bytes(values: np.ndarray) -> bytes:
    """Numbers in the width that they are told in, whatever they are kept in; texts one after the other."""
    if values.dtype != object:
        return np.ascontiguousarray(values, dtype=np.float64 if values.dtype.kind in "fi" else None).tobytes()
    try:
        return "\x1f".join((*values.tolist(), "")).encode()
    except TypeError:  # not all of them are texts: most columns are, and need not be asked cell by cell
        return "\x1f".join(map(str, (*values.tolist(), ""))).encode()


def left_out(evidence: Evidence) -> dict[str, int]:
    """Bodies of the history by why they are in the fit or not."""
    return {words: int(np.count_nonzero(evidence.reason == place)) for place, words in enumerate(REASONS)}
