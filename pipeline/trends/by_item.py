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
_COUNTS = {"jobs_priced": "price", "jobs_with_cost": "left_over", "jobs_with_hours": "labour_h"}
"""Counts of jobs, each with the figure that is known of them."""


def pays_by_item(con: duckdb.DuckDBPyConnection, clause: Clause, length_step_mm: float) -> pl.DataFrame:
    """The columns of the view `pays`, a row an item."""
    jobs = ask(con, "item_jobs", clause, length_step_mm=length_step_mm)
    held = ask(con, "place_items").sort("item_id")
    items = held["item_id"].unique(maintain_order=True)
    rows, columns, place = held["place"].to_numpy(), held["item_id"].rle_id().to_numpy(), jobs["place"].to_numpy()
    holds = np.zeros((rows.max(initial=0) + 1, len(items)), dtype=np.float32)
    holds[rows, columns] = 1
    figures = _figures(jobs)

    def under(weights: np.ndarray | None = None) -> np.ndarray:
        return np.bincount(columns, np.bincount(place, weights, len(holds))[rows], len(items))

    counts = {"jobs": under(), **{name: under(np.isfinite(figures[of]).astype(float)) for name, of in _COUNTS.items()}}
    frame = pl.DataFrame({
        "value": items,
        "revenue": np.where(counts["jobs_priced"] > 0, under(np.nan_to_num(figures["price"])), np.nan),
        **{name: count.astype(np.int64) for name, count in counts.items()},
        **{name: medians_under(known, place, holds) for name, known in figures.items()},
    }, nan_to_null=True)  # fmt: skip
    return frame.filter(pl.col("jobs") > 0)


def _figures(jobs: pl.DataFrame) -> dict[str, np.ndarray]:
    """Each figure of the jobs, NaN where not known, or where it is a ratio to nothing."""
    price, cost, quoted_h, labour_h, bodies_kg = (jobs[name].to_numpy() for name in ("price", "cost", "quoted_h", "labour_h", "bodies_kg"))
    quoted_h, hours, bodies_kg = (np.where(below == 0, np.nan, below) for below in (quoted_h, labour_h, bodies_kg))
    return {
        "price": price,
        "left_over": price - cost,
        "left_over_an_hour": (price - cost) / hours,
        "labour_h": labour_h,
        "booked_to_quoted": labour_h / quoted_h,
        "labour_h_per_kg": labour_h / bodies_kg,
        "price_per_kg": price / bodies_kg,
    }


def medians_under(figures: np.ndarray, place: np.ndarray, holds: np.ndarray) -> np.ndarray:
    """The median of the figures known under each value; NaN where none is.

    Args:
        figures: (n,) NaN where not known.
        place: (n,) the row of `holds` that says what a figure counts under.
        holds: (places, values) 1 where what is at that place counts under that value, else 0.
    """
    known = np.isfinite(figures)
    figures, place = (figures, place) if known.all() else (figures[known], place[known])
    found = np.full(holds.shape[1], np.nan)
    if not len(figures):
        return found
    block = _blocks(figures)
    up_to = np.cumsum(np.vstack([np.zeros(holds.shape[1]), _counts(block, place, holds)]), axis=0).astype(np.int64)
    counts_under = np.ascontiguousarray(holds.T > 0)
    inside: dict[int, tuple[np.ndarray, np.ndarray]] = {}

    def ranked(value: int, nr: int, ranks: list[int]) -> list[float]:
        """The figures of these ranks (from 0) under a value, all of them in one block."""
        if nr not in inside:
            rows = np.flatnonzero(block == nr)
            inside[nr] = figures[rows], place[rows]
        some, at = inside[nr]
        within = [rank - int(up_to[nr, value]) for rank in ranks]
        return np.partition(some[counts_under[value][at]], within)[within].tolist()

    for value in np.flatnonzero(up_to[-1]).tolist():
        n = int(up_to[-1, value])
        ranks = [(n - 1) // 2, n // 2]
        first, last = (np.searchsorted(up_to[:, value], ranks, side="right") - 1).tolist()
        low, high = ranked(value, first, ranks) if first == last else [*ranked(value, first, ranks[:1]), *ranked(value, last, ranks[1:])]
        found[value] = low / 2 + high / 2
    return found


def _blocks(figures: np.ndarray) -> np.ndarray:
    """The block of each figure by its size. Any bounds are right; these leave few figures in the blocks of most medians."""
    low, high = np.quantile(figures[:: max(1, len(figures) // _SAMPLE)], [0.02, 0.98])
    scale = (_BLOCKS - 1) / (high - low) if high > low else 0.0
    return np.clip((figures - low) * scale, 0, _BLOCKS - 1).astype(np.uint8)


def _counts(block: np.ndarray, place: np.ndarray, holds: np.ndarray) -> np.ndarray:
    """(blocks, values) how many figures of each block count under each value."""
    if len(holds) > len(place):
        # sets that hardly repeat: a table of them by block would be larger than what is counted
        return np.array([holds[place[block == nr]].sum(axis=0) for nr in range(_BLOCKS)])
    cells = np.bincount(block * np.int64(len(holds)) + place, minlength=_BLOCKS * len(holds))
    return cells.reshape(_BLOCKS, -1).astype(np.float32) @ holds
