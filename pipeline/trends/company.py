"""What goes together: pairs and triples of items, and what a draft usually also has and has not."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.layouts.views import Clause, ask
from pipeline.settings_layouts import LayoutSettings, TrendSettings

if TYPE_CHECKING:
    import duckdb

PAIRS = ("item_a", "item_b", "bodies", "support", "confidence", "lift")
TRIPLES = ("item_a", "item_b", "item_c", "bodies", "support", "confidence", "lift")
USUAL = ("item_id", "label", "because", "bodies", "of_bodies", "confidence", "lift", "words")


def pairs(con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings) -> pl.DataFrame:
    """PAIRS of items in delivered bodies, a row a direction; the most often together first.

    Source: support, confidence and lift as in R. Agrawal et al. (1993) and S. Brin et al. (1997).
    """
    frame = ask(con, "pairs", clause, length_step_mm=layouts.length_step_mm)
    return frame.select(PAIRS).sort("bodies", "item_a", "item_b", descending=[True, False, False])


def triples(con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings, trends: TrendSettings) -> pl.DataFrame:
    """TRIPLES: what a third item does where two are, a row a consequence; those under the setting's bodies are left out."""
    frame = ask(con, "triples", clause, length_step_mm=layouts.length_step_mm, pair_bodies=trends.pair_bodies)
    return frame.select(TRIPLES).sort("lift", "bodies", "item_a", "item_b", "item_c", descending=[True, True, False, False, False])


def usually_also(
    con: duckdb.DuckDBPyConnection, clause: Clause, items: Collection[str], layouts: LayoutSettings, trends: TrendSettings
) -> pl.DataFrame:
    """USUAL: what bodies with an item, or two items, of the draft mostly have and the draft has not; the surest first.

    Each item is told once, by its strongest reason. Retired items, those the draft's items do not go with, and those that
    may stand in place of one it has, are not told.
    """
    known = ask(con, "item_company")
    have = sorted(set(items))
    ones = pairs(con, clause, layouts).rename({"item_b": "item_id"}).filter(pl.col("item_a").is_in(have))
    ones = ones.with_columns(because=pl.concat_list("item_a")).drop("item_a")
    values = {"length_step_mm": layouts.length_step_mm, "pair_bodies": trends.pair_bodies}
    draft = {"draft_item_ids": have, "draft_qtys": [1.0] * len(have)}
    twos = ask(con, "company_of_two", clause, **values, **draft).rename({"item_c": "item_id"})
    twos = twos.with_columns(because=pl.concat_list("item_a", "item_b")).drop("item_a", "item_b")
    found = pl.concat([ones, twos.select(ones.columns)]).filter(
        ~pl.col("item_id").is_in(have),
        ~pl.col("item_id").is_in(_unwelcome(known, have)),
        pl.col("bodies") >= trends.pair_bodies,
        pl.col("confidence") >= trends.usual_confidence,
        pl.col("lift") >= trends.usual_lift,
    )
    found = found.sort(pl.col("confidence"), "bodies", "item_id", descending=[True, True, False]).unique(
        "item_id", keep="first", maintain_order=True
    )
    labels = dict(known.select("item_id", "label").iter_rows())
    told = found.with_columns(
        of_bodies=(pl.col("bodies") / pl.col("confidence")).round().cast(pl.Int64),
        label=pl.col("item_id").replace_strict(labels, default=None, return_dtype=pl.String),
        because=pl.col("because").list.eval(pl.element().replace_strict(labels, default=None, return_dtype=pl.String)).list.join(" and "),
    )
    words = [_words(row) for row in told.iter_rows(named=True)]
    return told.with_columns(words=pl.Series(words, dtype=pl.String)).select(USUAL)


def _unwelcome(known: pl.DataFrame, have: list[str]) -> list[str]:
    """Items that cannot join the draft: retired, declared not to stand beside one it has, or in place of one."""
    out = set(known.filter(pl.col("retired"))["item_id"])
    for item_id, not_with, instead_of in known.select("item_id", "not_with", "instead_of").iter_rows():
        others = set((not_with or "").split()) | set((instead_of or "").split())
        if others & set(have):
            out.add(item_id)
        if item_id in have:
            out |= others
    return sorted(out)


def _words(row: dict[str, Any]) -> str:
    """
    >>> _words({"bodies": 16, "of_bodies": 20, "because": "full kitchen", "label": "large inverter"})
    '8 of 10 with full kitchen also have large inverter'
    >>> _words({"bodies": 5, "of_bodies": 6, "because": "sink", "label": "water tank"})
    '5 of 6 with sink also have water tank'
    """
    n, of = row["bodies"], row["of_bodies"]
    head = f"{n} of {of}" if of < 10 else f"{10 * n / of:.0f} of 10"
    return f"{head} with {row['because']} also have {row['label']}"
