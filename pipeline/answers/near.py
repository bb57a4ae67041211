"""Delivered jobs near the limits of their vehicles, through the shared filters."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.answers.filters import Filters
from pipeline.answers.finder import Search, find_all
from pipeline.answers.margins import PastJobs, margins
from pipeline.frames import rows
from pipeline.loads.margins import COLUMNS, DELIVERED, TRAVEL
from pipeline.settings import Settings
from pipeline.settings_loads import LimitSettings

LOADS = {TRAVEL: "with the travel load", DELIVERED: "as they left the workshop"}
LIMITS = {"gvm": "margin_kg", "rear_axle": "rear_margin_kg"}
SHOWN = (*COLUMNS, "low_kg", "high_kg", "p_over", "laden_source", "dated_on", "branch", "size_class", "kind", "length_mm")
GROUPINGS = ("vehicle", "year", "length", "branch", "family")


@dataclass(frozen=True)
class Count:
    """How many jobs there are, how many of them have a known margin, and how many stand over or near the limit."""

    jobs: int
    known: int
    over: int
    near: int


def all_margins(past: PastJobs, settings: Settings) -> pl.DataFrame:
    """SHOWN: every delivered job, twice: as delivered and with the travel load; the smallest margin first."""
    found = list(rows(margins(past, settings.travel)))
    return (
        pl.DataFrame(found, schema_overrides=_SCHEMA, infer_schema_length=None).select(SHOWN)
        if found
        else pl.DataFrame(schema=_SCHEMA).select(SHOWN)
    )


_TEXTS = ("job_id", "vehicle_id", "upgrade_id", "load", "body_source", "laden_source", "branch", "size_class", "kind")
_SCHEMA: dict[str, Any] = {name: pl.String if name in _TEXTS else pl.Date if name == "dated_on" else pl.Float64 for name in SHOWN}


def through(con: Any, found: pl.DataFrame, filters: Filters, load: str) -> pl.DataFrame:
    """The jobs of a load that the filters let through: those with at least one such body."""
    some = found.filter(pl.col("load") == load)
    if filters == Filters():
        return some
    jobs = find_all(con, Search(filters, statuses=("delivered",)))["job_id"].unique()
    return some.filter(pl.col("job_id").is_in(jobs.implode()))


def count(found: pl.DataFrame, limit: str, settings: LimitSettings) -> Count:
    """Jobs over and near a limit of LIMITS; near is a margin under the setting's, or (whole vehicle) a chance above it."""
    margin = LIMITS[limit]
    known = found.filter(pl.col(margin).is_not_null())
    over = known.filter(pl.col(margin) < 0)
    near = pl.col(margin) < settings.near_margin_kg
    if limit == "gvm":
        near = near | (pl.col("p_over").fill_null(0.0) > settings.near_p)
    return Count(found.height, known.height, over.height, known.filter(near & (pl.col(margin) >= 0)).height)


def by_group(con: Any, settings: Settings, found: pl.DataFrame, limit: str, grouping: str) -> pl.DataFrame:
    """`group, jobs, over, margin_low_kg, margin_median_kg, margin_high_kg`: the middle 8 in 10, of jobs with a known margin.

    Args:
        grouping: one of GROUPINGS.
    """
    margin = pl.col(LIMITS[limit])
    known = _grouped(con, settings, found.filter(margin.is_not_null()), grouping)
    return (
        known.group_by("group")
        .agg(
            pl.len().cast(pl.Int64).alias("jobs"), (margin < 0).sum().cast(pl.Int64).alias("over"),
            margin.quantile(0.1, "linear").alias("margin_low_kg"),
            margin.median().alias("margin_median_kg"), margin.quantile(0.9, "linear").alias("margin_high_kg"),
        )
        .sort("margin_median_kg", "group")
    )  # fmt: skip


def _grouped(con: Any, settings: Settings, found: pl.DataFrame, grouping: str) -> pl.DataFrame:
    if grouping == "vehicle":
        labels = dict(con.execute("SELECT vehicle_id, label FROM vehicles").fetchall())
        return found.with_columns(group=pl.col("vehicle_id").replace(labels))
    if grouping == "year":
        return found.with_columns(group=pl.col("dated_on").dt.year().cast(pl.String))
    if grouping == "length":
        step = settings.layouts.length_step_mm
        low = (pl.col("length_mm") // step * step).cast(pl.Int64)
        return found.with_columns(group=pl.concat_str(pl.col("kind"), pl.lit(" "), low, pl.lit(" to "), low + int(step) - 1, pl.lit(" mm")))
    if grouping == "family":
        named = con.sql(
            'SELECT m.job_id, min(f.name) AS "group" FROM family_of_body m JOIN families f ON f.family = m.family '
            "WHERE m.body <> 'tray' GROUP BY m.job_id"
        )
        return found.join(pl.DataFrame(named.to_arrow_table()), on="job_id", how="inner")
    return found.with_columns(group=pl.col("branch").fill_null("not said"))
