"""Layout families: the answers behind the page of that name and behind `export families`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from pipeline.answers.filters import Filters
from pipeline.answers.selling import EVERYTHING
from pipeline.layouts.views import ask, compose, run
from pipeline.settings import Settings

if TYPE_CHECKING:
    import duckdb

EXPORT = (
    "family",
    "name",
    "bodies",
    "share",
    "typical_job_id",
    "length_low_mm",
    "length_high_mm",
    "mass_low_kg",
    "mass_high_kg",
)
PAGE = (*EXPORT, "kind", "typical_body", "mirrored", "length_mm", "mass_kg", "measured")


def families(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> pl.DataFrame:
    """The export `families`: those sold, the largest first; lengths and masses are the central 80 %."""
    return family_page(con, settings, filters).select(EXPORT)


def family_page(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> pl.DataFrame:
    """PAGE: the export with kind, medians, how many are mirror images of the typical build, and how many were measured."""
    frame = ask(con, "family_sizes", filters.clause("sold"), length_step_mm=settings.layouts.length_step_mm)
    return frame.select(PAGE).sort("bodies", "family", descending=[True, False])


def family_items(con: duckdb.DuckDBPyConnection, family: int) -> pl.DataFrame:
    """`item_id, label, item_group, bodies, of_bodies, share, lift` of one family over all its bodies, the commonest first."""
    frame = ask(con, "family_items").filter(pl.col("family") == family).drop("family")
    return frame.sort("bodies", "item_id", descending=[True, False])


def family_vehicles(con: duckdb.DuckDBPyConnection, settings: Settings, filters: Filters = EVERYTHING) -> pl.DataFrame:
    """`family, vehicle_id, label, bodies` of bodies sold."""
    frame = ask(con, "family_vehicles", filters.clause("sold"), length_step_mm=settings.layouts.length_step_mm)
    return frame.sort("family", "bodies", "vehicle_id", descending=[False, True, False])


def family_margins(
    con: duckdb.DuckDBPyConnection, settings: Settings, margins: str, filters: Filters = EVERYTHING, family: int | None = None
) -> pl.DataFrame:
    """`family, load, jobs, margin_low_kg, margin_kg, margin_high_kg`: margin to GVM of a family's jobs, or of each one's, central 80 %.

    A job of one body, nearly all, says in its margins what its body is.

    Args:
        margins: what to select past jobs from, as `kept_margins.PastMargins` has them.
    """
    clause = filters.clause("sold")
    let_through = f"AND {clause.where}" if clause.where else ""
    theirs = "= $family" if family is not None else "IS NOT NULL"
    return run(con, f"""
        WITH jobs AS (
            SELECT b.family, b.load, b.margin_kg FROM {margins} AS b WHERE b.alone AND b.family {theirs} {let_through}
            UNION ALL
            SELECT h.family, m.load, m.margin_kg FROM ({compose("family_jobs", clause)}) AS h JOIN {margins} AS m ON m.job_id = h.job_id
            WHERE h.family {theirs}
        ), spread AS (
            SELECT family, load, count(*) AS jobs, quantile_cont(margin_kg, [0.1, 0.5, 0.9]) AS kg
            FROM jobs WHERE margin_kg IS NOT NULL GROUP BY family, load
        )
        SELECT family, load, jobs, kg[1] AS margin_low_kg, kg[2] AS margin_kg, kg[3] AS margin_high_kg
        FROM spread ORDER BY family, load""",
        {"length_step_mm": settings.layouts.length_step_mm, "family": family, **clause.values})  # fmt: skip


def family_changes(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """`change, family, other, bodies, of_bodies, words`: what became of the families at this edition."""
    return run(con, "select * from family_changes", {}).sort("change", "family", "other")


def number_of_families(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """`kind, families, bodies, silhouette`: how many families each kind of body has, and how well they stand apart."""
    live = run(con, "select kind, bodies, silhouette from families where live", {})
    return (
        live.group_by("kind")
        .agg(pl.len().cast(pl.Int64).alias("families"), pl.col("bodies").sum(), pl.col("silhouette").first())
        .sort("kind")
    )
