"""Change over the years: drift of items' masses, older records counting less, or neither; the past's newest fifth decides.

Records older than the newest fifth are fitted in each way, the newest fifth is estimated, and the way with the smallest
error wins. Drift stands unless another is better by a margin: the shrinkage keeps it at nothing where nothing drifts.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.mass.design import WEIGHED, Design
from pipeline.mass.evidence import Rows
from pipeline.mass.robust import fit_rows, row_state
from pipeline.settings_mass import MassSettings

WAYS = ("drift", "decay", "none")
LEAST_TEST_ROWS = 15
MOST_ROWS = 1_500
NEWEST_SHARE = 0.2
BETTER_BY = 0.01
"""Share by which another way must be better than drift to replace it."""

CLIP = 3.0
"""Standard deviations beyond which an error counts as no larger, so that a gross error does not decide."""

STILL = 1e-6


def choose_change(design: Design, rows: Rows, years: np.ndarray, settings: MassSettings) -> tuple[str, dict[str, float]]:
    """The way that estimates the newest fifth best, and each way's error there (root mean square, share of the mass).

    Args:
        design: with drift columns.
        years: (n,) date of each row against the newest record.
    Returns: `drift` and no figures where there are too few weighed rows to tell.
    """
    recent = np.argsort(years, kind="stable")[-MOST_ROWS:]
    rows, years = rows.at(recent), years[recent]
    weighed = rows.source == WEIGHED
    if weighed.sum() * NEWEST_SHARE < LEAST_TEST_ROWS:
        return WAYS[0], {}
    cut = np.quantile(years[weighed], 1 - NEWEST_SHARE)
    past, new = rows.at(years <= cut), rows.at(weighed & (years > cut))
    if len(new) < LEAST_TEST_ROWS:
        return WAYS[0], {}
    errors = {way: _error(*_way(design, past, years[years <= cut] - cut, way, settings), new, settings) for way in WAYS}
    best = min(WAYS, key=lambda way: errors[way] * (1 - BETTER_BY * (way == WAYS[0])))
    return best, errors


def _way(design: Design, past: Rows, years: np.ndarray, way: str, settings: MassSettings) -> tuple[Design, Rows]:
    if way == "drift":
        return design, past
    drift = set(range(len(design.columns))[design.at.drift])
    still = tuple(replace(one, spread_kg=STILL) if place in drift else one for place, one in enumerate(design.columns))
    design = replace(design, columns=still)
    return design, replace(past, weight=past.weight * 0.5 ** (-years / settings.half_life_years)) if way == "decay" else past


def _error(design: Design, past: Rows, new: Rows, settings: MassSettings) -> float:
    state, _past = fit_rows(design, past, settings)
    found, _x = row_state(design, new, state, settings)
    relative = np.abs(found.residual_kg) / np.maximum(found.mass_kg, 1.0)
    return float(np.sqrt(np.mean(np.minimum(relative, CLIP * settings.scale_noise) ** 2)))
