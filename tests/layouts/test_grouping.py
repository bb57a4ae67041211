"""Medoids and silhouettes."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.distance import cdist
from sklearn.metrics import silhouette_samples, silhouette_score

from pipeline.layouts.grouping import Bounds, candidates, choose, cost_of, gather_large, mean_silhouette, silhouettes

SIX = np.array([(1, 2), (1, 4), (1, 0), (4, 2), (4, 4), (4, 0)], dtype=float)


def test_medoids_of_six_points():
    """Source: the public docstring of a k-medoids class (from memory), recomputed here by trying every pair."""
    distance = cdist(SIX, SIX)
    (found,) = candidates(distance, np.ones(6), most=2, least=1)
    assert sorted(map(tuple, SIX[found.medoids])) == [(1, 2), (4, 2)]
    assert cost_of(distance, np.ones(6), found) == pytest.approx(8.0)
    every = min(np.minimum(distance[:, a], distance[:, b]).sum() for a in range(6) for b in range(a))
    assert every == pytest.approx(8.0)


def blobs(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    points = np.concatenate([rng.normal(centre, 0.6, (25, 2)) for centre in ((0, 0), (4, 0), (0, 5))])
    return cdist(points, points), np.repeat([0, 1, 2], 25), rng.integers(1, 5, 75).astype(float)


@pytest.mark.parametrize("seed", range(3))
def test_silhouettes_agree_with_scikit_learn(seed):
    distance, _, _ = blobs(seed)
    labels = np.random.default_rng(seed).integers(0, 4, 75)
    np.testing.assert_allclose(
        silhouettes(distance, labels, np.ones(75)), silhouette_samples(distance, labels, metric="precomputed"), atol=1e-12
    )


@pytest.mark.parametrize("seed", range(3))
def test_a_weighted_point_counts_like_so_many_alike_ones(seed):
    distance, labels, weights = blobs(seed)
    often = np.repeat(np.arange(75), weights.astype(int))
    expanded = silhouette_score(distance[np.ix_(often, often)], labels[often], metric="precomputed")
    assert mean_silhouette(distance, labels, weights) == pytest.approx(expanded, abs=1e-12)


def test_a_group_of_one_has_silhouette_zero_as_in_scikit_learn():
    distance, labels = cdist(SIX, SIX), np.array([0, 1, 1, 2, 2, 2])
    np.testing.assert_allclose(
        silhouettes(distance, labels, np.ones(6)), silhouette_samples(distance, labels, metric="precomputed"), atol=1e-12
    )


@pytest.mark.parametrize("seed", range(3))
def test_the_number_of_groups_is_where_the_silhouette_is_greatest(seed):
    distance, labels, weights = blobs(seed)
    found = choose(distance, weights, Bounds(most=10))
    assert len(found.medoids) == 3
    assert len(set(zip(found.labels, labels, strict=True))) == 3


def test_points_without_groups_are_one_group():
    distance = 1 - np.eye(40)
    assert len(choose(distance, np.ones(40), Bounds(most=8, least_silhouette=0.05)).medoids) == 1


def test_small_groups_are_given_up():
    distance, _, weights = blobs(0)
    lone = np.pad(distance, ((0, 1), (0, 1)), constant_values=9.0)
    lone[-1, -1] = 0
    found = gather_large(lone, np.append(weights, 1.0), [0, 30, 60, 75], least=5)
    assert len(found.medoids) == 3


def test_an_earlier_grouping_stands_until_another_gains_enough():
    distance, _, weights = blobs(1)
    two = [0, 40]
    assert len(choose(distance, weights, Bounds(most=6, worth=0.5), two).medoids) == 2
    assert len(choose(distance, weights, Bounds(most=6, worth=0.02), two).medoids) == 3


@pytest.mark.parametrize("points", [1, 2, 3])
def test_a_handful_of_points_is_grouped_without_fuss(points):
    found = choose(cdist(SIX[:points], SIX[:points]), np.ones(points), Bounds(most=12))
    assert found.labels.shape == (points,)
