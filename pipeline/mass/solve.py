"""Least squares from sums: cross-products of blocks of rows, then one small solve, shrunk toward what was believed before.

The sums of blocks add up, so that the same solve serves one machine and many. With no penalty and weights of one it is
ordinary least squares, centred first where a column is constant, as the outside checks need.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from operator import add

import numpy as np

ROWS = 65_536
"""Rows that are worked on at a time: what is made of them on the way takes some ten megabytes, however many there are."""


@dataclass(frozen=True)
class Sums:
    """Weighted cross-products of a block of rows.

    Attributes:
        xx: (p, p) sum of w x x'.  xy: (p,) sum of w x y.  yy: sum of w y².  weight: sum of w.  rows: rows with w > 0.
    """

    xx: np.ndarray
    xy: np.ndarray
    yy: float
    weight: float
    rows: int

    def __add__(self, other: Sums) -> Sums:
        return Sums(self.xx + other.xx, self.xy + other.xy, self.yy + other.yy, self.weight + other.weight, self.rows + other.rows)


def cross_products(x: np.ndarray, y: np.ndarray, weight: np.ndarray) -> Sums:
    """Sums of rows, worked on some at a time; x (n, p), y and weight (n,)."""
    return reduce(add, (_sums(x[part], y[part], weight[part]) for part in _parts(len(y))))


def _sums(x: np.ndarray, y: np.ndarray, weight: np.ndarray) -> Sums:
    root = np.sqrt(weight)
    heavy = x * root[:, None]
    target = y * root
    return Sums(heavy.T @ heavy, heavy.T @ target, float(target @ target), float(weight.sum()), int(np.count_nonzero(weight)))


def _parts(count: int) -> list[slice]:
    return [slice(start, start + ROWS) for start in range(0, count, ROWS)] or [slice(0)]


@dataclass(frozen=True)
class Solution:
    """Coefficients and their covariance factor: `covariance = factor @ factor.T`; both for noise of variance 1."""

    coef: np.ndarray
    factor: np.ndarray

    @property
    def covariance(self) -> np.ndarray:
        return self.factor @ self.factor.T


def ridge(sums: Sums, prior: np.ndarray, spread: np.ndarray) -> Solution:
    """Minimise sum of w (y − x b)² + sum of ((b − prior) / spread)².

    scikit-learn's ridge regression on columns scaled by their spread does it, on p rows that have the same sums as all n
    (the eigenvectors of the cross-products), so that its work does not grow with the history.
    Infinite spreads are not allowed: see `least_squares`.
    """
    from sklearn.linear_model import ridge_regression  # imported where it is used: estimating must not load it

    scaled = sums.xx * spread[:, None] * spread
    values, vectors = np.linalg.eigh((scaled + scaled.T) / 2)
    kept = values > values[-1] * 1e-14 if values[-1] > 0 else np.zeros(len(values), dtype=bool)
    root = np.sqrt(values[kept])
    target = vectors[:, kept].T @ (spread * (sums.xy - sums.xx @ prior)) / root
    shift = np.zeros(len(prior))
    if kept.any():
        shift = ridge_regression(root[:, None] * vectors[:, kept].T, target, alpha=1.0, solver="svd", check_input=False)
    inner = vectors / np.sqrt(np.maximum(values, 0.0) + 1.0)
    return Solution(prior + spread * shift, spread[:, None] * inner)


REFINEMENTS = 3
"""Solves of what is left, after which collinear columns keep as many digits as the numbers carry."""


@dataclass(frozen=True)
class Line:
    """An ordinary least-squares fit: coefficients (constant first), their covariance, residual standard deviation, R²."""

    coef: np.ndarray
    covariance: np.ndarray
    sd: float
    r_squared: float
    degrees: int


def least_squares(x: np.ndarray, y: np.ndarray) -> Line:
    """Ordinary least squares with a constant, through the same sums: columns are centred and scaled first.

    Args:
        x: (n, p) without the constant.
        y: (n,).
    """
    from sklearn.linear_model import ridge_regression  # as in `ridge`

    middle, scale = x.mean(axis=0), x.std(axis=0)
    centred, target = (x - middle) / scale, y - y.mean()
    sums = cross_products(centred, target, np.ones(len(y)))
    values, vectors = np.linalg.eigh(sums.xx)
    root = np.sqrt(values)
    slope, residual = np.zeros(x.shape[1]), target
    for _refinement in range(REFINEMENTS):
        right = vectors.T @ (centred.T @ residual) / root
        slope = slope + ridge_regression(root[:, None] * vectors.T, right, alpha=0.0, solver="svd", check_input=False)
        residual = target - centred @ slope
    degrees = len(y) - x.shape[1] - 1
    variance = float(residual @ residual) / degrees
    inner = (vectors / values) @ vectors.T * variance / np.outer(scale, scale)
    coef = slope / scale
    covariance = np.empty((len(coef) + 1,) * 2)
    covariance[1:, 1:] = inner
    covariance[0, 1:] = covariance[1:, 0] = -inner @ middle
    covariance[0, 0] = variance / len(y) + middle @ inner @ middle
    return Line(
        np.concatenate([[y.mean() - coef @ middle], coef]), covariance, variance**0.5, 1 - float(residual @ residual) / sums.yy, degrees
    )


def quadratic(x: np.ndarray, factor: np.ndarray) -> np.ndarray:
    """(n,) x V x' a row, V = factor factor'."""
    out = np.empty(len(x))
    for part in _parts(len(x)):
        product = x[part] @ factor
        out[part] = np.einsum("ij,ij->i", product, product)
    return out
