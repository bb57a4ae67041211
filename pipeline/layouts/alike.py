"""Past bodies that are alike a draft, and the nearest ones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.layouts.views import ask
from pipeline.settings_layouts import LayoutSettings

if TYPE_CHECKING:
    import duckdb

ALIKE = ("job_id", "body", "kind", "size_class", "length_mm", "measured_kg", "jaccard", "likeness")


@dataclass(frozen=True)
class Wanted:
    """A body to find the like of: `items` are quantities by item_id; an unknown size class fits every one."""

    kind: str
    length_mm: float
    items: Mapping[str, float] = field(default_factory=dict)
    size_class: str | None = None

    def values(self) -> dict[str, Any]:
        """What the views of likeness bind."""
        return {
            "draft_item_ids": list(self.items),
            "draft_qtys": [float(qty) for qty in self.items.values()],
            "draft_kind": self.kind,
            "draft_length_mm": float(self.length_mm),
        }


@dataclass(frozen=True)
class Alike:
    """The alike bodies, the likest first; `too_few` where a range over them would say nothing."""

    bodies: pl.DataFrame
    too_few: bool


def alike(con: duckdb.DuckDBPyConnection, wanted: Wanted, settings: LayoutSettings) -> Alike:
    """Bodies of the same kind and size class, length within the setting's share, weighted Jaccard of items at least its least."""
    frame = likest(con, wanted).filter(
        pl.col("kind") == wanted.kind,
        (pl.col("length_mm") - wanted.length_mm).abs() <= settings.alike_length * wanted.length_mm + 1e-9,
        pl.col("jaccard") >= settings.alike_jaccard - 1e-12,
    )
    if wanted.size_class is not None:
        frame = frame.filter(pl.col("size_class") == wanted.size_class)
    return Alike(frame, frame.height < settings.alike_few)


def nearest_builds(con: duckdb.DuckDBPyConnection, wanted: Wanted, count: int, measured_only: bool = True) -> pl.DataFrame:
    """The `count` likest bodies of the same kind; only those with a mass, unless told otherwise."""
    frame = likest(con, wanted).filter(pl.col("kind") == wanted.kind)
    return (frame.filter(pl.col("measured_kg").is_not_null()) if measured_only else frame).head(count)


def likest(con: duckdb.DuckDBPyConnection, wanted: Wanted) -> pl.DataFrame:
    """ALIKE: every counted body, the likest first. Likeness is the Jaccard of items times the shorter length over the longer."""
    frame = ask(con, "alike", **wanted.values())
    return frame.select(ALIKE).sort("likeness", "job_id", "body", descending=[True, False, False])
