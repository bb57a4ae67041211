"""Delivered jobs near the limits of their vehicles, through the shared filters."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from pipeline.answers.filters import Filters
from pipeline.answers.kept_margins import SHOWN, PastMargins
from pipeline.layouts.views import Clause, run
from pipeline.loads.margins import DELIVERED, TRAVEL
from pipeline.settings import Settings
from pipeline.settings_loads import LimitSettings

LOADS = {TRAVEL: "with the travel load", DELIVERED: "as they left the workshop"}
LIMITS = {"gvm": "margin_kg", "rear_axle": "rear_margin_kg"}
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


@dataclass(frozen=True)
class Spread:
    """How many jobs kept how much: `bins` holds each bin's lower edge `margin_kg` and its `jobs`."""

    said: Count
    bins: pl.DataFrame
    median_kg: float | None


def spread(con: Any, margins: PastMargins, filters: Filters, load: str, limit: str, settings: LimitSettings) -> Spread:
    """The margins to a limit of LIMITS in bins of BIN_KG, few where jobs are many.

    Near is a margin under the setting's, or (whole vehicle) a chance above it.
    """
    source = _through(con, margins, filters, load)
    likely = "coalesce(p_over, 0.0) > $near_p" if limit == "gvm" else "false"
    values = {"near_margin_kg": settings.near_margin_kg, "near_p": settings.near_p, **source.values}
    binned = run(con, f"""
        SELECT floor({LIMITS[limit]} / {BIN_KG}) * {BIN_KG} AS margin_kg, count(*) AS jobs,
               count(*) FILTER ({LIMITS[limit]} < 0) AS over,
               count(*) FILTER ({LIMITS[limit]} >= 0 AND ({LIMITS[limit]} < $near_margin_kg OR {likely})) AS near
        {source.where} GROUP BY 1 ORDER BY 1""", values)  # fmt: skip
    median = run(con, f"SELECT median({LIMITS[limit]}) AS kg {source.where}", source.values)["kg"][0]
    known = binned.drop_nulls("margin_kg")
    said = Count(int(binned["jobs"].sum()), *(int(known[name].sum()) for name in ("jobs", "over", "near")))
    return Spread(said, known.select("margin_kg", "jobs"), median)


def tightest(
    con: Any,
    margins: PastMargins,
    filters: Filters,
    load: str,
    limit: str,
    span: tuple[float, float] | None = None,
    most: int | None = None,
) -> tuple[int, pl.DataFrame]:
    """How many jobs there are and SHOWN of them (or of the first `most`), those over the rating first.

    Args:
        span: keeps those whose margin is in it, both ends too.
    """
    source = _through(con, margins, filters, load)
    within = f"AND {LIMITS[limit]} BETWEEN $low AND $high" if span else ""
    values = {**source.values, **(dict(zip(("low", "high"), span, strict=True)) if span else {})}
    listed = f"SELECT {', '.join(SHOWN)} {source.where} {within} ORDER BY {LIMITS[limit]} NULLS LAST, job_id"
    found = run(con, f"{listed} {'' if most is None else f'LIMIT {most}'}", values)
    if most is None or found.height < most:
        return found.height, found
    return int(run(con, f"SELECT count(*) AS n {source.where} {within}", values)["n"][0]), found


def newest_near(con: Any, margins: PastMargins, settings: LimitSettings, most: int) -> pl.DataFrame:
    """SHOWN of the newest delivered jobs near or over the whole vehicle's rating with the travel load."""
    source = _through(con, margins, Filters(), TRAVEL)
    return run(
        con, f"SELECT {', '.join(SHOWN)} {source.where} AND margin_kg < $near ORDER BY dated_on DESC NULLS LAST, job_id DESC LIMIT {most}",
        {**source.values, "near": settings.near_margin_kg},
    )  # fmt: skip


def by_group(con: Any, margins: PastMargins, filters: Filters, load: str, limit: str, grouping: str, settings: Settings) -> pl.DataFrame:
    """`group, jobs, over, margin_low_kg, margin_median_kg, margin_high_kg`: the middle 8 in 10, of jobs with a known margin.

    Args:
        grouping: one of GROUPINGS.
    """
    source, margin = _through(con, margins, filters, load), LIMITS[limit]
    group, joined = _GROUPS[grouping]
    return run(con, f"""
        SELECT "group", jobs, over, kg[1] AS margin_low_kg, kg[2] AS margin_median_kg, kg[3] AS margin_high_kg
        FROM (
            SELECT {group} AS "group", count(*) AS jobs, count(*) FILTER ({margin} < 0) AS over,
                   quantile_cont({margin}, [0.1, 0.5, 0.9]) AS kg
            FROM (SELECT * {source.where} AND {margin} IS NOT NULL) AS b {joined} GROUP BY 1
        ) ORDER BY margin_median_kg, 1""", {**source.values, "step": int(settings.layouts.length_step_mm)})  # fmt: skip


_LOW = "CAST(floor(b.length_mm / $step) * $step AS BIGINT)"
_GROUPS = {
    "vehicle": ("coalesce(v.label, b.vehicle_id)", "LEFT JOIN vehicles AS v ON v.vehicle_id = b.vehicle_id"),
    "year": ("CAST(year(b.dated_on) AS VARCHAR)", ""),
    "length": (f"b.kind || ' ' || {_LOW} || ' to ' || ({_LOW} + $step - 1) || ' mm'", ""),
    "branch": ("coalesce(b.branch, 'not said')", ""),
    "family": (
        "m.name",
        "JOIN (SELECT m.job_id, min(f.name) AS name FROM body_facts AS m JOIN families AS f ON f.family = m.family "
        "WHERE m.body <> 'tray' GROUP BY m.job_id) AS m ON m.job_id = b.job_id",
    ),
}
"""What each grouping groups by, and what it joins for it."""


def _through(con: Any, margins: PastMargins, filters: Filters, load: str) -> Clause:
    """The jobs of a load that the filters let through, those with at least one such body: from FROM to the end of WHERE.

    What holds of a whole job is looked for in its margins; only kind and family, in which its bodies may differ, among those.
    """
    if filters == Filters():
        return Clause(f"FROM {margins.on(con)} AS b WHERE b.load = $load", {"load": load})
    of_job = replace(filters, kinds=(), families=()).clause("dated")
    of_bodies = Filters(kinds=filters.kinds, families=filters.families).clause("dated")
    parts = ["b.load = $load", "b.body_source IS NOT NULL", of_job.where]
    if of_bodies.where:
        parts.append(f"b.job_id IN (SELECT b.job_id FROM body_facts AS b WHERE b.status = 'delivered' AND {of_bodies.where})")
    where = " AND ".join(part for part in parts if part)
    return Clause(f"FROM {margins.on(con)} AS b WHERE {where}", {"load": load, **of_job.values, **of_bodies.values})
