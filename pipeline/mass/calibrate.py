"""Calibration out of fold: how many predicted standard deviations an interval must reach to hold its promise.

A score is the residual of a body left out of the fit (with all rows of its group), over the sd predicted for it without it.
The interval's factor is the scores' conformal quantile; with few scores, which alone fall about a point short, it is the
larger of that and Student's t. Factors are kept as a grid of levels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.mass.robust import Residuals

LEVELS = np.round(np.arange(0.50, 0.9901, 0.01), 2)
"""Levels at which the factors are kept; in between they are interpolated."""


ENOUGH = 400
"""Scores from which the conformal quantile stands alone: t with its inflated spread then covers more than was promised."""


@dataclass(frozen=True)
class OutOfFold:
    """Of each row (n,): residual and standard deviation predicted without its group."""

    residual_kg: np.ndarray
    sd_kg: np.ndarray


def conformal_rank(rows: int, level: float) -> int:
    """Rank (from 1) of the score that covers a new one with at least `level`; rows + 1 means no finite interval.

    Source: Lei et al., JASA 113 (2018), Theorem 2: rank ceil(level (n + 1)).

    >>> conformal_rank(19, 0.9), conformal_rank(9, 0.9), conformal_rank(8, 0.9)
    (18, 9, 9)
    """
    return min(rows + 1, int(np.ceil(round(level * (rows + 1), 9))))


def conformal_quantile(scores: np.ndarray, level: float) -> float:
    """The score of that rank, infinite where there are too few."""
    rank = conformal_rank(len(scores), level)
    return float(np.inf) if rank > len(scores) else float(np.partition(scores, rank - 1)[rank - 1])


def student_quantile(level: np.ndarray, degrees: float) -> np.ndarray:
    """Two-sided quantile of Student's t at each level."""
    from scipy.special import stdtrit  # imported where it is used: estimating must not load it

    return np.asarray(stdtrit(max(degrees, 1.0), (1.0 + level) / 2.0))


def factors(scores: np.ndarray, degrees: float) -> np.ndarray:
    """(levels,) factor on the sd at each of LEVELS: the conformal quantile, below ENOUGH scores no less than Student's t."""
    scores = np.sort(scores)
    ranks = [conformal_rank(len(scores), level) for level in LEVELS.tolist()]
    seen = np.array([scores[rank - 1] if rank <= len(scores) else 0.0 for rank in ranks])
    least = student_quantile(LEVELS, degrees)
    # Where a level asks for more scores than there are, t stands in for a quantile that would be infinite.
    told = np.where(seen == 0.0, least, seen) if len(scores) >= ENOUGH else np.maximum(seen, least)
    return np.maximum.accumulate(told)


def leave_out(group: np.ndarray, weight: np.ndarray, x: np.ndarray, found: Residuals, factor: np.ndarray) -> OutOfFold:
    """Residual and sd of each row from the fit without its group, in closed form.

    Args:
        group: (n,) rows of one group are left out together.
        weight: (n,) weight of each row in that fit, beside its variance.
        x: (n, p) design as it stood in the last pass.
        factor: (p, p) covariance factor of the coefficients.
    Leaving out the set G moves its residuals by (1 − H)⁻¹, H = X V X' W within G; single rows need no matrix.
    """
    pull = weight / found.var
    share = np.minimum(pull * found.leverage, 0.999)
    residual = found.residual_kg / (1.0 - share)
    leverage = found.leverage / (1.0 - share)
    for members in _companies(group):
        part = x[members] @ factor
        inner = part @ np.swapaxes(part, 1, 2)
        heavy = inner * pull[members][:, None, :]
        open_ = np.linalg.inv(np.eye(members.shape[1]) - heavy)
        residual[members] = np.einsum("gij,gj->gi", open_, found.residual_kg[members])
        leverage[members] = np.einsum("gij,gji->gi", open_, inner)
    return OutOfFold(residual, np.sqrt(found.var + np.maximum(leverage, 0.0)))


def _companies(group: np.ndarray) -> list[np.ndarray]:
    """Groups of several rows, as one (groups, size) array of positions a size."""
    order = np.argsort(group, kind="stable")
    starts = np.flatnonzero(np.diff(group[order], prepend=-1))
    sizes = np.diff(starts, append=len(order))
    return [order[starts[sizes == size][:, None] + np.arange(size)] for size in np.unique(sizes[sizes > 1])]
