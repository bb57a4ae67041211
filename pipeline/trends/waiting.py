"""How many quotes become orders, and after what time: open quotes are neither won nor lost, they have waited so long so far.

Every quote is followed from its day to the newest record. A lost one stays among those that were never ordered until then,
so the share ordered by a given age (the cumulative incidence with complete censoring of Fine & Gray, J. Am. Stat. Assoc. 94
(1999)) is one minus the product-limit estimate, which SciPy computes.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from pipeline.layouts.views import Clause, ask
from pipeline.settings_layouts import LayoutSettings, TrendSettings

if TYPE_CHECKING:
    import duckdb

SPREAD = (0.1, 0.5, 0.9)
"""Quantiles told of a time: one in ten, the median, nine in ten."""


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
    Source: E. L. Kaplan & P. Meier (1958), by SciPy; band by Greenwood's formula on the log-log scale.
    """
    from scipy.stats import CensoredData, ecdf

    often = np.ones(len(days), dtype=np.int64) if n is None else np.asarray(n, dtype=np.int64)
    waited, open_still = np.repeat(np.asarray(days, dtype=float), often), ~np.repeat(np.asarray(came, dtype=bool), often)
    stays = ecdf(CensoredData.right_censored(waited, open_still)).sf
    share = 1 - stays.probabilities
    with warnings.catch_warnings():
        # Greenwood's band has no width at shares of 0 and 1; SciPy says so each time, and gives no number there
        warnings.simplefilter("ignore", RuntimeWarning)
        band = stays.confidence_interval(0.95, method="log-log")
    low, high = 1 - band.high.probabilities, 1 - band.low.probabilities
    low, high = np.where(np.isnan(low), share, low), np.where(np.isnan(high), share, high)
    start = np.zeros(1)
    if stays.quantiles[0] > 0:
        return Curve(*(np.concatenate([start, values]) for values in (stays.quantiles, share, low, high)))
    return Curve(stays.quantiles, share, low, high)


def conversion(con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings, trends: TrendSettings) -> pl.DataFrame:
    """Quotes by everything they can be grouped by: what came of them, the share that is ordered in time, and the times.

    Columns: `grouping, value, quotes, ordered, lost, open_quotes, followed, share, low, high` (ordered within the setting's
    days), `order_days_low, order_days, order_days_high`, `handover_days_low, handover_days, handover_days_high`.
    """
    values = {"length_step_mm": layouts.length_step_mm, "price_step": trends.price_step}
    counts = ask(con, "conversion", clause, **values)
    waits = ask(con, "waiting_counts", clause, **values).sort("grouping", "value", "wait", "days", "came")
    told = [
        {"grouping": key[0], "value": key[1], **_told(part, trends.conversion_days)} for key, part in waits.group_by("grouping", "value")
    ]
    frame = counts.join(
        pl.DataFrame(told, schema={"grouping": pl.String, "value": pl.String, **_TOLD}), on=["grouping", "value"], how="left"
    )
    return frame.sort("grouping", "value")


_TOLD: dict[str, Any] = {
    "followed": pl.Int64,
    "share": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
    **{f"{wait}_days{end}": pl.Float64 for wait in ("order", "handover") for end in ("_low", "", "_high")},
}


def _told(waits: pl.DataFrame, horizon_days: float) -> dict[str, float | int | None]:
    told: dict[str, float | int | None] = {"followed": int(waits.filter(pl.col("wait") == "order")["n"].sum())}
    for wait in ("order", "handover"):
        part = waits.filter(pl.col("wait") == wait)
        if part.is_empty():
            continue
        come = _curve_of(part)
        if wait == "order":
            told |= dict(zip(("share", "low", "high"), come.at(horizon_days), strict=True))
        if part["came"].sum():
            told |= {f"{wait}_days{end}": come.day_of(q, horizon_days) for end, q in zip(("_low", "", "_high"), SPREAD, strict=True)}
    return told


def _curve_of(waits: pl.DataFrame) -> Curve:
    return curve(waits["days"].to_numpy(), waits["came"].to_numpy(), waits["n"].to_numpy())


def waiting_curve(
    con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings, trends: TrendSettings, wait: str = "order"
) -> Curve | None:
    """The curve over all quotes chosen, for `order` or `handover`; None where there are none."""
    values = {"length_step_mm": layouts.length_step_mm, "price_step": trends.price_step}
    waits = ask(con, "waiting_counts", clause, **values).filter((pl.col("grouping") == "all") & (pl.col("wait") == wait))
    return _curve_of(waits.sort("days", "came")) if waits.height else None
