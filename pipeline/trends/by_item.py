"""What pays by item. A job counts under each item of its bodies, some seven; its figures written down seven times would be sorted as often.

Here they stay where they are. Each is put into a block by its size, once; how many of a block count under an item is then a small
sum, and tells the blocks that hold the item's middle. Only these are looked into. The medians are exact.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from pipeline.layouts.views import Clause, ask

if TYPE_CHECKING:
    import duckdb

_BLOCKS = 64
_SAMPLE = 4096
_COUNTS = {"jobs": "place", "jobs_priced": "price", "jobs_with_cost": "left_over", "jobs_with_hours": "labour_h"}


def pays_by_item(con: duckdb.DuckDBPyConnection, clause: Clause, length_step_mm: float) -> pl.DataFrame:
    """The columns of the view `pays`, a row an item."""
    left_over = pl.col("price") - pl.col("cost")
    jobs = ask(con, "item_jobs", clause, length_step_mm=length_step_mm).select(
        "place",
        "price",
        "labour_h",
        left_over=left_over,
        left_over_an_hour=_over(left_over, "labour_h"),
        booked_to_quoted=_over(pl.col("labour_h"), "quoted_h"),
        labour_h_per_kg=_over(pl.col("labour_h"), "bodies_kg"),
        price_per_kg=_over(pl.col("price"), "bodies_kg"),
    )
    held = ask(con, "place_items").sort("item_id")
    return _sums(jobs, held).join(_medians(jobs, held), on="value")


def _sums(jobs: pl.DataFrame, held: pl.DataFrame) -> pl.DataFrame:
    by_place = jobs.group_by("place").agg(revenue=_sum_of("price"), **{name: pl.col(of).count() for name, of in _COUNTS.items()})
    by_item = by_place.join(held, on="place").group_by(pl.col("item_id").alias("value"))
    return by_item.agg(_sum_of("revenue"), *(pl.col(name).cast(pl.Int64).sum() for name in _COUNTS))


def _medians(jobs: pl.DataFrame, held: pl.DataFrame) -> pl.DataFrame:
    items = held["item_id"].unique(maintain_order=True)
    rows, place = held["place"].to_numpy(), jobs["place"].to_numpy()
    holds = np.zeros((rows.max(initial=0) + 1, len(items)), dtype=np.float32)
    holds[rows, held["item_id"].rle_id().to_numpy()] = 1
    medians = {name: medians_under(jobs[name].to_numpy(), place, holds) for name in jobs.columns if name != "place"}
    return pl.DataFrame({"value": items, **medians}, nan_to_null=True)


def medians_under(figures: np.ndarray, place: np.ndarray, holds: np.ndarray) -> np.ndarray:
    """The median of the figures known under each value; NaN where none is.

    Args:
        figures: (n,) NaN where not known.
        place: (n,) the row of `holds` that says what a figure counts under.
        holds: (places, values) 1 where what is at that place counts under that value, else 0.
    """
    known = np.isfinite(figures)
    figures, place = figures[known], place[known]
    found = np.full(holds.shape[1], np.nan)
    if not len(figures):
        return found
    # any bounds are right; those of a sample make blocks of about one size
    bounds = np.quantile(figures[:: max(1, len(figures) // _SAMPLE)], np.linspace(0, 1, _BLOCKS))
    block = np.searchsorted(bounds, figures, side="right").astype(np.uint8)
    order = np.argsort(block, kind="stable")
    ends = np.cumsum(np.bincount(block, minlength=_BLOCKS + 1))
    blocks = [(figures[rows], place[rows]) for rows in np.split(order, ends[:-1])]
    up_to = np.cumsum([np.zeros(holds.shape[1]), *(_under(at, holds) for _, at in blocks)], axis=0).astype(np.int64)

    def nth(value: int, rank: int) -> float:
        """The figure of that rank (from 0) under a value."""
        nr = int(np.searchsorted(up_to[:, value], rank, side="right")) - 1
        inside, at = blocks[nr]
        mine = inside[holds[at, value] > 0]
        return float(np.partition(mine, rank - up_to[nr, value])[rank - up_to[nr, value]])

    for value in np.flatnonzero(up_to[-1]).tolist():
        n = int(up_to[-1, value])
        low, high = nth(value, (n - 1) // 2), nth(value, n // 2)
        found[value] = low / 2 + high / 2
    return found


def _under(place: np.ndarray, holds: np.ndarray) -> np.ndarray:
    """(values,) how many of these count under each value."""
    if len(place) < len(holds):
        return holds[place].sum(axis=0)
    return np.bincount(place, minlength=len(holds)).astype(np.float32) @ holds


def _over(above: pl.Expr, below: str) -> pl.Expr:
    """A ratio, not known where there is nothing to divide by."""
    return pl.when(pl.col(below) != 0).then(above / pl.col(below))


def _sum_of(known: str) -> pl.Expr:
    """A sum that is not known where nothing of it is."""
    return pl.when(pl.col(known).count() > 0).then(pl.col(known).sum())
