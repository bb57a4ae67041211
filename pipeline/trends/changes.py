"""What really changed: every value tested, ordered by evidence, false discoveries held down, told in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from pipeline.layouts.views import Clause, ask
from pipeline.settings_layouts import LayoutSettings, TrendSettings
from pipeline.trends.bands import difference

if TYPE_CHECKING:
    import duckdb

CHANGES = pl.Schema(
    {
        "kind": pl.String,
        "value": pl.String,
        "label": pl.String,
        "n_before": pl.Int64,
        "of_before": pl.Int64,
        "n_now": pl.Int64,
        "of_now": pl.Int64,
        "share_before": pl.Float64,
        "share_now": pl.Float64,
        "low": pl.Float64,
        "high": pl.Float64,
        "p": pl.Float64,
        "q": pl.Float64,
        "changed": pl.Boolean,
        "words": pl.String,
    }
)


@dataclass(frozen=True)
class Window:
    """Two stretches of time of equal length, one behind the other; `now_until` is the first day after them."""

    before_from: date
    now_from: date
    now_until: date

    @classmethod
    def ending(cls, newest: date, months: int) -> Window:
        """The window that ends with the day of the newest sale.

        >>> Window.ending(date(2026, 3, 31), 12).now_from.isoformat()
        '2025-04-01'
        """
        until = newest + timedelta(days=1)
        return cls(_months_before(until, 2 * months), _months_before(until, months), until)

    def values(self) -> dict[str, date]:
        """What the views bind."""
        return {"before_from": self.before_from, "now_from": self.now_from, "now_until": self.now_until}


def _months_before(day: date, months: int) -> date:
    year, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    last = (date(year + (month == 11), (month + 1) % 12 + 1, 1) - timedelta(days=1)).day
    return date(year, month + 1, min(day.day, last))


def newest_window(con: duckdb.DuckDBPyConnection, clause: Clause, layouts: LayoutSettings, trends: TrendSettings) -> Window | None:
    """The window that ends with the newest sale among the bodies chosen; None where nothing was sold."""
    newest = ask(con, "newest_sale", clause, length_step_mm=layouts.length_step_mm)["day"][0]
    return Window.ending(newest, trends.window_months) if newest else None


def changes(
    con: duckdb.DuckDBPyConnection, clause: Clause, window: Window | None, layouts: LayoutSettings, trends: TrendSettings
) -> pl.DataFrame:
    """Every value sold in either window, with the evidence that its share changed; the strongest first.

    `low, high` band the difference now - before; `q` is p adjusted over all values (Benjamini-Hochberg), `changed` says that
    q is within the share of false discoveries allowed.

    Args:
        window: `newest_window` of the same bodies.
    """
    if window is None:
        return pl.DataFrame(schema=CHANGES)
    counts = ask(con, "window_counts", clause, length_step_mm=layouts.length_step_mm, by_quarter=False, subject=None, **window.values())
    if counts.is_empty() or counts["of_before"][0] == 0:
        return pl.DataFrame(schema=CHANGES)
    counts = counts.join(ask(con, "subject_labels"), left_on=["kind", "value"], right_on=["subject", "value"], how="left")
    counts = counts.with_columns(label=pl.col("label").fill_null(pl.col("value"))).sort("kind", "value")
    return evidence(counts, trends)


def evidence(counts: pl.DataFrame, trends: TrendSettings) -> pl.DataFrame:
    """Evidence for counts `kind, value, label, n_before, of_before, n_now, of_now`.

    Source: R. A. Fisher's exact test, two-sided; Y. Benjamini & Y. Hochberg, J. R. Stat. Soc. B 57 (1995) 289-300.
    """
    n_a, of_a, n_b, of_b = (counts[name].to_numpy().astype(float) for name in ("n_before", "of_before", "n_now", "of_now"))
    p = exact_p(n_a, of_a, n_b, of_b)
    q = adjusted(p)
    low, high = difference(n_a, of_a, n_b, of_b)
    frame = counts.with_columns(
        share_before=pl.Series(n_a / of_a),
        share_now=pl.Series(n_b / np.maximum(of_b, 1)),
        low=pl.Series(low),
        high=pl.Series(high),
        p=pl.Series(p),
        q=pl.Series(q),
        changed=pl.Series(q <= trends.false_discoveries),
    )
    words = [_words(row, trends.window_months) for row in frame.iter_rows(named=True)]
    return frame.with_columns(words=pl.Series(words, dtype=pl.String)).select(list(CHANGES)).cast(CHANGES).sort("p", "kind", "value")


def exact_p(n_a: np.ndarray, of_a: np.ndarray, n_b: np.ndarray, of_b: np.ndarray) -> np.ndarray:
    """Two-sided p of Fisher's exact test for each pair of counts: all tables with these sums that are no likelier than the one found.

    By logarithms, since the statistics library takes longer to import than a page to draw.
    """
    from scipy.special import gammaln

    # of all counts at once: each test looks at tens of thousands of tables, whose factorials are mostly the same
    log_factorial = gammaln(np.arange(int(np.max(of_a + of_b, initial=0)) + 1) + 1.0)
    return np.array([_exact_p(int(a), int(x), int(b), int(y), log_factorial) for a, x, b, y in zip(n_a, of_a, n_b, of_b, strict=True)])


_ALIKE = 1e-7
"""Tables whose chances differ by less than this part are as likely as each other; as R's fisher.test takes it."""


def _exact_p(n_a: int, of_a: int, n_b: int, of_b: int, log_factorial: np.ndarray) -> float:
    held, part = n_a + n_b, of_a / (of_a + of_b)
    # further from the mean than this, chances are too small for a number to hold
    usual, reach = held * part, 40 * (held * part * (1 - part)) ** 0.5 + 800
    first, last = max(0, held - of_b, int(usual - reach)), min(held, of_a, int(usual + reach))
    if not first <= n_a <= last:
        return 0.0
    rest = of_b - held
    rising = log_factorial[first : last + 1] + log_factorial[rest + first : rest + last + 1]
    falling = log_factorial[of_a - last : of_a - first + 1] + log_factorial[held - last : held - first + 1]
    log = -(rising + falling[::-1])
    chance = np.exp(log - log.max())
    return float(chance[chance <= chance[n_a - first] * (1 + _ALIKE)].sum() / chance.sum())


def adjusted(p: np.ndarray) -> np.ndarray:
    """The share of false discoveries among all values at least as sure as each (Benjamini & Hochberg)."""
    order = np.argsort(-p, kind="stable")
    times = len(p) / np.arange(len(p), 0, -1)
    q = np.empty(len(p))
    q[order] = np.minimum(np.minimum.accumulate(p[order] * times), 1.0)
    return q


def _words(row: dict[str, Any], months: int) -> str:
    """
    >>> _words({"label": "induction kitchen", "share_before": 0.18, "share_now": 0.31, "low": 0.07, "high": 0.19, "changed": True}, 12)
    'induction kitchen: 18 in 100 in the 12 months before, 31 in 100 in the last 12 months; likely between 7 and 19 more in 100'
    """
    before, now = in_100(row["share_before"]), in_100(row["share_now"])
    head = f"{row['label']}: {before} in the {months} months before, {now} in the last {months} months"
    low, high = round(100 * row["low"]), round(100 * row["high"])
    if not row["changed"]:
        return f"{head}; no more than chance may do"
    if row["low"] >= 0:
        return f"{head}; likely between {low} and {high} more in 100"
    if row["high"] <= 0:
        return f"{head}; likely between {-high} and {-low} fewer in 100"
    return f"{head}; between {-low} fewer and {high} more in 100"


def in_100(share: float) -> str:
    """A share as so many in a hundred.

    >>> in_100(0.314), in_100(0.004), in_100(0)
    ('31 in 100', '0.4 in 100', 'none in 100')
    """
    if share == 0:
        return "none in 100"
    return f"{100 * share:.0f} in 100" if share >= 0.01 else f"{100 * share:.1f} in 100"
