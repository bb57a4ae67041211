"""Collecting what is on many vehicles at once: parts, covariances, marks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

STAYS, COMES_OFF, WE_BUILD, PEOPLE_BRING = "stays", "comes off", "we build", "people bring"
GROUPS = (STAYS, COMES_OFF, WE_BUILD, PEOPLE_BRING)


@dataclass(frozen=True)
class Part:
    """One kind of thing on the vehicles; all arrays (m,).

    Attributes:
        group: one of GROUPS.
        case: the case each belongs to.
        kg, x_mm, y_mm: mass (negative: comes off) and place; the place of a zero mass does not matter.
        label, basis: object arrays, for people.
    """

    group: str
    case: np.ndarray
    kg: np.ndarray
    x_mm: np.ndarray
    y_mm: np.ndarray
    label: np.ndarray
    basis: np.ndarray


class Loading:
    """Collects parts, covariances and marks of n cases."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.parts: list[Part] = []
        self.all = np.arange(size)
        self.cov = np.zeros((size, 3, 3))
        self.marks = np.zeros(size, np.int64)

    def every(self, group: str, kg: Any, x_mm: Any, label: Any, basis: Any, y_mm: Any = 0.0) -> None:
        """A part that each case has once."""
        self.some(group, self.all, kg, x_mm, y_mm, label, basis)

    def some(self, group: str, case: np.ndarray, kg: Any, x_mm: Any, y_mm: Any, label: Any, basis: Any) -> None:
        """A part that some cases have; numbers, texts or arrays (m,) beside `case` (m,)."""
        size = len(case)
        numbers = [np.broadcast_to(np.asarray(one, float), (size,)) for one in (kg, x_mm, y_mm)]
        self.parts.append(Part(group, case, numbers[0], numbers[1], numbers[2], objects(label, size), objects(basis, size)))

    def mark(self, marks: np.ndarray, case: np.ndarray | None = None) -> None:
        """Note marks, (n,) for every case, or (m,) for those in `case`."""
        if case is None:
            self.marks |= marks
        else:
            np.bitwise_or.at(self.marks, case, marks)

    def total(self, place: str | None = None) -> np.ndarray:
        """Sum of masses, or of first moments along `x_mm` or `y_mm`; (n,)."""
        out = np.zeros(self.size)
        for part in self.parts:
            weights = part.kg if place is None else np.where(part.kg == 0, 0.0, part.kg * getattr(part, place))
            out += np.bincount(part.case, weights=weights, minlength=self.size)
        return out

    def vary(self, var: np.ndarray, x_mm: np.ndarray) -> None:
        """Variance of a mass at a place, (n,) both."""
        place = np.nan_to_num(x_mm)
        self.cov[:, 0, 0] += var
        self.cov[:, 0, 1] += var * place
        self.cov[:, 1, 0] += var * place
        self.cov[:, 1, 1] += var * place**2


def objects(values: Any, size: int) -> np.ndarray:
    """An object array of that size, from one text (which takes no room) or several."""
    if isinstance(values, np.ndarray):
        return values
    if isinstance(values, str):
        return np.broadcast_to(np.array(values, dtype=object), (size,))
    found = np.empty(size, dtype=object)
    found[:] = values
    return found
