"""The manager's month: the same figures as the answers behind the pages, on paper."""

from __future__ import annotations

import datetime as dt

import pytest
from small_edition import edition, with_families

from pipeline.answers import families, selling
from pipeline.answers.access import Role
from pipeline.answers.filters import Filters
from pipeline.answers.summary import MonthSummary, month_of, month_summary
from pipeline.errors import WrongCall
from pipeline.paper.summary import summary_pdf
from pipeline.settings import Settings

pymupdf = pytest.importorskip("pymupdf")

ITEMS = [
    {"item_id": "fridge", "label": "fridge slide", "group": "fridge", "datasheet_kg": 22.0},
    {"item_id": "rack", "label": "ladder rack", "group": "outside", "datasheet_kg": 18.0},
]


def store_of(count: int = 60):
    """Two kinds of build, sold day by day up to October 2026; every fifth job is an old open quote."""
    jobs, bodies, fitout = [], [], []
    for n in range(count):
        day = dt.date(2026, 10, 28) - dt.timedelta(days=11 * n)
        name = f"J{n:03d}"
        open_quote = n % 5 == 4
        dates = {"quoted_on": day - dt.timedelta(days=20)} | (
            {} if open_quote else {"ordered_on": day, "delivered_on": day + dt.timedelta(days=1)}
        )
        jobs.append({"job_id": name, "status": "quoted" if open_quote else "delivered", "price": 10_000.0 + n, "branch": "north", **dates})
        kind = "canopy" if n % 2 else "tray"
        bodies.append({"job_id": name, "body": kind, "length_mm": 1700.0 + n, "weighed_kg": 250.0 + n})
        fitout.append({"job_id": name, "body": kind, "item_id": "fridge" if n % 2 else "rack", "zone": "left-mid"})
    return with_families(edition(items=ITEMS, jobs=jobs, bodies=bodies, fitout=fitout))


@pytest.fixture(scope="module")
def con():
    return store_of()


def summary(con, month: str = "2026-10") -> MonthSummary:
    return month_summary(con, Settings(), month, 3, "2026-10-28", Role.MANAGER)


def text_of(pdf: bytes) -> str:
    with pymupdf.open(stream=pdf) as document:
        return " ".join(" ".join(page.get_text() for page in document).split())


def test_the_figures_are_those_of_the_pages(con):
    told = summary(con)
    filters = Filters(since=dt.date(2026, 10, 1), until=dt.date(2026, 10, 31))
    page = selling.totals(con, Settings(), filters)
    # 28 and 17 October were sold, 6 October too; by hand from the rule above
    assert (told.totals, page.jobs) == (page, 3)
    assert told.families.equals(families.families(con, Settings(), filters))
    text = text_of(summary_pdf(told))
    assert "What sold in October 2026" in text
    assert page.words in text
    assert f"Revenue {page.revenue:,.0f}, known of 3 of 3 jobs." in text
    for name in told.families["name"]:
        assert name in text


def test_what_happened_after_the_month_is_left_out(con):
    before = summary(con, "2026-03")
    assert before.trend.is_empty() or before.trend["quarter"].max() <= "2026-Q1"
    assert before.totals == selling.totals(con, Settings(), Filters(since=dt.date(2026, 3, 1), until=dt.date(2026, 3, 31)))


def test_quiet_quotes_are_counted_whole_and_the_latest_shown(con):
    told = summary(con)
    everything = selling.quiet_quotes(con, Settings())
    assert told.quiet_count == everything.height > 0
    assert told.quiet["age_days"].to_list() == sorted(told.quiet["age_days"].to_list())
    assert f"{told.quiet_count} open quotes are older" in text_of(summary_pdf(told))


def test_a_month_without_a_sale_says_so(con):
    text = text_of(summary_pdf(summary(con, "1999-01")))
    assert "Nothing was sold in January 1999." in text
    assert "No layout family has a sale this month." in text


def test_an_empty_store_makes_a_summary_too():
    text = text_of(summary_pdf(month_summary(with_families(edition()), Settings(), "2026-10", 1, None, Role.MANAGER)))
    assert "There is no quote yet." in text


def test_the_same_edition_gives_the_same_bytes(con):
    assert summary_pdf(summary(con)) == summary_pdf(summary(con))
    assert summary_pdf(summary(con), "letter") != summary_pdf(summary(con))


@pytest.mark.parametrize("month", ["2026-13", "october", "2026", ""])
def test_no_month_is_a_wrong_call(con, month):
    with pytest.raises(WrongCall, match="YYYY-MM"):
        summary(con, month)


def test_a_month_ends_with_its_last_day():
    assert month_of("2023-12") == (dt.date(2023, 12, 1), dt.date(2023, 12, 31))
