"""Delivered jobs near the limits of their vehicles, through the shared filters."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.answers.filters import Filters
from pipeline.answers.margins import PastJobs, margins
from pipeline.loads.margins import COLUMNS, DELIVERED, TRAVEL
from pipeline.settings import Settings
from pipeline.settings_loads import LimitSettings

LOADS = {TRAVEL: "with the travel load", DELIVERED: "as they left the workshop"}
LIMITS = {"gvm": "margin_kg", "rear_axle": "rear_margin_kg"}
SHOWN = (*COLUMNS, "low_kg", "high_kg", "p_over", "laden_source", "dated_on", "branch", "size_class", "kind", "length_mm")
BIN_KG = 50.0
"""Width of a bin of margins; one bin's edge is the rating itself."""
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
    found = margins(past, settings.travel)
    return pl.DataFrame([_series(name, found[name]) for name in SHOWN])


def _series(name: str, values: np.ndarray) -> pl.Series:
    if name == "dated_on":
        return pl.Series(name, values.astype("datetime64[D]"), dtype=pl.Date)
    if name in _TEXTS:
        return pl.Series(name, values.tolist(), dtype=pl.String if name == "job_id" else pl.Categorical)
    return pl.Series(name, values.astype(np.float64), nan_to_null=True)


_TEXTS = ("job_id", "vehicle_id", "upgrade_id", "load", "body_source", "laden_source", "branch", "size_class", "kind")
_JOBS = "SELECT DISTINCT b.job_id FROM body_facts AS b WHERE b.status = 'delivered' AND "


def through(con: Any, found: pl.DataFrame, filters: Filters, load: str) -> pl.DataFrame:
    """The jobs of a load that the filters let through: those with at least one such body."""
    some = found.filter(pl.col("load") == load)
    if filters == Filters():
        return some
    clause = filters.clause("dated")
    jobs = pl.DataFrame(con.sql(_JOBS + clause.where, params=dict(clause.values)).to_arrow_table())
    return some.join(jobs, on="job_id", how="semi", maintain_order="left")


@dataclass(frozen=True)
class Spread:
    """How many jobs kept how much: `bins` holds each bin's lower edge `margin_kg` and its `jobs`."""

    said: Count
    bins: pl.DataFrame
    median_kg: float | None


def spread(found: pl.DataFrame, limit: str, settings: LimitSettings) -> Spread:
    """The margins to a limit of LIMITS in bins of BIN_KG, few where jobs are many."""
    margin = pl.col(LIMITS[limit])
    known = found.select(margin_kg=margin).drop_nulls()
    edge = (pl.col("margin_kg") / BIN_KG).floor() * BIN_KG
    bins = known.group_by(edge).agg(jobs=pl.len().cast(pl.Int64)).sort("margin_kg")
    return Spread(count(found, limit, settings), bins, known.select(pl.col("margin_kg").median()).item())


def tightest(found: pl.DataFrame, limit: str, span: tuple[float, float] | None = None) -> pl.DataFrame:
    """The jobs, those over the rating first; `span` keeps those whose margin is in it, both ends too."""
    margin = LIMITS[limit]
    some = found.filter(pl.col(margin).is_between(*span)) if span else found
    return some.sort(margin, "job_id", nulls_last=True)


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
        return found.with_columns(group=pl.col("vehicle_id").cast(pl.String).replace(labels))
    if grouping == "year":
        return found.with_columns(group=pl.col("dated_on").dt.year().cast(pl.String))
    if grouping == "length":
        step = settings.layouts.length_step_mm
        low = (pl.col("length_mm") // step * step).cast(pl.Int64)
        return found.with_columns(
            group=pl.concat_str(pl.col("kind").cast(pl.String), pl.lit(" "), low, pl.lit(" to "), low + int(step) - 1, pl.lit(" mm"))
        )
    if grouping == "family":
        named = con.sql(
            'SELECT m.job_id, min(f.name) AS "group" FROM family_of_body m JOIN families f ON f.family = m.family '
            "WHERE m.body <> 'tray' GROUP BY m.job_id"
        )
        return found.join(pl.DataFrame(named.to_arrow_table()), on="job_id", how="inner")
    return found.with_columns(group=pl.col("branch").cast(pl.String).fill_null("not said"))
