"""Bands of shares and of their differences."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from pipeline.trends.bands import difference, wilson


@pytest.mark.parametrize(("n", "of", "low", "high"), [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 10, 0.0, 0.2775)])
def test_wilson_bands_as_published(n, of, low, high):
    """Source: R. G. Newcombe, Stat. Med. 17 (1998) 857-872, Table I, method 3 (quoted)."""
    found = wilson(np.array([n]), np.array([of]))
    assert (found[0][0], found[1][0]) == pytest.approx((low, high), abs=5e-5)


def test_wilson_bands_agree_with_statsmodels():
    rng = np.random.default_rng(1)
    of = rng.integers(1, 400, 200)
    n = rng.integers(0, of + 1)
    low, high = wilson(n, of)
    expected_low, expected_high = proportion_confint(n, of, method="wilson")
    np.testing.assert_allclose(low, expected_low, atol=1e-12)
    np.testing.assert_allclose(high, expected_high, atol=1e-12)


def test_bands_of_differences_agree_with_statsmodels():
    rng = np.random.default_rng(2)
    for _ in range(50):
        of_a, of_b = rng.integers(5, 300, 2)
        n_a, n_b = rng.integers(0, of_a + 1), rng.integers(0, of_b + 1)
        low, high = difference(np.array([n_a]), np.array([of_a]), np.array([n_b]), np.array([of_b]))
        expected = confint_proportions_2indep(n_b, of_b, n_a, of_a, compare="diff", method="newcomb")
        assert (low[0], high[0]) == pytest.approx(expected, abs=1e-9)


def test_nothing_counted_could_be_anything():
    low, high = wilson(np.array([0]), np.array([0]))
    assert (low[0], high[0]) == (0.0, 1.0)


def test_three_sales_are_no_boom():
    low, high = wilson(np.array([3]), np.array([3]))
    assert low[0] < 0.5
    assert high[0] == 1.0
