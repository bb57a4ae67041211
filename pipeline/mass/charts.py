"""Control charts of realised error: single values, their exponentially weighted mean, and the sum that says "refit".

Source of the charts: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals) and 6.3.2.4 (EWMA).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MOVING_RANGE_TO_SD = 1.128
"""Mean moving range of two normal values over their standard deviation (d2 of two)."""

SUM_ALARM = 3.29
"""Standard deviations of the running sum at which history no longer fits: one false alarm in ten runs of 50 records."""

SUM_LEAST = 3
SUM_CLIP = 3.0


@dataclass(frozen=True)
class Chart:
    """Centre line, limits and the points beyond them."""

    values: np.ndarray
    centre: float
    low: float
    high: float

    @property
    def beyond(self) -> np.ndarray:
        """(n,) whether a point lies outside the limits."""
        return (self.values < self.low) | (self.values > self.high)


def individuals(values: np.ndarray) -> Chart:
    """Chart of single values: mean ± 3 × mean moving range / 1.128."""
    middle = float(np.mean(values)) if len(values) else 0.0
    moving = float(np.mean(np.abs(np.diff(values)))) if len(values) > 1 else 0.0
    reach = 3.0 * moving / MOVING_RANGE_TO_SD
    return Chart(values, middle, middle - reach, middle + reach)


def ewma(values: np.ndarray, start: float, sd: float, share: float = 0.3) -> Chart:
    """Chart of the exponentially weighted mean, which shows a small shift sooner.

    Args:
        start: the mean when all is well; sd: of single values; share: weight of the newest value (lambda).
    """
    found = np.empty(len(values))
    level = start
    for place, value in enumerate(values.tolist()):
        level = share * value + (1.0 - share) * level
        found[place] = level
    reach = 3.0 * sd * float(np.sqrt(share / (2.0 - share)))
    return Chart(found, start, start - reach, start + reach)


def running_alarm(z: np.ndarray) -> int | None:
    """Position of the record at which clipped errors add up to "refit, or this is not your history"; None: not yet."""
    total = np.cumsum(np.clip(z, -SUM_CLIP, SUM_CLIP))
    count = np.arange(1, len(z) + 1)
    alarm = np.flatnonzero((np.abs(total) / np.sqrt(count) > SUM_ALARM) & (count >= SUM_LEAST))
    return int(alarm[0]) if len(alarm) else None
