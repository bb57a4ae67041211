"""Shares over time with their bands; months, seasons and years."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import polars as pl

from pipeline.layouts.views import Clause, ask
from pipeline.settings_layouts import LayoutSettings
from pipeline.trends.bands import wilson

if TYPE_CHECKING:
    import duckdb

TRENDS = ("quarter", "kind", "value", "n", "of", "share", "low", "high")
MONTHS = ("year", "month", "bodies", "jobs", "revenue", "jobs_priced", "labour_h", "jobs_with_hours")


def with_band(frame: pl.DataFrame, n: str, of: str) -> pl.DataFrame:
    """The frame with `share, low, high` of its counts `n` out of `of` (Wilson, 95 %)."""
    low, high = wilson(frame[n].to_numpy(), frame[of].to_numpy())
    return frame.with_columns(share=pl.col(n) / pl.col(of), low=pl.Series(low, dtype=pl.Float64), high=pl.Series(high, dtype=pl.Float64))


def shares_by_quarter(con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings, subject: str | None = None) -> pl.DataFrame:
    """TRENDS: of all bodies sold in a quarter, how many were of each family, had each item, and so on; or one of these kinds alone.

    A value that ever sold has a row in every quarter in which anything sold.
    """
    nowhere = dict.fromkeys(("before_from", "now_from", "now_until"))
    counts = ask(con, "sold_quarters", clause, length_step_mm=layouts.length_step_mm, by_quarter=True, subject=subject, **nowhere)
    return with_band(counts.rename({"of_bodies": "of"}), "n", "of").select(TRENDS).sort("kind", "value", "quarter")


def months(con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings) -> pl.DataFrame:
    """MONTHS: what was sold a month; a month without a sale between the first and the last has a row of zeros."""
    frame = ask(con, "sold_months", clause, length_step_mm=layouts.length_step_mm).select(MONTHS).drop_nulls("month")
    if frame.is_empty():
        return frame
    at = pl.col("year") * 12 + pl.col("month") - 1
    first, last = frame.select(at.min().alias("first"), at.max().alias("last")).row(0)
    every = pl.DataFrame({"at": range(first, last + 1)}).select(
        year=(pl.col("at") // 12).cast(pl.Int32), month=(pl.col("at") % 12 + 1).cast(pl.Int32)
    )
    counts = [pl.col(name).fill_null(0) for name in ("bodies", "jobs", "jobs_priced", "jobs_with_hours")]
    return every.join(frame, on=["year", "month"], how="left").with_columns(counts).sort("year", "month")


def whole_months(by_month: pl.DataFrame, since: date | None, through: date | None) -> pl.DataFrame:
    """The months that lie wholly between two days, both in them; half a month would look like a weak one."""
    first_day = pl.date(pl.col("year"), pl.col("month"), 1)
    early = pl.lit(True) if since is None else first_day >= since
    late = pl.lit(True) if through is None else first_day.dt.month_end() <= through
    return by_month.filter(early & late)


def seasons(by_month: pl.DataFrame) -> pl.DataFrame:
    """`month, years, bodies, index`: a month's mean part of its year, over whole years; 1 is a twelfth.

    Whole years alone are taken, or a part year would make its own months look strong.
    """
    whole = by_month.filter(pl.len().over("year") == 12).filter(pl.col("bodies").sum().over("year") > 0)
    part = pl.col("bodies") * 12 / pl.col("bodies").sum().over("year")
    return (
        whole.with_columns(part=part)
        .group_by("month")
        .agg(pl.len().cast(pl.Int64).alias("years"), pl.col("bodies").sum(), pl.col("part").mean().alias("index"))
        .sort("month")
    )


def year_on_year(by_month: pl.DataFrame) -> pl.DataFrame:
    """`year, months, bodies, bodies_before, revenue, revenue_before, labour_h, labour_h_before` over the months both years have.

    The last year is compared with the same months of the one before, not with the whole of it.
    """
    figures = ("bodies", "revenue", "labour_h")
    before = by_month.select(pl.col("year") + 1, "month", *(pl.col(name).alias(f"{name}_before") for name in figures))
    both = by_month.join(before, on=["year", "month"], how="left")
    shared = pl.col("bodies_before").is_not_null()
    return (
        both.group_by("year")
        .agg(
            shared.sum().cast(pl.Int64).alias("months"),
            *(_sum_of(pl.col(name).filter(shared)).alias(name) for name in figures),
            *(_sum_of(pl.col(f"{name}_before").filter(shared)).alias(f"{name}_before") for name in figures),
        )
        .filter(pl.col("months") > 0)
        .sort("year")
    )


def _sum_of(known: pl.Expr) -> pl.Expr:
    """A sum that is not known where nothing of it is."""
    return pl.when(known.count() > 0).then(known.sum())
