"""What changes between the revisions of a quote."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from pipeline.layouts.views import Clause, ask
from pipeline.settings_layouts import LayoutSettings

if TYPE_CHECKING:
    import duckdb

ITEMS = ("item_id", "label", "put_in", "taken_out", "revisions")
STEPS = ("jobs", "revisions", "longer", "shorter", "cheaper", "dearer", "price_change")


def revised_items(con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings) -> pl.DataFrame:
    """ITEMS: in how many revisions each item was put in (or more of it) and taken out (or less), out of all revisions."""
    values = {"length_step_mm": layouts.length_step_mm}
    moves = ask(con, "revision_items", clause, **values)
    revisions = ask(con, "revision_steps", clause, **values).height
    more = pl.col("qty_now") > pl.col("qty_before")
    per_item = moves.group_by("item_id").agg(more.sum().cast(pl.Int64).alias("put_in"), (~more).sum().cast(pl.Int64).alias("taken_out"))
    labels = ask(con, "subject_labels").filter(pl.col("subject") == "item").select(pl.col("value").alias("item_id"), "label")
    frame = per_item.join(labels, on="item_id", how="left").with_columns(revisions=pl.lit(revisions, dtype=pl.Int64))
    return frame.select(ITEMS).sort(pl.col("put_in") + pl.col("taken_out"), "item_id", descending=[True, False])


def revised_sizes(con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings) -> pl.DataFrame:
    """STEPS, one row: jobs revised, revisions, bodies made longer or shorter, prices moved, and their median change."""
    values = {"length_step_mm": layouts.length_step_mm}
    steps = ask(con, "revision_steps", clause, **values)
    sizes = ask(con, "revision_sizes", clause, **values)
    change = steps["price"] - steps["price_before"]
    longer = int((sizes["length_now_mm"] > sizes["length_before_mm"]).sum())
    return pl.DataFrame(
        {
            "jobs": [steps["job_id"].n_unique()],
            "revisions": [steps.height],
            "longer": [longer],
            "shorter": [sizes.height - longer],
            "cheaper": [int((change < 0).sum())],
            "dearer": [int((change > 0).sum())],
            "price_change": [change.median()],
        }
    ).select(STEPS)
