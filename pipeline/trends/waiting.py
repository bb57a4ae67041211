"""How many quotes become orders, and after what time: open quotes are neither won nor lost, they have waited so long so far.

Every quote is followed from its day to the newest record. A lost one stays among those that were never ordered until then,
so the share ordered by a given age (the cumulative incidence with complete censoring of Fine & Gray, J. Am. Stat. Assoc. 94
(1999)) is one minus the product-limit estimate. It is reckoned here from the number of quotes by days waited: the kept
libraries want a row a quote, and a million rows where a few hundred counts say the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from pipeline.layouts.views import Clause, ask
from pipeline.settings_layouts import LayoutSettings, TrendSettings
from pipeline.trends.shares import with_band

if TYPE_CHECKING:
    import duckdb

SPREAD = (0.1, 0.5, 0.9)
"""Quantiles told of a time: one in ten, the median, nine in ten."""
GROUPINGS = ("all", "branch", "family", "kind", "length", "price", "quarter", "vehicle")
"""What quotes can be grouped by."""
LOST = ("grouping", "value", "reason", "n", "of", "share", "low", "high")
WAITS = {"order": pl.col("outcome") == "ordered", "handover": pl.col("handed_over")}
"""What is waited for, and how `quote_counts` says that it came."""
_Z = 1.959963984540054
"""Two-sided 95 % point of the normal distribution."""


@dataclass(frozen=True)
class Curve:
    """What share has come by each number of days: `days` ascending from 0, `share` with its 95 % band."""

    days: np.ndarray
    share: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def at(self, day: float) -> tuple[float, float, float]:
        """Share come by that day, and its band; the last known one where nobody was followed so long."""
        place = max(0, int(np.searchsorted(self.days, day, side="right")) - 1)
        return float(self.share[place]), float(self.low[place]), float(self.high[place])

    def day_of(self, quantile: float, horizon_days: float) -> float:
        """Days by which that share of all that come within the horizon had come; NaN where none come."""
        last = self.at(horizon_days)[0]
        if last <= 0:
            return float("nan")
        return float(self.days[np.argmax(self.share >= quantile * last - 1e-12)])


def curve(days: np.ndarray, came: np.ndarray, n: np.ndarray | None = None) -> Curve:
    """The share come by each day.

    Args:
        days: (m,) days waited, until it came or so far.
        came: (m,) whether it came.
        n: (m,) how many waited alike; one each when left out.
    Source: E. L. Kaplan & P. Meier, J. Am. Stat. Assoc. 53 (1958); band by M. Greenwood's formula (1926) on the log-log scale.
    """
    often = np.ones(len(days)) if n is None else np.asarray(n, dtype=float)
    at, place = np.unique(np.asarray(days, dtype=float), return_inverse=True)
    come = np.bincount(place, often * np.asarray(came, dtype=bool), len(at))
    waiting = np.bincount(place, often, len(at))[::-1].cumsum()[::-1]
    stay = np.cumprod(1 - come / waiting)
    # the band has no width at shares of 0 and 1: there it says nothing
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.exp(_Z * np.sqrt(np.cumsum(come / (waiting * (waiting - come)))) / np.abs(np.log(stay)))
        high, low = (np.where((stay > 0) & (stay < 1), 1 - stay**power, 1 - stay) for power in (spread, 1 / spread))
    if at[0] > 0:
        at, stay, low, high = np.insert(at, 0, 0.0), np.insert(stay, 0, 1.0), np.insert(low, 0, 0.0), np.insert(high, 0, 0.0)
    return Curve(at, 1 - stay, low, high)


def conversion(
    con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings, trends: TrendSettings, grouping: str | None = None
) -> pl.DataFrame:
    """Quotes by everything they can be grouped by: what came of them, the share that is ordered in time, and the times.

    Args:
        grouping: one of GROUPINGS alone.

    Returns: `grouping, value, quotes, ordered, lost, open_quotes, followed, share, low, high` (ordered within the setting's
        days), `order_days_low, order_days, order_days_high`, `handover_days_low, handover_days, handover_days_high`.
    """
    return conversion_of(quote_counts(con, clause, layouts, trends, grouping), trends)


def quote_counts(
    con: duckdb.DuckDBPyConnection, clause: Clause | None, layouts: LayoutSettings, trends: TrendSettings, grouping: str | None = None
) -> pl.DataFrame:
    """What all answers about quotes are made of, in one reading of the records: `grouping, value, outcome, reason, order_wait_days,
    handover_wait_days, handed_over, n`."""
    return ask(con, "quote_counts", clause, **quote_values(layouts, trends, grouping))


def conversion_of(counts: pl.DataFrame, trends: TrendSettings) -> pl.DataFrame:
    """What `conversion` returns, of `quote_counts`."""
    came = {outcome: pl.col("n").filter(pl.col("outcome") == outcome).sum() for outcome in ("ordered", "lost", "open")}
    columns = {"quotes": pl.col("n").sum(), "ordered": came["ordered"], "lost": came["lost"], "open_quotes": came["open"]}
    groups = counts.group_by("grouping", "value")
    told = [{"grouping": key[0], "value": key[1], **_told(part, trends.conversion_days)} for key, part in groups]
    waits = pl.DataFrame(told, schema={"grouping": pl.String, "value": pl.String, **_TOLD})
    return groups.agg(**columns).join(waits, on=["grouping", "value"], how="left").sort("grouping", "value")


def lost_of(counts: pl.DataFrame) -> pl.DataFrame:
    """LOST, of `quote_counts`."""
    lost = counts.filter(pl.col("reason").is_not_null()).group_by("grouping", "value", "reason").agg(pl.col("n").sum())
    banded = with_band(lost.with_columns(of=pl.col("n").sum().over("grouping", "value")), "n", "of").select(LOST)
    return banded.sort("grouping", "value", "n", "reason", descending=[False, False, True, False])


def quote_values(layouts: LayoutSettings, trends: TrendSettings, grouping: str | None = None) -> dict[str, Any]:
    """What the views of quotes bind; `grouping` is one of GROUPINGS, None all of them."""
    return {"length_step_mm": layouts.length_step_mm, "price_step": trends.price_step, "grouping": grouping}


_TOLD: dict[str, Any] = {
    "followed": pl.Int64,
    "share": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
    **{f"{wait}_days{end}": pl.Float64 for wait in WAITS for end in ("_low", "", "_high")},
}


def _told(counts: pl.DataFrame, horizon_days: float) -> dict[str, float | int | None]:
    told: dict[str, float | int | None] = {"followed": int(waits_for(counts, "order")["n"].sum())}
    for wait in WAITS:
        come = curve_of(counts, wait)
        if come is None:
            continue
        if wait == "order":
            told |= dict(zip(("share", "low", "high"), come.at(horizon_days), strict=True))
        if come.share[-1] > 0:
            told |= {f"{wait}_days{end}": come.day_of(q, horizon_days) for end, q in zip(("_low", "", "_high"), SPREAD, strict=True)}
    return told


def waits_for(counts: pl.DataFrame, wait: str) -> pl.DataFrame:
    """`days, came, n` and what else `quote_counts` holds, of those whose wait for an order or a handover is known."""
    return counts.with_columns(days=pl.col(f"{wait}_wait_days"), came=WAITS[wait]).drop_nulls("days")


def curve_of(counts: pl.DataFrame, wait: str) -> Curve | None:
    """The curve over all quotes of `quote_counts`; None where nobody waits."""
    waits = waits_for(counts, wait)
    return curve(waits["days"].to_numpy(), waits["came"].to_numpy(), waits["n"].to_numpy()) if waits.height else None


def waiting_curve(
    con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings, trends: TrendSettings, wait: str = "order"
) -> Curve | None:
    """The curve over all quotes chosen, for `order` or `handover`; None where there are none."""
    return curve_of(quote_counts(con, clause, layouts, trends, "all"), wait)
