"""Quotes gone quiet, and what changes between revisions."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from random_edition import random_edition
from small_edition import edition, with_families

from pipeline.layouts.views import Clause
from pipeline.settings_layouts import LayoutSettings, TrendSettings
from pipeline.trends.quiet import QUIET, quiet_quotes
from pipeline.trends.revisions import revised_items, revised_sizes

LAYOUTS, TRENDS = LayoutSettings(), TrendSettings()
NEWEST = date(2026, 6, 30)


def shop(open_ages: list[int], kind: str = "tray", orders: int = 30):
    """Orders that took 1 to `orders` days, and open quotes of those ages."""
    jobs = [
        {"job_id": f"W{at}", "status": "ordered", "quoted_on": date(2025, 1, 1), "ordered_on": date(2025, 1, 1) + timedelta(days=at)}
        for at in range(1, orders + 1)
    ]
    jobs += [{"job_id": f"Q{age}", "status": "quoted", "quoted_on": NEWEST - timedelta(days=age)} for age in open_ages]
    jobs.append({"job_id": "NEWEST", "status": "quoted", "quoted_on": NEWEST})
    return with_families(edition(jobs=jobs, bodies=[{"job_id": job["job_id"], "body": kind} for job in jobs]))


def test_quotes_older_than_nine_in_ten_orders_took_are_told_the_oldest_first():
    found = quiet_quotes(shop([10, 20, 40, 90]), Clause(), LAYOUTS, TRENDS)
    assert found.columns == list(QUIET)
    assert found.select("job_id", "age_days").rows() == [("Q90", 90), ("Q40", 40)]
    assert found["usual_days"].to_list() == [pytest.approx(27, abs=1)] * 2
    assert found["words"][0].startswith("open for 90 days; 9 of 10 orders of its layout family came within 2")


def test_a_family_with_few_orders_goes_by_its_kind():
    found = quiet_quotes(shop([90], orders=10), Clause(), LAYOUTS, TRENDS)
    assert found["usual_of"].to_list() == ["its kind of body"]


def test_usual_times_are_of_the_whole_history_whatever_is_chosen():
    clause = Clause("b.quoted_on >= $since", {"since": date(2026, 1, 1)})
    assert quiet_quotes(shop([90]), clause, LAYOUTS, TRENDS)["job_id"].to_list() == ["Q90"]


def test_without_any_order_no_quote_is_late():
    assert quiet_quotes(shop([90], orders=0), Clause(), LAYOUTS, TRENDS).is_empty()


def revised():
    items = [{"item_id": name, "label": name, "group": "storage"} for name in ("shelf", "drawer", "rack")]
    jobs = [
        {"job_id": "A", "revision": revision, "price": price, "quoted_on": NEWEST}
        for revision, price in (("A", 100.0), ("B", 90.0), ("AA", 120.0))
    ]
    jobs.append({"job_id": "B", "quoted_on": NEWEST})
    bodies = [
        {"job_id": "A", "revision": revision, "body": "canopy", "length_mm": length}
        for revision, length in (("A", 1800.0), ("B", 1700.0), ("AA", 1900.0))
    ]
    bodies.append({"job_id": "B", "body": "canopy"})
    lists = {"A": {"shelf": 1, "drawer": 1}, "B": {"shelf": 1}, "AA": {"shelf": 3, "rack": 1}}
    fitout = [
        {"job_id": "A", "revision": revision, "body": "canopy", "item_id": item, "qty": float(qty)}
        for revision, held in lists.items()
        for item, qty in held.items()
    ]
    return with_families(edition(items=items, jobs=jobs, bodies=bodies, fitout=fitout))


def test_items_put_in_and_taken_out_between_revisions():
    found = revised_items(revised(), Clause(), LAYOUTS)
    assert found.select("item_id", "put_in", "taken_out", "revisions").sort("item_id").rows() == [
        ("drawer", 0, 1, 2),
        ("rack", 1, 0, 2),
        ("shelf", 1, 0, 2),
    ]


def test_lengths_and_prices_between_revisions():
    assert revised_sizes(revised(), Clause(), LAYOUTS).rows() == [(1, 2, 1, 1, 1, 1, 10.0)]


@pytest.mark.parametrize("seed", [1, 2])
def test_moves_of_items_are_those_of_a_query_written_by_hand(seed):
    con = random_edition(seed)
    found = revised_items(con, Clause(), LAYOUTS)
    order = "row_number() over (partition by job_id order by length(revision), revision)"
    expected: dict[str, list[int]] = {}
    ranked = con.execute(
        f"select job_id, revision, {order} from jobs where job_id in (select job_id from current_bodies where counted)"
    ).fetchall()
    held: dict[tuple, dict] = {}
    for job, revision, body, item, qty in con.execute(
        "select job_id, revision, body, item_id, sum(qty) from fitout group by all"
    ).fetchall():
        held.setdefault((job, revision), {})[body, item] = qty
    at = {(job, nth): revision for job, revision, nth in ranked}
    for (job, nth), revision in at.items():
        if nth > 1:
            before, now = held.get((job, at[job, nth - 1]), {}), held.get((job, revision), {})
            for body, item in before.keys() | now.keys():
                change = now.get((body, item), 0) - before.get((body, item), 0)
                if change:
                    expected.setdefault(item, [0, 0])[0 if change > 0 else 1] += 1
    assert {row[0]: [row[1], row[2]] for row in found.select("item_id", "put_in", "taken_out").rows()} == expected
    assert expected
