"""What the rows say under the last state: error out of fold, and what history covers. It adds up over blocks of whole groups."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import reduce
from operator import add
from typing import Any

import numpy as np

from pipeline.mass.bodies import KINDS
from pipeline.mass.calibrate import OutOfFold, leave_out
from pipeline.mass.design import SHELL, SHELL_COUNT, SOURCES, WEIGHED, Design
from pipeline.mass.evidence import Rows
from pipeline.mass.model import KindRange
from pipeline.mass.robust import Residuals, State, row_kind, row_state
from pipeline.settings_mass import MassSettings


@dataclass(frozen=True)
class Cover:
    """What history covers, by kind (kinds,): counts, and the ends of what was seen (infinite where nothing was)."""

    records: np.ndarray
    weighed: np.ndarray
    length_low_mm: np.ndarray
    length_high_mm: np.ndarray
    fitout_high_kg: np.ndarray
    items_high: np.ndarray
    leverage_high: np.ndarray

    def __add__(self, other: Cover) -> Cover:
        ways = {"length_low_mm": np.minimum, "records": np.add, "weighed": np.add}
        pairs = {one.name: (getattr(self, one.name), getattr(other, one.name)) for one in fields(self)}
        return Cover(**{name: ways.get(name, np.maximum)(*pair) for name, pair in pairs.items()})

    def of(self, place: int) -> KindRange:
        """One kind, as the model keeps it."""
        any_ = self.records[place] > 0
        return KindRange(
            records=int(self.records[place]), weighed=int(self.weighed[place]),
            length_low_mm=round(float(self.length_low_mm[place]), 3) if any_ else 0.0,
            length_high_mm=round(float(self.length_high_mm[place]), 3), fitout_high_kg=float(self.fitout_high_kg[place]),
            items_high=float(self.items_high[place]), leverage_high=float(self.leverage_high[place]),
        )  # fmt: skip


_ROW_BY_ROW = ("error_kg", "sd_kg", "mass_kg")


@dataclass(frozen=True)
class Closing:
    """What one block of rows adds.

    Attributes:
        sources: (sources,) rows.  flagged: weighed rows that the fit does not believe.
        robust: sum of weights.  used_up: degrees of freedom that coefficients take of them.
        error_kg, sd_kg, mass_kg: of each weighed row that is not flagged, out of fold.
        holds: (items,) rows with the item.  together: (items, items) rows of one body with both.
        by_kind: (kinds + 1, items) rows of one body of a kind with the item; alone: (kinds + 1,) rows of one body.
    """

    sources: np.ndarray
    flagged: int
    robust: float
    used_up: float
    error_kg: np.ndarray
    sd_kg: np.ndarray
    mass_kg: np.ndarray
    cover: Cover
    holds: np.ndarray
    together: np.ndarray
    by_kind: np.ndarray
    alone: np.ndarray

    def __add__(self, other: Closing) -> Closing:
        return Closing.of([self, other])

    @staticmethod
    def of(parts: Sequence[Closing]) -> Closing:
        """What all the parts say together."""
        told = {one.name: [getattr(part, one.name) for part in parts] for one in fields(Closing)}
        summed: dict[str, Any] = {name: np.concatenate(each) if name in _ROW_BY_ROW else reduce(add, each) for name, each in told.items()}
        return Closing(**summed)

    @property
    def degrees(self) -> float:
        """Rows that are believed, less what the coefficients take of them."""
        return max(1.0, self.robust - self.used_up)

    def unseen_pairs(self, least: float) -> np.ndarray:
        """Pairs of items that chance would have put together `least` times, and history never did; (pairs, 2)."""
        alone = np.maximum(self.alone, 1)[:, None, None]
        expected = np.sum(self.by_kind[:, :, None] * self.by_kind[:, None, :] / alone, axis=0)
        return np.argwhere(np.triu((self.together == 0) & (expected >= least), 1))


@dataclass(frozen=True)
class Told:
    """Each row's own figures under the last state, (n,) each: what is known of a row when its design is gone.

    Attributes:
        mass_kg: by the model.  z: how many standard deviations it is off without itself.  robust: its weight by that.
        residual_kg, sd_kg: out of fold.
        kind: as `row_kind` says.  pieces: items in it.
        stands: (n, items / 8) which items stand in it, a bit each (`held`).
    """

    mass_kg: np.ndarray
    z: np.ndarray
    robust: np.ndarray
    residual_kg: np.ndarray
    sd_kg: np.ndarray
    kind: np.ndarray
    pieces: np.ndarray
    stands: np.ndarray

    @staticmethod
    def of(parts: Sequence[tuple[np.ndarray, Told]]) -> Told:
        """Blocks of rows put together, each with the positions that its rows go to."""
        back = np.argsort(np.concatenate([index for index, _part in parts]))
        return Told(**{one.name: np.concatenate([getattr(part, one.name) for _index, part in parts])[back] for one in fields(Told)})

    def held(self, rows: np.ndarray, items: int) -> np.ndarray:
        """(len(rows), items) which items stand in those rows."""
        return np.unpackbits(self.stands[rows], axis=1, count=items).astype(bool)


def close_rows(design: Design, state: State, settings: MassSettings, rows: Rows) -> tuple[Closing, Told]:
    """What rows say under the last state, and each row's own figures."""
    residuals, x = row_state(design, rows, state, settings)
    out = leave_out(rows.group, rows.weight * rows.robust, x, residuals, state.solution.factor)
    judged = (rows.source == WEIGHED) & (np.abs(residuals.z) < settings.flag)
    weight = rows.robust * rows.weight / residuals.var
    single, kind = rows.body >= 0, row_kind(design, rows)
    stands = rows.x[:, design.at.item] > 0
    stands_alone = stands[single].astype(np.float32)
    kinds = range(len(KINDS) + 1)
    closing = Closing(
        sources=np.bincount(rows.source, minlength=len(SOURCES)),
        flagged=int(np.count_nonzero(~judged & (rows.source == WEIGHED))),
        robust=float(rows.robust.sum()),
        used_up=float(np.sum(np.minimum(weight * residuals.leverage, 1.0))),
        error_kg=out.residual_kg[judged],
        sd_kg=out.sd_kg[judged],
        mass_kg=rows.y_kg[judged],
        cover=_cover(design, state, rows, residuals, out),
        holds=np.count_nonzero(rows.x[:, design.at.item], axis=0),
        together=(stands_alone.T @ stands_alone).astype(np.float64),
        by_kind=np.array([np.count_nonzero(stands[single & (kind == place)], axis=0) for place in kinds], dtype=np.float64),
        alone=np.array([np.count_nonzero(single & (kind == place)) for place in kinds]),
    )
    told = Told(
        residuals.mass_kg, residuals.z, rows.robust, out.residual_kg, out.sd_kg, kind.astype(np.int8),
        rows.x[:, design.at.each].copy(),  # a view would keep the whole design
        np.packbits(stands, axis=1),
    )  # fmt: skip
    return closing, told


def close_alone(design: Design, state: State, settings: MassSettings, rows: Rows) -> Closing:
    """The same, of a block whose rows stay where they are."""
    return close_rows(design, state, settings, rows)[0]


def _cover(design: Design, state: State, rows: Rows, residuals: Residuals, out: OutOfFold) -> Cover:
    """Rows of several bodies and of drawings beside scales say nothing here.

    Leverage is each body's as it was before it came in, as a draft's is.
    """
    place_of = {name: place for place, (name, _unit, _meaning) in enumerate(SHELL)}
    alone = np.maximum(out.sd_kg**2 - residuals.var, 0.0)
    relative = alone / (state.noise[WEIGHED] * np.maximum(residuals.mass_kg, 1.0)) ** 2
    found = []
    for place, kind in enumerate(KINDS):
        first = place * SHELL_COUNT
        here = (rows.body >= 0) & (rows.x[:, first] > 0)
        length = rows.x[here, first + place_of["length"]] * 1e3 + design.usual[kind]["length_mm"]
        found.append((
            int(here.sum()), int(np.count_nonzero(here & (rows.source == WEIGHED))), length.min(initial=np.inf), length.max(initial=0.0),
            (rows.x[here, design.at.uplift] * 100).max(initial=0.0), rows.x[here, design.at.each].max(initial=0.0),
            relative[here].max(initial=0.0),
        ))  # fmt: skip
    return Cover(*map(np.array, zip(*found, strict=True)))
