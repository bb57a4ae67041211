"""The design declared as data: every column with its name, unit, reference value and what is believed of it beforehand.

Each column is divided by its value on the reference body, so that every coefficient is in kg on that body and may be
read beside a datasheet. A new item in `items` becomes two columns without a change here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.mass.bodies import KINDS, SIZE_CLASSES

SHELL = (
    ("frame", "1", "what every body of the kind has"),
    ("sheet", "kg", "walls and roof: area × thickness × density"),
    ("floor", "kg", "floor or deck: area × thickness × density"),
    ("edges", "m", "edges of the body"),
    ("length", "m", "length beyond the reference body's"),
    ("bend", "m²", "square of that"),
    ("long", "m", "length beyond the long quarter of history, by 300 mm"),
    ("doors", "1", "side doors"),
    ("paint", "m²", "painted area"),
    *((f"class {name}", "1", f"{name} instead of {SIZE_CLASSES[0]}") for name in SIZE_CLASSES[1:]),
)
"""Columns of the shell, one set a kind: name, unit, meaning."""

DRIFT_GROUPS = ("power", "kitchen")
"""Groups whose mass may change over the years by themselves; all others change together."""

WEIGHED, DRAWN, TICKET, PAIRED = range(4)
SOURCES = ("weighed", "drawn", "ticket", "drawn beside weighed")
"""Where a reading of mass comes from; the last is a drawing's mass minus the scale's, of one body or drawing."""

SHELL_COUNT = len(SHELL)
LONG_STEP_M = 0.3
FULL_STEP_KG = 50.0


@dataclass(frozen=True)
class Item:
    """One item of the workshop's list: its datasheet mass is `base_kg + per_m_kg × length in m`; `known` if the datasheet says so."""

    item_id: str
    label: str
    group: str
    base_kg: float
    per_m_kg: float
    known: bool


@dataclass(frozen=True)
class Beliefs:
    """How strongly datasheets of items are believed, kept with the model for items that come after its fit.

    Attributes: as the settings of the same meaning; `place_mm` along and across.
    """

    spread: float
    least_kg: float
    unknown_kg: float
    unknown_spread_kg: float
    slope_spread_kg: float
    place_mm: tuple[float, float]


@dataclass(frozen=True)
class Column:
    """One column of the design.

    Attributes:
        part: what an explanation files it under (`shell`, `items`, `together`, `full`, `drawing`).
        prior_kg, spread_kg: what is believed of its coefficient before history (mean, one standard deviation).
    """

    name: str
    unit: str
    meaning: str
    part: str
    reference: float
    prior_kg: float
    spread_kg: float


@dataclass(frozen=True)
class Design:
    """All that turns bodies and lines into the design matrix; plain data, stored with the model.

    Attributes:
        usual: median measures of a body by kind, for gaps and as reference bodies.
        length_m: reference length of items' slopes.
        long_m: length beyond which a body of a kind counts as long.
        full_kg: two knots of fit-out mass by datasheet beyond which a body counts as full.
        pairs: items or groups that bring mass where they stand together.
        today: ISO date of the newest record.
        drifts: whether items' masses change over the years.
    """

    items: tuple[Item, ...]
    columns: tuple[Column, ...]
    usual: dict[str, dict[str, float]]
    length_m: float
    long_m: dict[str, float]
    full_kg: tuple[float, float]
    pairs: tuple[tuple[str, str], ...]
    today: str
    drifts: bool
    density_kg_m3: dict[str, float]
    places: dict[str, float]
    side_fraction: float
    beliefs: Beliefs

    @property
    def item_count(self) -> int:
        return len(self.items)

    @cached_property
    def item_ids(self) -> tuple[str, ...]:
        return tuple(item.item_id for item in self.items)

    @cached_property
    def base_kg(self) -> np.ndarray:
        return np.array([item.base_kg for item in self.items])

    @cached_property
    def per_m_kg(self) -> np.ndarray:
        return np.array([item.per_m_kg for item in self.items])

    @cached_property
    def ratio(self) -> tuple[np.ndarray, np.ndarray]:
        """Item column a piece: ratio[0] + ratio[1] × length in m, 1 at the reference length; (items,) each."""
        at_reference = self.base_kg + self.per_m_kg * self.length_m
        divisor = np.where(at_reference > 0.5, at_reference, 1.0)
        grows = at_reference > 0.5
        return np.where(grows, self.base_kg / divisor, 1.0), np.where(grows, self.per_m_kg / divisor, 0.0)

    @cached_property
    def drift_group(self) -> np.ndarray:
        """(items,) position among power, kitchen, all others."""
        known = {name: place for place, name in enumerate(DRIFT_GROUPS)}
        return np.array([known.get(item.group, len(DRIFT_GROUPS)) for item in self.items], dtype=np.int64)

    @cached_property
    def drift_masks(self) -> np.ndarray:
        """(items, 3) one where the item belongs to the drift group."""
        return np.eye(len(DRIFT_GROUPS) + 1)[self.drift_group]

    @cached_property
    def pair_sides(self) -> tuple[np.ndarray, np.ndarray]:
        """(items, pairs) one where the item belongs to the first, to the second side of the pair."""
        sides = [np.zeros((self.item_count, len(self.pairs))) for _side in range(2)]
        for place, pair in enumerate(self.pairs):
            for side, name in zip(sides, pair, strict=True):
                side[[item.item_id == name or item.group == name for item in self.items], place] = 1.0
        return sides[0], sides[1]

    @cached_property
    def reference(self) -> np.ndarray:
        """(p,) divisor of each column."""
        return np.array([column.reference for column in self.columns])

    @cached_property
    def prior(self) -> np.ndarray:
        """(p,) coefficients before history, kg."""
        return np.array([column.prior_kg for column in self.columns])

    @cached_property
    def spread(self) -> np.ndarray:
        """(p,) standard deviation of that, kg."""
        return np.array([column.spread_kg for column in self.columns])

    @cached_property
    def at(self) -> Places:
        return Places(self.item_count, len(self.pairs), self.drifts)


@dataclass(frozen=True)
class Places:
    """Where each family of columns stands in the matrix."""

    items: int
    pairs: int
    drifts: bool

    @cached_property
    def item(self) -> slice:
        first = len(KINDS) * SHELL_COUNT
        return slice(first, first + self.items)

    @cached_property
    def slope(self) -> slice:
        return slice(self.item.stop, self.item.stop + self.items)

    @cached_property
    def uplift(self) -> int:
        return self.slope.stop

    @cached_property
    def each(self) -> int:
        return self.uplift + 1

    @cached_property
    def drift(self) -> slice:
        return slice(self.each + 1, self.each + 1 + (len(DRIFT_GROUPS) + 1) * self.drifts)

    @cached_property
    def pair(self) -> slice:
        return slice(self.drift.stop, self.drift.stop + self.pairs)

    @cached_property
    def full(self) -> slice:
        return slice(self.pair.stop, self.pair.stop + 2)

    @cached_property
    def drawing(self) -> int:
        return self.full.stop

    @cached_property
    def count(self) -> int:
        return self.drawing + 1
