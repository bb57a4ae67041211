"""What really changed: planted changes are found, planted nothings are not."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from scipy.stats import fisher_exact
from small_edition import edition, with_families
from statsmodels.stats.multitest import multipletests

from pipeline.layouts.views import Clause
from pipeline.settings_layouts import LayoutSettings, TrendSettings
from pipeline.trends.changes import CHANGES, Window, changes, evidence, exact_p, newest_window

LAYOUTS, TRENDS = LayoutSettings(), TrendSettings()
NOTHINGS = [f"nothing-{number}" for number in range(10)]


def shop(seed: int, bodies_a_year: int = 400, before: float = 0.18, now: float = 0.34):
    """Two years of canopies: one item goes up, ten stay as they are."""
    rng = np.random.default_rng(seed)
    share = {name: rng.uniform(0.1, 0.8) for name in NOTHINGS}
    jobs, bodies, fitout = [], [], []
    for number in range(2 * bodies_a_year):
        key = {"job_id": f"J{number}", "body": "canopy"}
        sold = date(2024, 1, 1) + timedelta(days=number * 730 // (2 * bodies_a_year))
        jobs.append({"job_id": key["job_id"], "quoted_on": sold, "ordered_on": sold, "delivered_on": sold})
        bodies.append(key)
        held = [name for name in NOTHINGS if rng.random() < share[name]]
        if rng.random() < (now if sold.year == 2025 else before):
            held.append("induction")
        fitout += [{**key, "item_id": item, "zone": "left-mid"} for item in held]
    items = [{"item_id": name, "label": name, "group": "kitchen"} for name in ("induction", *NOTHINGS)]
    return with_families(edition(items=items, jobs=jobs, bodies=bodies, fitout=fitout))


def _changes(con) -> pl.DataFrame:
    return changes(con, Clause(), newest_window(con, Clause(), LAYOUTS, TRENDS), LAYOUTS, TRENDS)


def items_changed(found: pl.DataFrame) -> list[str]:
    return found.filter((pl.col("kind") == "item") & pl.col("changed"))["value"].to_list()


@pytest.mark.parametrize("seed", range(4))
def test_a_planted_change_is_found_first_and_ten_planted_nothings_are_not(seed):
    found = _changes(shop(seed))
    assert items_changed(found) == ["induction"]
    first = found.filter(pl.col("kind") == "item").row(0, named=True)
    assert first["value"] == "induction"
    assert first["low"] <= 0.34 - 0.18 <= first["high"]
    assert "more in 100" in first["words"]


def test_false_discoveries_stay_held_down_over_many_shops_where_nothing_changed():
    """150 shops of 15 values without any change: at most about one in twenty tells of one (tolerance: three standard errors)."""
    rng = np.random.default_rng(5)
    alarms = 0
    for _ in range(150):
        share = rng.uniform(0.05, 0.6, 15)
        n_before, n_now = rng.binomial(180, share), rng.binomial(180, share)
        alarms += bool(evidence(counted(n_before, 180, n_now, 180), TRENDS)["changed"].any())
    assert alarms / 150 <= 0.05 + 3 * (0.05 * 0.95 / 150) ** 0.5


def counted(n_before, of_before, n_now, of_now) -> pl.DataFrame:
    size = len(n_before)
    return pl.DataFrame(
        {"kind": ["item"] * size, "value": [str(at) for at in range(size)], "label": [str(at) for at in range(size)],
         "n_before": n_before, "of_before": [of_before] * size, "n_now": n_now, "of_now": [of_now] * size}
    )  # fmt: skip


def test_adjusted_evidence_agrees_with_statsmodels():
    rng = np.random.default_rng(6)
    found = evidence(counted(rng.integers(0, 100, 60), 100, rng.integers(0, 100, 60), 100), TRENDS)
    rejected, adjusted, _, _ = multipletests(found["p"].to_numpy(), alpha=0.05, method="fdr_bh")
    np.testing.assert_allclose(found["q"].to_numpy(), adjusted, atol=1e-12)
    assert found["changed"].to_list() == rejected.tolist()


def test_the_exact_p_agrees_with_scipy():
    rng = np.random.default_rng(11)
    of_a, of_b = rng.integers(1, 400, 60), rng.integers(1, 400, 60)
    n_a, n_b = rng.integers(0, of_a + 1), rng.integers(0, of_b + 1)
    theirs = [fisher_exact([[a, x - a], [b, y - b]])[1] for a, x, b, y in zip(n_a, of_a, n_b, of_b, strict=True)]
    np.testing.assert_allclose(exact_p(n_a, of_a, n_b, of_b), theirs, rtol=1e-7, atol=1e-12)


@pytest.mark.parametrize(
    ("n_a", "of_a", "n_b", "of_b"),
    [
        (30_000, 104_000, 31_900, 110_000),  # near what is usual
        (300, 100_000, 420, 100_000),  # rare
        (2, 90_000, 40, 500),  # one side small
        (0, 50_000, 900, 60_000),  # some 1e-239
        (3_000, 100_000, 100, 100_000),  # beyond what a number holds
    ],
)
def test_the_exact_p_of_many_bodies_agrees_with_scipy(n_a: int, of_a: int, n_b: int, of_b: int) -> None:
    theirs = fisher_exact([[n_a, of_a - n_a], [n_b, of_b - n_b]])[1]
    ours = exact_p(*(np.array([float(count)]) for count in (n_a, of_a, n_b, of_b)))[0]
    assert ours == pytest.approx(theirs, rel=1e-7, abs=0.0)


def test_evidence_is_in_order():
    found = _changes(shop(1))
    assert found["p"].is_sorted()
    assert found["q"].is_sorted()


def test_the_counts_are_those_of_a_query_written_by_hand():
    con = shop(2)
    found = _changes(con)
    newest = con.execute("select max(ordered_on) from jobs").fetchall()[0][0]
    window = Window.ending(newest, 12)
    by_hand = con.execute(
        """
        select count(distinct case when j.ordered_on < $2 then j.job_id end), count(distinct case when j.ordered_on >= $2 then j.job_id end)
        from jobs j join fitout f on f.job_id = j.job_id
        where f.item_id = 'induction' and j.ordered_on >= $1
        """,
        [window.before_from, window.now_from],
    ).fetchall()[0]
    row = found.filter(pl.col("value") == "induction").row(0, named=True)
    assert (row["n_before"], row["n_now"]) == by_hand


@pytest.mark.parametrize(
    ("newest", "months", "before_from", "now_from"),
    [
        (date(2025, 12, 31), 12, date(2024, 1, 1), date(2025, 1, 1)),
        (date(2024, 2, 28), 12, date(2022, 2, 28), date(2023, 2, 28)),
        (date(2026, 5, 30), 3, date(2025, 11, 30), date(2026, 2, 28)),
    ],
)
def test_windows_end_with_the_newest_sale(newest, months, before_from, now_from):
    assert Window.ending(newest, months) == Window(before_from, now_from, newest + timedelta(days=1))


@pytest.mark.parametrize("days", [(), (date(2026, 1, 1),)], ids=["no-sale", "one-sale"])
def test_without_two_windows_nothing_is_told(days):
    jobs = [{"job_id": f"J{at}", "ordered_on": day} for at, day in enumerate(days)]
    con = with_families(edition(jobs=jobs, bodies=[{"job_id": job["job_id"], "body": "tray"} for job in jobs]))
    found = _changes(con)
    assert found.is_empty()
    assert found.columns == list(CHANGES)
