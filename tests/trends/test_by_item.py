"""Medians of figures that count under many values each, beside `median` of the standard library's `statistics`."""

from __future__ import annotations

from statistics import median

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.trends.by_item import medians_under


def by_hand(figures: np.ndarray, place: np.ndarray, holds: np.ndarray) -> list[float]:
    told = []
    for mine in holds.T.tolist():
        column = [one for one, at in zip(figures.tolist(), place.tolist(), strict=True) if mine[at] and one == one]
        told.append(median(column) if column else float("nan"))
    return told


@settings(max_examples=200, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.sampled_from([1, 2, 3, 40, 1500]),
    st.sampled_from([1, 5, 300]),
    st.sampled_from(["distinct", "repeated", "one", "skew"]),
    st.sampled_from([0.0, 0.3, 1.0]),
)
def test_medians_are_exact_whatever_the_figures_and_the_sets(seed, n, places, shape, unknown):
    rng = np.random.default_rng(seed)
    drawn = {
        "distinct": rng.normal(size=n),
        "repeated": rng.integers(0, 4, n),
        "one": np.full(n, 7.0),
        "skew": np.exp(rng.normal(0, 9, n)),
    }[shape]
    figures = np.where(rng.random(n) < unknown, np.nan, drawn)
    place, holds = rng.integers(0, places, n), (rng.random((places, 6)) < 0.4).astype(np.float32)
    assert medians_under(figures, place, holds).tolist() == pytest.approx(by_hand(figures, place, holds), rel=1e-15, abs=0, nan_ok=True)
