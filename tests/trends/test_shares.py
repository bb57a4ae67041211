"""Shares over time, months, seasons and years."""

from __future__ import annotations

from datetime import date

import polars as pl
import pytest
from random_edition import random_edition
from small_edition import edition, with_families

from pipeline.layouts.views import Clause
from pipeline.settings_layouts import LayoutSettings
from pipeline.trends.shares import TRENDS, months, seasons, shares_by_quarter, whole_months, year_on_year

LAYOUTS = LayoutSettings()


@pytest.fixture(scope="module")
def con():
    return random_edition(11)


def test_item_shares_are_those_of_a_query_written_by_hand(con):
    found = shares_by_quarter(con, Clause(), LAYOUTS)
    by_hand = con.execute(
        """
        with sold as (
            select b.job_id, b.body, year(b.sold_on) || '-Q' || quarter(b.sold_on) as q
            from current_bodies b
            where coalesce(b.origin, 'new') not in ('refit', 'other-maker')
                and b.status in ('ordered', 'delivered') and b.sold_on is not null
        )
        select q, f.item_id, count(distinct (sold.job_id, sold.body)), (select count(*) from sold s where s.q = sold.q)
        from sold join fitout f on f.job_id = sold.job_id and f.body = sold.body
        join current_jobs j on j.job_id = f.job_id and j.revision = f.revision
        group by q, f.item_id
        """
    ).fetchall()
    mine = found.filter((pl.col("kind") == "item") & (pl.col("n") > 0)).select("quarter", "value", "n", "of").rows()
    assert sorted(mine) == sorted(by_hand)
    assert len(by_hand) > 50


def test_columns_are_those_of_the_contract_and_every_value_has_every_quarter(con):
    found = shares_by_quarter(con, Clause(), LAYOUTS)
    assert found.columns == list(TRENDS) == ["quarter", "kind", "value", "n", "of", "share", "low", "high"]
    assert found.height == found.select("kind", "value").n_unique() * found["quarter"].n_unique()
    assert found.filter(~pl.col("share").is_between("low", "high")).is_empty()


@pytest.mark.parametrize("kind", ["length", "vehicle", "family"])
def test_kinds_of_which_every_body_has_one_add_up(con, kind):
    sums = (
        shares_by_quarter(con, Clause(), LAYOUTS)
        .filter(pl.col("kind") == kind)
        .group_by("quarter")
        .agg(pl.col("n").sum(), pl.col("of").first())
    )
    assert sums["n"].to_list() == sums["of"].to_list()


def test_a_job_without_a_day_of_order_is_sold_on_its_handover():
    jobs = [
        {"job_id": "A", "delivered_on": date(2026, 7, 1)},
        {"job_id": "B", "status": "ordered", "ordered_on": date(2026, 9, 30)},
        {"job_id": "C", "status": "lost"},
    ]
    con = with_families(edition(jobs=jobs, bodies=[{"job_id": job["job_id"], "body": "tray"} for job in jobs]))
    found = shares_by_quarter(con, Clause(), LAYOUTS).filter(pl.col("kind") == "vehicle")
    assert found.select("quarter", "n", "of", "share").rows() == [("2026-Q3", 2, 2, 1.0)]


def test_a_job_counts_once_by_its_last_revision():
    jobs = [
        {"job_id": "A", "revision": revision, "status": status, "ordered_on": date(2026, 7, 1)}
        for revision, status in (("9", "quoted"), ("10", "ordered"))
    ]
    bodies = [
        {"job_id": "A", "revision": revision, "body": "tray", "length_mm": length} for revision, length in (("9", 1000.0), ("10", 2000.0))
    ]
    found = shares_by_quarter(with_families(edition(jobs=jobs, bodies=bodies)), Clause(), LAYOUTS)
    assert found.filter(pl.col("kind") == "length").select("value", "n").rows() == [("2000-2249", 1)]


def test_months_without_a_sale_are_zero_and_revenue_counts_a_job_once():
    jobs = [
        {"job_id": "A", "ordered_on": date(2025, 11, 2), "price": 10000.0, "labour_h": 90.0},
        {"job_id": "B", "ordered_on": date(2026, 1, 5)},
    ]
    bodies = [{"job_id": "A", "body": "tray"}, {"job_id": "A", "body": "canopy"}, {"job_id": "B", "body": "tray"}]
    found = months(with_families(edition(jobs=jobs, bodies=bodies)), Clause(), LAYOUTS)
    assert found.rows() == [(2025, 11, 2, 1, 10000.0, 1, 90.0, 1), (2025, 12, 0, 0, None, 0, None, 0), (2026, 1, 1, 1, None, 0, None, 0)]


def by_month(*years: tuple[int, list[int]]) -> pl.DataFrame:
    return pl.DataFrame(
        [(year, month, bodies, float(bodies)) for year, counts in years for month, bodies in enumerate(counts, start=1)],
        schema=["year", "month", "bodies", "revenue"],
        orient="row",
    ).with_columns(labour_h=pl.lit(None, pl.Float64))


def test_seasons_take_whole_years_alone():
    found = seasons(by_month((2024, [20] + [10] * 11), (2025, [40] + [20] * 11), (2026, [500])))
    assert found["index"].to_list() == pytest.approx([24 * 10 / 130] + [12 * 10 / 130] * 11)
    assert found["years"].unique().to_list() == [2]
    assert found["index"].mean() == pytest.approx(1)


def test_a_part_year_is_compared_with_the_same_months():
    found = year_on_year(by_month((2025, list(range(1, 13))), (2026, [5, 6, 7])))
    assert found.select("year", "months", "bodies", "bodies_before", "revenue", "labour_h").rows() == [(2026, 3, 18, 6, 18.0, None)]


@pytest.mark.parametrize(
    ("since", "through", "kept"),
    [
        (None, None, [1, 2, 3]),
        (None, date(2026, 3, 30), [1, 2]),
        (None, date(2026, 3, 31), [1, 2, 3]),
        (date(2026, 1, 2), date(2026, 2, 28), [2]),
        (date(2026, 1, 1), date(2026, 1, 30), []),
    ],
)
def test_a_month_that_is_not_over_is_no_weak_month(since, through, kept):
    assert whole_months(by_month((2026, [5, 6, 7])), since, through)["month"].to_list() == kept


def test_nothing_sold_gives_empty_frames():
    con = with_families(edition())
    assert shares_by_quarter(con, Clause(), LAYOUTS).is_empty()
    empty = months(con, Clause(), LAYOUTS)
    assert (empty.height, seasons(empty).height, year_on_year(empty).height) == (0, 0, 0)
