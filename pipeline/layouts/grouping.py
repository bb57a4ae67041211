"""Gather weighted points into groups around medoids, the number of groups chosen by the silhouette.

A first partition comes from Ward's method (SciPy) on the distances, which for the root of Jaccard's distance are those of
points in a Euclidean space; weighted medoids then gather what is nearest until nothing moves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

_MOST_ROUNDS = 100


@dataclass(frozen=True)
class Grouping:
    """`labels` (n,) positions in `medoids` (k,), which are positions of points; `silhouette` is their weighted mean."""

    labels: np.ndarray
    medoids: np.ndarray
    silhouette: float


@dataclass(frozen=True)
class Bounds:
    """What a grouping must keep to.

    `most` groups, each of `least_weight`; below a mean silhouette of `least_silhouette` there is one group; a gain of `worth`
    or less is no reason for more groups, nor for leaving an earlier grouping.
    """

    most: int
    least_weight: float = 1.0
    least_silhouette: float = 0.0
    worth: float = 0.0


def gather(distance: np.ndarray, weights: np.ndarray, medoids: Sequence[int] | np.ndarray) -> Grouping:
    """Assign points to the nearest medoid and move medoids to the least weighted cost, in turn, until nothing moves.

    Args:
        distance: (n, n) symmetric.
        weights: (n,) how often each point occurs.
        medoids: (k,) points to start from.
    Source: Kaufman & Rousseeuw, Finding Groups in Data (1990), ch. 2; the alternating form of Park & Jun (2009).
    """
    now = np.unique(np.asarray(medoids, dtype=np.int64))
    for _ in range(_MOST_ROUNDS):
        labels = nearest(distance[:, now], now)
        moved = np.unique([medoid_of(distance, weights, np.flatnonzero(labels == label)) for label in range(len(now))])
        if np.array_equal(moved, now):
            break
        now = moved
    labels = nearest(distance[:, now], now)
    return Grouping(labels, now, mean_silhouette(distance, labels, weights))


def gather_large(distance: np.ndarray, weights: np.ndarray, medoids: Sequence[int] | np.ndarray, least: float) -> Grouping:
    """As `gather`, but the smallest group is given up, again and again, while it weighs less than `least`."""
    found = gather(distance, weights, medoids)
    while len(found.medoids) > 1:
        sizes = np.bincount(found.labels, weights=weights, minlength=len(found.medoids))
        if sizes.min() >= least:
            break
        found = gather(distance, weights, np.delete(found.medoids, np.argmin(sizes)))
    return found


def nearest(away: np.ndarray, medoids: np.ndarray) -> np.ndarray:
    """(n,) position of each point's nearest medoid, of (n, k) distances to them; a medoid is always its own, of equals the first wins."""
    labels = np.argmin(away, axis=1)
    labels[medoids] = np.arange(len(medoids))
    return labels


def medoid_of(distance: np.ndarray, weights: np.ndarray, members: np.ndarray) -> int:
    """The member with the least weighted sum of distances to the others; the first of equals."""
    cost = distance[np.ix_(members, members)] @ weights[members]
    return int(members[np.argmin(np.round(cost, 6))])


def cost_of(distance: np.ndarray, weights: np.ndarray, grouping: Grouping) -> float:
    """Weighted sum of the distances to the own medoid."""
    own = distance[np.arange(len(grouping.labels)), grouping.medoids[grouping.labels]]
    return float(own @ weights)


def silhouettes(distance: np.ndarray, labels: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """(n,) silhouette of each point, as if it stood there `weights` times.

    Source: P. Rousseeuw, J. Comput. Appl. Math. 20 (1987) 53-65; a group of one point has silhouette 0.
    """
    groups = int(labels.max()) + 1
    membership = np.zeros((len(labels), groups))
    membership[np.arange(len(labels)), labels] = weights
    size = membership.sum(axis=0)
    if groups < 2:
        return np.zeros(len(labels))
    sums = distance @ membership
    rows = np.arange(len(labels))
    own_others = size[labels] - 1
    within = np.divide(sums[rows, labels], own_others, out=np.zeros(len(labels)), where=own_others > 0)
    means = sums / size
    means[rows, labels] = np.inf
    between = means.min(axis=1)
    larger = np.maximum(within, between)
    score = np.divide(between - within, larger, out=np.zeros(len(labels)), where=larger > 0)
    return np.where(own_others > 0, score, 0.0)


def mean_silhouette(distance: np.ndarray, labels: np.ndarray, weights: np.ndarray) -> float:
    """Weighted mean of the silhouettes; 0 for a single group."""
    return float(np.average(silhouettes(distance, labels, weights), weights=weights))


def candidates(distance: np.ndarray, weights: np.ndarray, most: int, least: float) -> list[Grouping]:
    """A grouping out of each number of first groups from 2 to `most`, every group weighing `least` or more."""
    from scipy.cluster.hierarchy import fcluster, linkage
    from scipy.spatial.distance import squareform

    if most < 2:
        return []
    tree = linkage(squareform(np.sqrt(np.maximum(distance, 0.0)), checks=False), method="ward")
    found = []
    for groups in range(2, most + 1):
        first = fcluster(tree, groups, criterion="maxclust")
        medoids = [medoid_of(distance, weights, np.flatnonzero(first == label)) for label in np.unique(first)]
        found.append(gather_large(distance, weights, medoids, least))
    return found


def choose(
    distance: np.ndarray,
    weights: np.ndarray,
    bounds: Bounds,
    earlier_medoids: Sequence[int] = (),
) -> Grouping:
    """The grouping with the fewest groups among those nearest to the greatest mean silhouette; an earlier one as long as it does.

    Args:
        earlier_medoids: points nearest to the medoids of the last time.
    """
    every = np.arange(len(weights))
    one = Grouping(np.zeros(len(weights), dtype=np.int64), np.array([medoid_of(distance, weights, every)]), 0.0)
    tried = candidates(distance, weights, min(bounds.most, len(weights) - 1), bounds.least_weight)
    greatest = max((each.silhouette for each in tried), default=0.0)
    near = [each for each in tried if each.silhouette >= greatest - bounds.worth - 1e-9 and each.silhouette >= bounds.least_silhouette]
    best = min(near, key=lambda each: (len(each.medoids), -round(each.silhouette, 6)), default=one)
    if len(earlier_medoids) == 0:
        return best
    kept = gather_large(distance, weights, earlier_medoids, bounds.least_weight / 2)
    return best if best.silhouette > kept.silhouette + bounds.worth else kept
