"""Bodies and their lines as plain arrays: what is not known is filled from the usual body of its kind.

Everything here works on all bodies at once; lines are joined to bodies by position (`body_row`), never by a loop.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import repeat

import numpy as np

from pipeline.frames import Columns, height

KINDS = ("canopy", "tray", "box")
SIZE_CLASSES = ("midsize", "fullsize", "truck")
MEASURES = ("length_mm", "width_mm", "height_mm", "sheet_mm", "floor_mm", "doors", "painted")
USUAL = {
    "canopy": {"length_mm": 1700.0, "width_mm": 1850.0, "height_mm": 900.0, "sheet_mm": 2.5, "floor_mm": 2.5, "doors": 2.0, "painted": 0.0},
    "tray": {"length_mm": 2100.0, "width_mm": 1860.0, "height_mm": 0.0, "sheet_mm": 0.0, "floor_mm": 4.0, "doors": 0.0, "painted": 0.0},
    "box": {"length_mm": 2600.0, "width_mm": 2000.0, "height_mm": 1900.0, "sheet_mm": 2.5, "floor_mm": 3.0, "doors": 1.0, "painted": 0.0},
}
"""The body of a kind before history has shown one (common practice)."""

NO_ITEM = -1
AT_A_TIME = 65_536
"""Lines that are looked at at a time, so that nothing made of them on the way grows with a history."""


@dataclass(frozen=True)
class Plain:
    """Bodies as numbers, every gap filled.

    Shapes: all (n,); lengths in mm, `density` in kg/m³, `years` before (negative) or after the newest record.
    """

    kind: np.ndarray
    size: np.ndarray
    length_mm: np.ndarray
    width_mm: np.ndarray
    height_mm: np.ndarray
    sheet_mm: np.ndarray
    floor_mm: np.ndarray
    doors: np.ndarray
    painted: np.ndarray
    density: np.ndarray
    years: np.ndarray

    def __len__(self) -> int:
        return len(self.kind)

    def rows(self, index: np.ndarray | slice) -> Plain:
        """The bodies at `index`."""
        return Plain(**{name: getattr(self, name)[index] for name in self.__dataclass_fields__})


@dataclass(frozen=True)
class Lines:
    """Fit-out lines as numbers, in the order of their bodies.

    Shapes: all (m,); `item` is a position in the model's list of items or NO_ITEM, `x_mm` and `y_mm` in the body's frame,
    `own_mm` the item's own length (NaN: the body's). A whole history's are kept in the narrowest types that hold them;
    those of some bodies (`of`, `between`) are handed out in full width, to be reckoned with.
    """

    body: np.ndarray
    item: np.ndarray
    qty: np.ndarray
    own_mm: np.ndarray
    x_mm: np.ndarray
    y_mm: np.ndarray

    def __len__(self) -> int:
        return len(self.body)

    def between(self, first: int, last: int) -> Lines:
        """The lines of bodies first to last − 1, renumbered from 0."""
        start, stop = np.searchsorted(self.body, (first, last))
        return self._picked(self.body[start:stop].astype(np.int64) - first, slice(start, stop))

    def of(self, rows: np.ndarray) -> Lines:
        """The lines of the bodies at `rows` (any order, no body twice), renumbered by place in `rows`."""
        last = len(self._starts) - 1
        first = self._starts[np.minimum(rows, last)]
        length = self._starts[np.minimum(rows + 1, last)] - first
        before = np.cumsum(length) - length
        return self._picked(np.repeat(np.arange(len(rows)), length), np.arange(length.sum()) + np.repeat(first - before, length))

    @cached_property
    def _starts(self) -> np.ndarray:
        """Where the lines of each body begin, up to one past the last that has any."""
        return np.concatenate([[0], np.cumsum(np.bincount(self.body))]) if len(self) else np.zeros(1, dtype=np.int64)

    def _picked(self, body: np.ndarray, at: np.ndarray | slice) -> Lines:
        wide = {name: getattr(self, name)[at].astype(np.float64) for name in ("qty", "own_mm", "x_mm", "y_mm")}
        return Lines(body=body, item=self.item[at].astype(np.int64), **wide)


def codes(values: np.ndarray, known: Iterable[str]) -> np.ndarray:
    """Position of each text in `known`, NO_ITEM where it is not there; (n,) int64."""
    table = {name: place for place, name in enumerate(known)}
    found = np.empty(len(values), dtype=np.int64)
    for start in range(0, len(values), AT_A_TIME):
        part = values[start : start + AT_A_TIME].tolist()
        found[start : start + AT_A_TIME] = np.fromiter(map(table.get, part, repeat(NO_ITEM)), dtype=np.int64, count=len(part))
    return found


def numbers(frame: Columns, name: str) -> np.ndarray:
    """A numeric column, all NaN where the frame lacks it."""
    if name in frame:
        return frame[name].astype(np.float64, copy=False)
    return np.full(height(frame), np.nan)


def texts(frame: Columns, name: str) -> np.ndarray:
    """A text column, all None where the frame lacks it."""
    return frame[name] if name in frame else np.full(height(frame), None, dtype=object)


def dates(frame: Columns, name: str) -> np.ndarray:
    """A date column, all NaT where the frame lacks it."""
    if name in frame:
        return frame[name].astype("datetime64[D]")
    return np.full(height(frame), np.datetime64("NaT"), dtype="datetime64[D]")


def plain_bodies(frame: Columns, usual: Mapping[str, Mapping[str, float]], densities: Mapping[str, float], today: np.datetime64) -> Plain:
    """Fill what is not known: measures from the usual body of the kind, the date by the newest record.

    Args:
        frame: `bodies` (house frame); only kind and length_mm are required.
        usual: measures of the usual body by kind, as `USUAL`.
        densities: kg/m³ by alloy digits; the key "" is the usual one.
        today: date of the newest record.
    """
    kind = codes(texts(frame, "kind"), KINDS)
    fill = {name: np.array([usual[one][name] for one in KINDS])[kind] for name in MEASURES}
    filled = {name: _filled(numbers(frame, name), fill[name]) for name in MEASURES}
    dated = dates(frame, "dated_on")
    years = np.where(np.isnat(dated), 0.0, (dated - today).astype(np.float64) / 365.25)
    size = codes(texts(frame, "size_class"), SIZE_CLASSES)
    return Plain(
        kind=kind, size=np.maximum(size, 0), density=_densities(texts(frame, "material"), densities), years=years, **filled,
    )  # fmt: skip


def _filled(values: np.ndarray, fill: np.ndarray) -> np.ndarray:
    return np.where(np.isnan(values), fill, values)


def _densities(material: np.ndarray, densities: Mapping[str, float]) -> np.ndarray:
    found = np.full(len(material), densities[""])
    for name in {one for one in material.tolist() if one}:
        digits = "".join(letter for letter in name if letter.isdigit())[:4]
        if digits in densities:
            found[material == name] = densities[digits]
    return found


def plain_lines(
    fitout: Columns, bodies: Plain, item_ids: Iterable[str], places: Mapping[str, float], side_fraction: float,
) -> Lines:  # fmt: skip
    """Fit-out lines in the order of their bodies, each with a place.

    A line without x and y stands in the middle of its zone; without a zone in the middle of the body.
    """
    order = np.argsort(fitout["body_row"], kind="stable") if np.any(np.diff(fitout["body_row"]) < 0) else slice(None)
    body = fitout["body_row"][order]
    body = body if body.dtype.kind == "i" else body.astype(np.int64)
    qty, own, x_mm, y_mm = (_as_kept(fitout, name)[order] for name in ("qty", "length_mm", "x_mm", "y_mm"))
    gaps = [bool(np.isnan(values).any()) for values in (x_mm, y_mm)]
    if any(gaps):
        x_mm, y_mm = (values.astype(np.float64) if gap else values for values, gap in zip((x_mm, y_mm), gaps, strict=True))
        zone = texts(fitout, "zone")[order]
        for start in range(0, len(body), AT_A_TIME):
            here = slice(start, start + AT_A_TIME)
            shares = zone_fractions(zone[here], places, side_fraction)
            for values, share, size in zip((x_mm, y_mm), shares, (bodies.length_mm, bodies.width_mm), strict=True):
                gap = start + np.flatnonzero(np.isnan(values[here]))
                values[gap] = share[gap - start] * size[body[gap]]
    return Lines(
        body=body,
        item=codes(texts(fitout, "item_id")[order], item_ids).astype(np.int32),
        qty=np.where(np.isnan(qty), np.float32(1.0), qty) if np.isnan(qty).any() else qty,
        own_mm=own,
        x_mm=x_mm,
        y_mm=y_mm,
    )


def _as_kept(frame: Columns, name: str) -> np.ndarray:
    """A numeric column in the width that it came in: a history's lines share their numbers with its frame."""
    return frame[name] if name in frame else np.full(height(frame), np.nan, dtype=np.float32)


def zone_fractions(zones: np.ndarray, places: Mapping[str, float], side_fraction: float) -> tuple[np.ndarray, np.ndarray]:
    """Middle of each zone: along as a share of the length, across as a share of the width (right positive); (m,) each."""
    sides = {"left": -side_fraction, "right": side_fraction, "middle": 0.0}
    names = [*places, *(f"{side}-{place}" for side in sides for place in places)]
    along = [*places.values(), *(share for _side in sides for share in places.values()), 0.5]
    across = [*(0.0 for _place in places), *(shift for shift in sides.values() for _place in places), 0.0]
    found = codes(zones, names)
    return np.array(along)[found], np.array(across)[found]
