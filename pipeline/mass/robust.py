"""The robust, shrunk fit in passes over blocks of rows; every pass needs sums alone.

Each pass: sums with the present weights → one small solve → residuals → scale of each source → new weights (bisquare).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial, reduce
from operator import add
from typing import Protocol, TypeVar

import numpy as np

from pipeline.mass.bodies import KINDS
from pipeline.mass.design import DRAWN, PAIRED, SHELL_COUNT, SOURCES, Design
from pipeline.mass.evidence import Rows
from pipeline.mass.solve import Solution, Sums, cross_products, quadratic, ridge
from pipeline.settings_mass import MassSettings

T = TypeVar("T")

BLOCK = 4_096
"""Rows that a processor works on at a time: what is made of them on the way stays near it."""

BINS, BIN = 4_000, 0.005
"""Absolute residuals are counted in bins of 0.005 standard deviations, so that medians add up over blocks."""

MAD_TO_SD = 1.4826
TRIM_TO_SD = 0.921
"""Root of the weighted mean square of a normal variable under bisquare weights with cut 5."""

MOST_SHARE = 0.95
"""Largest share of itself that a row may be said to explain."""

SETTLED = 0.02
"""Change of the coefficients, in their own standard deviations, at which the passes stop early."""

SLIVER = 1e-3
"""The same in spreads believed beforehand: some grams on the reference body, which large histories reach sooner."""

START_CUT_MADS = 4.0
LEAST_SPREAD = 0.02
HUBER_CUT = 1.5
SOFT_PASSES = 6
"""Passes with Huber's weights, so that a whole kind of body that was believed too light is not shut out as errors."""


@dataclass(frozen=True)
class State:
    """Where the passes stand.

    Attributes:
        solution: coefficients and their covariance factor.
        noise: by source, as a share of the mass: that under which the solution was found.
        next_noise: the same, as the residuals of that solution have it: for the next one.
        soft: weights bound a row's pull, but shut none out yet.
        lift: before the first pass, (sources, kinds + 1) median log ratio of readings to what was believed; None afterwards.
        spread: before the first pass, (sources,) spread of the log ratios about those medians.
    """

    solution: Solution
    noise: np.ndarray
    next_noise: np.ndarray
    soft: bool = False
    lift: np.ndarray | None = None
    spread: np.ndarray | None = None


@dataclass(frozen=True)
class PassSums:
    """What one pass adds up over blocks: the solve's sums and, by source, counts of |z| in bins and weighted squares."""

    sums: Sums
    counts: np.ndarray
    squares: np.ndarray
    weights: np.ndarray

    def __add__(self, other: PassSums) -> PassSums:
        return PassSums(self.sums + other.sums, self.counts + other.counts, self.squares + other.squares, self.weights + other.weights)


@dataclass(frozen=True)
class Residuals:
    """Of each row (n,): mass by the model, residual, variance, leverage x V x', weight (1 of a good row), z without itself."""

    mass_kg: np.ndarray
    residual_kg: np.ndarray
    var: np.ndarray
    leverage: np.ndarray
    robust: np.ndarray
    z: np.ndarray


Work = Callable[[Rows], tuple[PassSums, np.ndarray]]
"""What a pass does to a block: its sums, and the rows' new weights."""


class Blocks(Protocol):
    """Rows in blocks, wherever they lie; each keeps its rows' weights from pass to pass."""

    def run(self, work: Work) -> PassSums:
        """Do the work on every block, keep the new weights there, and add the sums up."""


class LocalBlocks:
    """Blocks in this process, as many at a time as there are processors; their sums are added in the same order all the same.

    Attributes:
        blocks: the way to each block's rows: to rows that are there, or to such as are made anew in every pass.
    """

    def __init__(self, blocks: Sequence[Callable[[], Rows]]) -> None:
        self._blocks = blocks
        self._robust: list[np.ndarray | None] = [None] * len(blocks)

    def run(self, work: Work) -> PassSums:
        return reduce(add, self._sums(work))

    def _sums(self, work: Work) -> Iterator[PassSums]:
        for place, (sums, robust) in enumerate(self.each(work)):
            self._robust[place] = robust
            yield sums

    def each(self, work: Callable[[Rows], T]) -> Iterator[T]:
        """What the work says of each block, under the weights that the last pass gave its rows."""
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            yield from pool.map(lambda place: work(self._rows(place)), range(len(self._blocks)))

    def _rows(self, place: int) -> Rows:
        rows, robust = self._blocks[place](), self._robust[place]
        return rows if robust is None else replace(rows, robust=robust)

    @property
    def robust(self) -> np.ndarray:
        """(n,) present weights of all rows, after a pass."""
        return np.concatenate([weights for weights in self._robust if weights is not None])


def prior_solution(design: Design) -> Solution:
    """What is believed before any record has spoken."""
    return Solution(design.prior, np.diag(design.spread))


def prior_noise(settings: MassSettings) -> np.ndarray:
    """Noise by source as a share of the mass, before history."""
    noise = np.full(len(SOURCES), settings.scale_noise)
    noise[DRAWN] = settings.drawing_noise
    return noise


def fit_rows(design: Design, rows: Rows, settings: MassSettings) -> tuple[State, Rows]:
    """Fit rows that are all there; returns the last state, and the rows with their last weights."""
    if not len(rows):
        return believed(design, settings), rows
    blocks = LocalBlocks([partial(rows.at, slice(start, start + BLOCK)) for start in range(0, len(rows), BLOCK)])
    state = run_passes(design, blocks, first_state(design, rows, settings), settings)
    return state, replace(rows, robust=blocks.robust)


def believed(design: Design, settings: MassSettings) -> State:
    """What is believed before any row has spoken."""
    return State(prior_solution(design), prior_noise(settings), prior_noise(settings))


def run_passes(design: Design, blocks: Blocks, state: State, settings: MassSettings) -> State:
    """Passes over blocks from a starting state until the coefficients stand still."""
    soft_passes = SOFT_PASSES if state.soft else 0
    for number in range(settings.passes):
        found = blocks.run(partial(pass_sums, design, state, settings))
        solution = ridge(found.sums, design.prior, design.spread)
        still = _stands_still(solution, state.solution, design.spread)
        soft = number < soft_passes
        state = State(solution, state.next_noise, _noise(found, state, settings), soft)
        if still and not soft:
            break
    return state


def _stands_still(new: Solution, old: Solution, spread: np.ndarray) -> bool:
    """Whether no coefficient moved by more than a sliver of its own uncertainty, or of what was believed of it beforehand."""
    sd = np.sqrt(np.einsum("ij,ij->i", new.factor, new.factor))
    return bool(np.all(np.abs(new.coef - old.coef) <= np.maximum(SETTLED * sd, SLIVER * spread)))


def first_state(design: Design, rows: Rows, settings: MassSettings) -> State:
    """Medians of the log ratios by source and kind, since geometry may miss a kind's frame altogether; spread by source."""
    ratio, kind = _log_ratio(design, rows), row_kind(design, rows)
    lift, spread = np.zeros((len(SOURCES), len(KINDS) + 1)), np.ones(len(SOURCES))
    for source in range(len(SOURCES)):
        here = rows.source == source
        for place in np.unique(kind[here]):
            lift[source, place] = np.median(ratio[here & (kind == place)])
        if here.any():
            spread[source] = max(MAD_TO_SD * float(np.median(np.abs(ratio - lift[source, kind])[here])), LEAST_SPREAD)
    return replace(believed(design, settings), soft=True, lift=lift, spread=spread)


def row_kind(design: Design, rows: Rows) -> np.ndarray:
    """(n,) kind of the one body of each row; the number of kinds for several bodies of different kinds or none."""
    frames = rows.x[:, : len(KINDS) * SHELL_COUNT : SHELL_COUNT] > 0
    return np.where(frames.sum(axis=1) == 1, np.argmax(frames, axis=1), len(KINDS))


def _log_ratio(design: Design, rows: Rows) -> np.ndarray:
    mass = np.maximum(rows.x @ design.prior, 1.0)
    paired = rows.source == PAIRED
    reading = np.where(paired, rows.y_kg + np.where(paired, rows.paired_kg, 0.0), rows.y_kg)
    return np.log(np.maximum(reading, 1e-3) / np.where(paired, rows.paired_kg, mass))


def row_state(design: Design, rows: Rows, state: State, settings: MassSettings) -> tuple[Residuals, np.ndarray]:
    """Residuals of rows under a state, and their design with the drawing's column filled in (mass by the model)."""
    drawn = rows.source == DRAWN
    coef = state.solution.coef
    bias = coef[design.at.drawing]
    plain = rows.x @ coef
    paired = rows.source == PAIRED
    if state.lift is not None:
        plain = np.maximum(plain, 1.0) * np.exp(state.lift[rows.source, row_kind(design, rows)])
    mass = np.where(paired, rows.paired_kg, plain)
    x = rows.x
    if drawn.any():
        x = x.copy()
        x[drawn, design.at.drawing] = mass[drawn]
    var = (state.noise[rows.source] * mass) ** 2 * rows.shared + rows.fixed_var
    expected = np.where(paired, bias * mass, mass + np.where(drawn, bias * mass, 0.0))
    residual = rows.y_kg - expected
    if state.lift is not None and state.spread is not None:
        off = _log_ratio(design, rows) - state.lift[rows.source, row_kind(design, rows)]
        robust = (np.abs(off) <= START_CUT_MADS * state.spread[rows.source]).astype(np.float64)
        robust[rows.trusted] = 1.0
        return Residuals(mass, residual, var, np.zeros(len(rows)), robust, residual / np.sqrt(var)), x
    leverage = quadratic(x, state.solution.factor)
    left = 1.0 - np.minimum(rows.robust * rows.weight * leverage / var, MOST_SHARE)
    z = residual / left / np.sqrt(var + leverage / left)
    robust = huber(z) if state.soft else bisquare(z, settings.cut)
    robust[rows.trusted] = 1.0
    return Residuals(mass, residual, var, leverage, robust, z), x


def huber(z: np.ndarray) -> np.ndarray:
    """Weights that bound a row's pull and never shut it out: the passes before the coefficients are near."""
    return np.minimum(1.0, HUBER_CUT / np.maximum(np.abs(z), HUBER_CUT))


def bisquare(z: np.ndarray, cut: float) -> np.ndarray:
    """Weights that fall to nothing at `cut` standard deviations."""
    return np.where(np.abs(z) < cut, (1.0 - (z / cut) ** 2) ** 2, 0.0)


def pass_sums(design: Design, state: State, settings: MassSettings, rows: Rows) -> tuple[PassSums, np.ndarray]:
    """One pass over one block: what it adds to the sums, and its rows' new weights."""
    found, x = row_state(design, rows, state, settings)
    weight = found.robust * rows.weight
    var = (state.next_noise[rows.source] * found.mass_kg) ** 2 * rows.shared + rows.fixed_var
    sums = cross_products(x, rows.y_kg, weight / var)
    counts = np.zeros((len(SOURCES), BINS))
    for source in range(len(SOURCES)):
        here = rows.source == source
        if here.any():
            bins = np.minimum((np.abs(found.z[here]) / BIN).astype(np.int64), BINS - 1)
            counts[source] = np.bincount(bins, minlength=BINS)
    squares = np.bincount(rows.source, weights=np.where(weight > 0, weight * found.z**2, 0.0), minlength=len(SOURCES))
    weights = np.bincount(rows.source, weights=weight, minlength=len(SOURCES))
    return PassSums(sums, counts, squares, weights), found.robust


def _noise(found: PassSums, state: State, settings: MassSettings) -> np.ndarray:
    """Scale of each source: mean of the median's and the trimmed square's, pulled toward what was believed."""
    noise = prior_noise(settings)
    for source in range(len(SOURCES)):
        rows = found.counts[source].sum()
        if rows and found.weights[source] > 0:
            median = (np.searchsorted(np.cumsum(found.counts[source]), rows / 2) + 0.5) * BIN
            trimmed = np.sqrt(found.squares[source] / found.weights[source]) / TRIM_TO_SD
            seen = state.noise[source] * (MAD_TO_SD * median + trimmed) / 2
            noise[source] = np.sqrt((rows * seen**2 + settings.noise_rows * noise[source] ** 2) / (rows + settings.noise_rows))
    return noise
