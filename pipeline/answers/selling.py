"""What sells: the answers behind the page of that name and behind `trends` and `pairs`.

Each function takes a cursor of the live edition, the store's settings and the shared filters, and returns the one frame that
the screen shows and the file holds.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.answers.filters import Filters
from pipeline.layouts.views import ask
from pipeline.settings import Settings
from pipeline.trends import changes as trend_changes
from pipeline.trends import company, mass, quiet, revisions, shares, waiting

if TYPE_CHECKING:
    import duckdb

EVERYTHING = Filters()


@dataclass(frozen=True)
class Totals:
    """What the filters let through of what was sold; revenue and hours with the number of jobs that they are known of."""

    bodies: int
    jobs: int
    revenue: float | None
    jobs_priced: int
    labour_h: float | None
    jobs_with_hours: int
    words: str


def totals(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> Totals:
    """The bodies and jobs sold, in numbers and in words."""
    row = ask(con, "sold_totals", filters.clause("sold"), length_step_mm=settings.layouts.length_step_mm).row(0, named=True)
    return Totals(**row, words=filters.words(row["bodies"], labels(con), "sold"))


def labels(con: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """What people call each vehicle, upgrade, item and family (its number as text)."""
    return dict(ask(con, "subject_labels").select("value", "label").iter_rows())


def trends(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING, kind: str | None = None) -> pl.DataFrame:
    """The export `trends`: `quarter, kind, value, n, of, share, low, high`; or its rows of one kind, which is quicker."""
    return shares.shares_by_quarter(con, filters.clause("sold"), settings.layouts, kind)


def pairs(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> pl.DataFrame:
    """The export `pairs`: `item_a, item_b, bodies, support, confidence, lift`; the period is about the day of handover."""
    return company.pairs(con, filters.clause("dated"), settings.layouts)


def triples(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> pl.DataFrame:
    """`item_a, item_b, item_c, bodies, support, confidence, lift`: what a third item does where two are."""
    return company.triples(con, filters.clause("dated"), settings.layouts, settings.trends)


def usually_also(con: duckdb.DuckDBPyConnection, settings: Settings, items: Collection[str], filters: Filters = EVERYTHING) -> pl.DataFrame:
    """What a draft with these items usually also has and has not: `item_id, label, because, bodies, of_bodies, …, words`."""
    return company.usually_also(con, filters.clause("dated"), items, settings.layouts, settings.trends)


def what_changed(
    con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING, at: trend_changes.Window | None = None
) -> pl.DataFrame:
    """Every family, item, length, vehicle and upgrade, the best evidence of a change first, with its words.

    The two windows (`window`, asked here unless given) end with the newest sale let through, whatever day the period begins.
    """
    at = at or window(con, settings, filters)
    return trend_changes.changes(con, filters.without_start().clause("sold"), at, settings.layouts, settings.trends)


def window(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> trend_changes.Window | None:
    """The two stretches of time that `what_changed` compares; None where nothing was sold."""
    return trend_changes.newest_window(con, filters.without_start().clause("sold"), settings.layouts, settings.trends)


def months(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> pl.DataFrame:
    """`year, month, bodies, jobs, revenue, jobs_priced, labour_h, jobs_with_hours`."""
    return shares.months(con, filters.clause("sold"), settings.layouts)


def seasons(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> pl.DataFrame:
    """`month, years, bodies, index`: how strong each month of the year is, 1 being a twelfth."""
    return shares.seasons(_whole_months(con, settings, filters))


def year_on_year(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> pl.DataFrame:
    """Each year against the same months of the one before: bodies, revenue, hours. The month not yet over is left out."""
    return shares.year_on_year(_whole_months(con, settings, filters))


def _whole_months(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters) -> pl.DataFrame:
    newest = ask(con, "newest")["day"][0]
    ends = [day for day in (newest, filters.until) if day is not None]
    return shares.whole_months(months(con, settings, filters), filters.since, min(ends, default=None))


def conversion(
    con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING, grouping: str | None = None
) -> pl.DataFrame:
    """Quotes and orders by family, kind, length, vehicle, branch, price band and quarter, or by one of these alone, with times.

    The period is about the day of quote.
    """
    return waiting.conversion(con, filters.clause("quoted"), settings.layouts, settings.trends, grouping)


def waiting_curve(
    con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING, wait: str = "order"
) -> waiting.Curve | None:
    """What share of quotes is ordered (or of orders handed over, `wait="handover"`) by each number of days."""
    return waiting.waiting_curve(con, filters.clause("quoted"), settings.layouts, settings.trends, wait)


def lost_reasons(
    con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING, grouping: str | None = None
) -> pl.DataFrame:
    """Why quotes were lost, by everything a quote can be grouped by or by one of these, the commonest reason first.

    Returns: `grouping, value, reason, n, of, share, low, high`.
    """
    return waiting.lost_of(_quote_counts(con, settings, filters, grouping))


@dataclass(frozen=True)
class Quotes:
    """What became of quotes, out of one reading of the records: `conversion`, `waiting_curve` and `lost_reasons`."""

    conversion: pl.DataFrame
    curve: waiting.Curve | None
    lost: pl.DataFrame


def quotes(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING, grouping: str = "all") -> Quotes:
    """Quotes and orders by one grouping; the curve is over all of its values together."""
    counts = _quote_counts(con, settings, filters, grouping)
    return Quotes(waiting.conversion_of(counts, settings.trends), waiting.curve_of(counts, "order"), waiting.lost_of(counts))


def _quote_counts(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters, grouping: str | None) -> pl.DataFrame:
    return waiting.quote_counts(con, filters.clause("quoted"), settings.layouts, settings.trends, grouping)


def quiet_quotes(
    con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING, usual: pl.DataFrame | None = None
) -> pl.DataFrame:
    """Open quotes older than their kind's usual time to order (`usual_days`, asked here unless given), the longest over first."""
    return quiet.quiet_quotes(con, filters.clause("quoted"), settings.layouts, settings.trends, usual)


def usual_days(con: duckdb.DuckDBPyConnection, settings: Settings) -> pl.DataFrame:
    """How old quotes of a family, a kind, or all, mostly get before they are ordered, over the whole history."""
    return quiet.usual_days(con, settings.layouts, settings.trends)


def revised_items(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> pl.DataFrame:
    """Which items come and go between the revisions of a quote."""
    return revisions.revised_items(con, filters.clause("quoted"), settings.layouts)


def revised_sizes(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> pl.DataFrame:
    """One row: how many jobs were revised, and how lengths and prices moved."""
    return revisions.revised_sizes(con, filters.clause("quoted"), settings.layouts)


def mass_by_year(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> pl.DataFrame:
    """Median finished mass and kg per metre by kind, length class and year of sale."""
    return mass.mass_by_year(con, filters.clause("sold"), settings.layouts)


def mass_drivers(
    con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING, at: trend_changes.Window | None = None
) -> pl.DataFrame:
    """Which items make the mean body heavier or lighter than the window before (`window`, asked here unless given)."""
    at = at or window(con, settings, filters)
    if at is None:
        return pl.DataFrame(schema=dict.fromkeys(mass.DRIVERS, pl.String))
    return mass.mass_drivers(con, filters.without_start().clause("sold"), at, settings.layouts)


def what_pays(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING, kind: str | None = None) -> pl.DataFrame:
    """Price, cost, hours and what is left over, by family, length, vehicle and item or by one of these, where they are known."""
    return mass.what_pays(con, filters.clause("sold"), settings.layouts, kind)


def filter_choices(con: duckdb.DuckDBPyConnection) -> dict[str, list[str]]:
    """What the edition holds for each field of the filters, sorted; families as numbers in text."""
    frame = ask(con, "filter_choices")
    return {field: part["value"].to_list() for (field,), part in frame.sort("field", "value").group_by("field", maintain_order=True)}


def months_sold(con: duckdb.DuckDBPyConnection, settings: Settings) -> tuple[date, date] | None:
    """Day of the first and of the newest sale, for the bounds of a period; None where nothing was sold."""
    row = ask(con, "sold_period", length_step_mm=settings.layouts.length_step_mm).row(0, named=True)
    return (row["first_day"], row["last_day"]) if row["first_day"] else None


def narrowed(filters: Filters, kind: str, value: str) -> Filters:
    """The filters with one value of a trend added: what a click on it asks for.

    Raises: KeyError: for a kind that is no filter (an item, a length class).
    """
    fields = {"family": "families", "vehicle": "vehicles", "upgrade": "upgrades"}
    chosen: dict[str, Any] = {fields[kind]: (int(value) if kind == "family" else value,)}
    return replace(filters, **chosen)
