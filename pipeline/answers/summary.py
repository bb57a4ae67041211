"""A month for the manager: what sold, what changed, what became of quotes, asked of the same answers as the pages ask."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import polars as pl

from pipeline.answers import families, selling
from pipeline.answers.access import Role, require_export
from pipeline.answers.filters import Filters
from pipeline.answers.selling import Totals
from pipeline.errors import WrongCall
from pipeline.settings import Settings

if TYPE_CHECKING:
    import duckdb

_FAMILIES = 8
_CHANGES = 10
_QUIET = 12


@dataclass(frozen=True)
class MonthSummary:
    """What the summary of one month says; every frame is one that a page shows under the same filters.

    Attributes:
        first, last: the month's days; `filters` let it through and nothing else.
        totals, year_before: sold in the month, and in the same month a year earlier.
        families: the largest layout families of the month.
        trend: shares of those families by quarter, up to the month.
        changes: the best supported changes of the two windows that end with the month's newest sale.
        conversion: one row, all quotes: how many become orders.
        lost: why quotes of the month were lost.
        quiet: open quotes older than usual at the newest record, the latest quoted first; `quiet_count` counts them all.
    """

    workshop: str
    first: dt.date
    last: dt.date
    filters: Filters
    totals: Totals
    year_before: Totals
    families: pl.DataFrame
    trend: pl.DataFrame
    changes: pl.DataFrame
    changed_between: str
    conversion: pl.DataFrame
    lost: pl.DataFrame
    quiet: pl.DataFrame
    quiet_count: int
    edition: int
    records_to: str | None


def month_of(text: str) -> tuple[dt.date, dt.date]:
    """First and last day of `YYYY-MM`. Raises: WrongCall: it is none.

    >>> month_of("2024-02")
    (datetime.date(2024, 2, 1), datetime.date(2024, 2, 29))
    """
    try:
        first = dt.date.fromisoformat(f"{text}-01")
    except ValueError as error:
        raise WrongCall("which month?", got=text, expected="YYYY-MM, such as 2026-10") from error
    following = dt.date(first.year + first.month // 12, first.month % 12 + 1, 1)
    return first, following - dt.timedelta(days=1)


def month_summary(
    con: duckdb.DuckDBPyConnection, settings: Settings, month: str, edition: int, records_to: str | None, role: Role
) -> MonthSummary:
    """The summary of one month.

    Args:
        con: a cursor of the live edition.
        month: `YYYY-MM`.
        edition, records_to: what the figures stand on.
        role: who asks.
    Raises: WrongCall: no month, or not for this role.
    """
    require_export(role, "summary")
    first, last = month_of(month)
    filters, until = Filters(since=first, until=last), Filters(until=last)
    year_before = replace(filters, since=_year_before(first), until=month_of(f"{first.year - 1}-{first.month:02d}")[1])
    largest = families.families(con, settings, filters).head(_FAMILIES)
    window = selling.window(con, settings, until)
    quotes = selling.conversion(con, settings, until)
    lost, quiet = selling.lost_reasons(con, settings, filters), selling.quiet_quotes(con, settings)
    return MonthSummary(
        workshop=settings.workshop.name,
        first=first,
        last=last,
        filters=filters,
        totals=selling.totals(con, settings, filters),
        year_before=selling.totals(con, settings, year_before),
        families=largest,
        trend=_trend(selling.trends(con, settings, until), largest),
        changes=selling.what_changed(con, settings, until).head(_CHANGES),
        changed_between=f"{window.before_from} to {window.now_from} against {window.now_from} to {window.now_until}" if window else "",
        conversion=quotes.filter(pl.col("grouping") == "all"),
        lost=lost.filter(pl.col("grouping") == "all"),
        quiet=quiet.sort("age_days", "job_id").head(_QUIET),
        quiet_count=quiet.height,
        edition=edition,
        records_to=records_to,
    )


def _year_before(first: dt.date) -> dt.date:
    return dt.date(first.year - 1, first.month, 1)


def _trend(trends: pl.DataFrame, largest: pl.DataFrame) -> pl.DataFrame:
    """Shares by quarter of the families, under their names."""
    names = largest.select(pl.col("family").cast(pl.String).alias("value"), "name")
    of_families = trends.filter(pl.col("kind") == "family").join(names, on="value", how="inner")
    return of_families.drop("value").rename({"name": "value"}).sort("value", "quarter")
