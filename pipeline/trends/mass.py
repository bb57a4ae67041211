"""Finished mass over the years, what drives it, and which layouts pay."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from pipeline.layouts.views import Clause, ask
from pipeline.settings_layouts import LayoutSettings
from pipeline.trends.by_item import pays_by_item
from pipeline.trends.changes import Window

if TYPE_CHECKING:
    import duckdb

BY_YEAR = ("kind", "length_from_mm", "year", "bodies", "mass_low_kg", "mass_kg", "mass_high_kg", "kg_per_m")
DRIVERS = ("item_id", "label", "each_before", "each_now", "item_kg", "adds_kg")
PAYS_BY = ("family", "item", "length", "vehicle")
"""What jobs are gathered by to see what pays."""
PAYS = (
    "kind",
    "value",
    "label",
    "jobs",
    "jobs_priced",
    "revenue",
    "price",
    "price_per_kg",
    "jobs_with_cost",
    "left_over",
    "left_over_an_hour",
    "jobs_with_hours",
    "labour_h",
    "booked_to_quoted",
    "labour_h_per_kg",
)
_FIGURES = [name for name in PAYS if name not in ("kind", "label")]


def mass_by_year(con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings) -> pl.DataFrame:
    """BY_YEAR: median finished mass (weighed, else as drawn) with its central 80 %, by kind, length class and year of sale."""
    frame = ask(con, "mass_by_year", clause, length_step_mm=layouts.length_step_mm)
    return frame.select(BY_YEAR).sort("kind", "length_from_mm", "year")


def mass_drivers(con: duckdb.DuckDBPyConnection, clause: Clause, window: Window, layouts: LayoutSettings) -> pl.DataFrame:
    """DRIVERS: what the changed number of each item a body adds to the mean body, by the maker's figures; the largest first.

    `adds_kg` is not known where the item has no maker's figure, or where nothing was sold in one of the two windows.
    """
    frame = ask(con, "mass_growth", clause, length_step_mm=layouts.length_step_mm, **window.values())
    return frame.select(DRIVERS).sort(pl.col("adds_kg").abs(), "item_id", descending=[True, False], nulls_last=True)


def what_pays(con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings, kind: str | None = None) -> pl.DataFrame:
    """PAYS: medians of whole jobs sold that have a body under each value; what is not known to any of them is empty.

    A job with two bodies counts under both: its price is never split between them. `left_over` is price less cost.

    Args:
        kind: one of PAYS_BY alone, which is quicker; None: all of them.
    """
    kinds = PAYS_BY if kind is None else (kind,)
    frame = pl.concat(_pays(con, clause, layouts, each).with_columns(kind=pl.lit(each)).select("kind", *_FIGURES) for each in kinds)
    labels = ask(con, "subject_labels").rename({"subject": "kind"})
    frame = frame.join(labels, on=["kind", "value"], how="left").with_columns(pl.col("label").fill_null(pl.col("value")))
    return frame.select(PAYS).sort("kind", "jobs", "value", descending=[False, True, False])


def _pays(con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings, kind: str) -> pl.DataFrame:
    if kind == "item":
        return pays_by_item(con, clause, layouts.length_step_mm)
    return ask(con, "pays", clause, length_step_mm=layouts.length_step_mm, subject=kind)
