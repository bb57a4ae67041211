"""Open quotes that have been quiet for longer than their kind's orders take."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from pipeline.layouts.views import Clause, ask
from pipeline.settings_layouts import LayoutSettings, TrendSettings
from pipeline.trends.waiting import curve, quote_counts, quote_values, waits_for

if TYPE_CHECKING:
    import duckdb

QUIET = (
    "job_id",
    "branch",
    "vehicle_id",
    "kind",
    "family",
    "length_mm",
    "price",
    "quoted_on",
    "age_days",
    "usual_days",
    "usual_of",
    "words",
)

_USUAL_OF = {"family": pl.col("family").cast(pl.String), "kind": pl.col("kind"), "all": pl.lit("all")}
_WORDS = {"family": "its layout family", "kind": "its kind of body", "all": "all quotes"}


def quiet_quotes(
    con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings, trends: TrendSettings, usual: pl.DataFrame | None = None
) -> pl.DataFrame:
    """QUIET: the open quotes chosen that are older than usual, the longest over first.

    Usual is the age by which the setting's share of orders had come: of the same family where that has orders enough, else
    of the same kind of body, else of all; over the whole history, whatever is chosen.

    Args:
        usual: what `usual_days` says, where the caller has it already.
    """
    quotes = ask(con, "open_quotes", clause, **quote_values(layouts, trends))
    usual = usual_days(con, layouts, trends) if usual is None else usual
    for name, key in _USUAL_OF.items():
        own = usual.filter(pl.col("grouping") == name).select(pl.col("value").alias("key"), pl.col("days").alias(f"days_of_{name}"))
        quotes = quotes.with_columns(key=key).join(own, on="key", how="left").drop("key")
    usual_of = pl.coalesce(pl.when(pl.col(f"days_of_{name}").is_not_null()).then(pl.lit(word)) for name, word in _WORDS.items())
    late = quotes.with_columns(usual_days=pl.coalesce(f"days_of_{name}" for name in _USUAL_OF), usual_of=usual_of)
    late = late.filter(pl.col("age_days") > pl.col("usual_days"))
    share = f"{10 * trends.quiet_quantile:.3g} of 10"
    told = pl.format(
        "open for {} days; " + share + " orders of {} came within {}", "age_days", "usual_of", pl.col("usual_days").cast(pl.Int64)
    )
    return late.with_columns(words=told).select(QUIET).sort(pl.col("age_days") - pl.col("usual_days"), "job_id", descending=[True, False])


def usual_days(con: duckdb.DuckDBPyConnection, layouts: LayoutSettings, trends: TrendSettings) -> pl.DataFrame:
    """`grouping, value, days, orders`: how old quotes of a family, a kind, or all, mostly get before they are ordered."""
    counts = pl.concat(quote_counts(con, None, layouts, trends, grouping) for grouping in _USUAL_OF)
    records = []
    for (grouping, value), part in waits_for(counts, "order").sort("grouping", "value").group_by("grouping", "value", maintain_order=True):
        orders = int((part["n"] * part["came"]).sum())
        if orders >= (trends.quiet_orders if grouping == "family" else 1):
            at = curve(part["days"].to_numpy(), part["came"].to_numpy(), part["n"].to_numpy())
            records.append((grouping, value, at.day_of(trends.quiet_quantile, float("inf")), orders))
    schema = {"grouping": pl.String, "value": pl.String, "days": pl.Float64, "orders": pl.Int64}
    return pl.DataFrame(records, schema=schema, orient="row")
