"""Whether two engines answer the same: cell by cell, texts equal, numbers to the last digits of a double."""

from __future__ import annotations

import math

from pipeline.answers.files import Rows

TOLERANCE = 1e-9
"""Relative, and absolute beside nought: sums are added in another order on each engine."""


def different(here: Rows, there: Rows) -> list[tuple[int, str, object, object]]:
    """Cells that differ, as (row, column, here, there); columns or a number of rows that differ are one entry.

    >>> different(Rows(("kg",), [(0.1 + 0.2,)]), Rows(("kg",), [(0.3,)]))
    []
    >>> different(Rows(("kg",), [(1.0,)]), Rows(("kg",), [(1.001,)]))
    [(0, 'kg', 1.0, 1.001)]
    """
    if here.columns != there.columns or len(here.rows) != len(there.rows):
        return [(-1, "shape", (here.columns, len(here.rows)), (there.columns, len(there.rows)))]
    return [
        (place, column, ours, theirs)
        for place, (mine, others) in enumerate(zip(here.rows, there.rows, strict=True))
        for column, ours, theirs in zip(here.columns, mine, others, strict=True)
        if not _alike(ours, theirs)
    ]


def _alike(ours: object, theirs: object) -> bool:
    if isinstance(ours, float) and isinstance(theirs, float):
        both_unknown = math.isnan(ours) and math.isnan(theirs)
        return both_unknown or math.isclose(ours, theirs, rel_tol=TOLERANCE, abs_tol=TOLERANCE)
    return ours == theirs
