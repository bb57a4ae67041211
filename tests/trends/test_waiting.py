"""Conversion and times: open quotes are neither won nor lost."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from small_edition import edition, with_families
from statsmodels.duration.survfunc import SurvfuncRight

from pipeline.layouts.views import Clause
from pipeline.settings_layouts import LayoutSettings, TrendSettings
from pipeline.trends.waiting import conversion, curve, waiting_curve

LAYOUTS, TRENDS = LayoutSettings(), TrendSettings()


@pytest.mark.parametrize("seed", range(3))
def test_the_curve_agrees_with_statsmodels(seed):
    rng = np.random.default_rng(seed)
    days, came = rng.integers(1, 200, 500), rng.random(500) < 0.6
    mine, theirs = curve(days, came), SurvfuncRight(days, came.astype(int))
    for day, stays in zip(theirs.surv_times, theirs.surv_prob, strict=True):
        assert mine.at(day)[0] == pytest.approx(1 - stays, abs=1e-12)


def test_the_band_agrees_with_lifelines():
    from lifelines import KaplanMeierFitter

    rng = np.random.default_rng(8)
    days, came = rng.integers(1, 200, 400), rng.random(400) < 0.6
    mine, theirs = curve(days, came), KaplanMeierFitter().fit(days, came)
    low, high = (1 - theirs.confidence_interval_survival_function_.iloc[:, side].to_numpy() for side in (1, 0))
    inner = (mine.share > 0) & (mine.share < 1)
    np.testing.assert_allclose(mine.days, theirs.survival_function_.index.to_numpy())
    np.testing.assert_allclose(mine.low[inner], low[inner], atol=1e-9)
    np.testing.assert_allclose(mine.high[inner], high[inner], atol=1e-9)


def test_counted_together_or_one_by_one_is_the_same():
    rng = np.random.default_rng(4)
    days, came, n = rng.integers(1, 60, 80), rng.random(80) < 0.5, rng.integers(1, 5, 80)
    together, apart = curve(days, came, n), curve(np.repeat(days, n), np.repeat(came, n))
    np.testing.assert_allclose(together.share, apart.share, atol=1e-12)
    np.testing.assert_allclose(together.low, apart.low, atol=1e-9)


def shop(seed: int, quotes: int, ordered: float, newest: date = date(2026, 1, 1)):
    """Quotes over two years of which a known share is ordered, after 10 to 100 days; what is still to come is not known yet."""
    rng = np.random.default_rng(seed)
    jobs = []
    for number in range(quotes):
        quoted = newest - timedelta(days=int(rng.integers(0, 730)))
        wins, after = rng.random() < ordered, int(rng.integers(10, 101))
        lost_after = int(rng.integers(5, 300))
        job = {"job_id": f"J{number:05d}", "quoted_on": quoted, "status": "quoted"}
        if wins and quoted + timedelta(days=after) <= newest:
            job |= {"status": "ordered", "ordered_on": quoted + timedelta(days=after)}
        elif not wins and quoted + timedelta(days=lost_after) <= newest:
            job |= {"status": "lost", "lost_on": quoted + timedelta(days=lost_after), "lost_why": "price"}
        jobs.append(job)
    jobs.append({"job_id": "NEWEST", "quoted_on": newest, "status": "quoted"})
    return with_families(edition(jobs=jobs, bodies=[{"job_id": job["job_id"], "body": "canopy"} for job in jobs]))


@pytest.mark.parametrize("seed", range(3))
def test_the_known_share_is_recovered_though_young_quotes_are_still_open(seed):
    con = shop(seed, 3000, 0.4)
    row = conversion(con, Clause(), LAYOUTS, TRENDS).filter(pl.col("grouping") == "all").row(0, named=True)
    assert row["share"] == pytest.approx(0.4, abs=0.03)
    assert row["order_days"] == pytest.approx(55, abs=5)
    assert row["order_days_high"] == pytest.approx(91, abs=5)
    naive = row["ordered"] / (row["ordered"] + row["lost"])
    assert abs(naive - 0.4) > abs(row["share"] - 0.4), "counting open quotes as nothing would have been further off"


def test_the_band_holds_the_known_share_as_often_as_it_says():
    """200 histories of 150 quotes, 95 % bands: tolerance three standard errors of a count of 200."""
    rng, inside = np.random.default_rng(9), 0
    for _ in range(200):
        age, after, wins = rng.integers(0, 730, 150), rng.integers(10, 101, 150), rng.random(150) < 0.4
        came = wins & (after <= age)
        _, low, high = curve(np.where(came, after, age), came).at(180)
        inside += low <= 0.4 <= high
    assert inside / 200 >= 0.95 - 3 * (0.95 * 0.05 / 200) ** 0.5


def test_the_counts_are_those_of_a_query_written_by_hand():
    con = shop(7, 400, 0.5)
    row = conversion(con, Clause(), LAYOUTS, TRENDS).filter(pl.col("grouping") == "all").row(0, named=True)
    by_hand = con.execute(
        "select count(*), count(*) filter (status in ('ordered', 'delivered')), count(*) filter (status in ('lost', 'cancelled')),"
        " count(*) filter (status = 'quoted') from jobs"
    ).fetchall()[0]
    assert (row["quotes"], row["ordered"], row["lost"], row["open_quotes"]) == by_hand


def test_a_job_of_two_bodies_is_one_quote_of_its_branch_and_one_of_each_kind():
    jobs = [{"job_id": "A", "quoted_on": date(2026, 1, 1), "ordered_on": date(2026, 2, 1), "status": "ordered", "branch": "north"}]
    con = with_families(edition(jobs=jobs, bodies=[{"job_id": "A", "body": "tray"}, {"job_id": "A", "body": "canopy"}]))
    counts = dict(
        conversion(con, Clause(), LAYOUTS, TRENDS).select(pl.concat_str("grouping", "value", separator="/"), "quotes").iter_rows()
    )
    assert (counts["all/all"], counts["branch/north"], counts["kind/tray"], counts["kind/canopy"]) == (1, 1, 1, 1)


def test_a_year_of_handovers_told_by_median_and_spread():
    jobs = [
        {
            "job_id": f"J{at}",
            "quoted_on": date(2026, 1, 1),
            "ordered_on": date(2026, 1, 1),
            "delivered_on": date(2026, 1, 1) + timedelta(days=at),
        }
        for at in range(1, 101)
    ]
    con = with_families(edition(jobs=jobs, bodies=[{"job_id": job["job_id"], "body": "tray"} for job in jobs]))
    row = conversion(con, Clause(), LAYOUTS, TRENDS).filter(pl.col("grouping") == "all").row(0, named=True)
    assert (row["handover_days_low"], row["handover_days"], row["handover_days_high"]) == (10, 50, 90)


def test_an_order_before_its_quote_waited_no_time():
    jobs = [{"job_id": "A", "quoted_on": date(2026, 2, 1), "ordered_on": date(2026, 1, 1), "status": "ordered"}]
    con = with_families(edition(jobs=jobs, bodies=[{"job_id": "A", "body": "tray"}]))
    assert waiting_curve(con, Clause(), LAYOUTS, TRENDS).at(0)[0] == 1.0


def test_without_quotes_there_is_no_curve():
    con = with_families(edition())
    assert waiting_curve(con, Clause(), LAYOUTS, TRENDS) is None
    assert conversion(con, Clause(), LAYOUTS, TRENDS).is_empty()
