"""What is new since last time: the newest hand-ins, what changed in sales, what stands near a limit, what wants a look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.answers import selling
from pipeline.answers.doubts import STILL_DOUBTED, has_doubts
from pipeline.answers.files import Rows
from pipeline.settings import Settings

FINDINGS = 3
RECENTLY_DAYS = 120
"""A quote that went quiet longer ago is history, not news."""


@dataclass(frozen=True)
class News:
    """The newest hand-ins, and what is waiting for somebody."""

    hand_ins: Rows
    rejected: int
    suspects: int
    jobs: int
    bodies: int
    weighed: int


def news(con: Any, _settings: Settings) -> News:
    """What came in on the newest day of loading, and how much wants a look."""
    newest = Rows.query(con, """
        SELECT h.name AS hand_in, CAST(coalesce(sum(a.read), 0) AS BIGINT) AS read,
               CAST(coalesce(sum(a.kept), 0) + coalesce(sum(a.suspect), 0) AS BIGINT) AS kept,
               CAST(coalesce(sum(a.rejected), 0) AS BIGINT) AS rejected
        FROM hand_ins AS h LEFT JOIN accounts AS a ON a.hand_in = h.name
        WHERE h.loaded_on = (SELECT max(loaded_on) FROM hand_ins)
        GROUP BY h.hand_in, h.name ORDER BY h.hand_in DESC""")  # fmt: skip
    doubted = f'UNION SELECT "table", key FROM {STILL_DOUBTED}' if has_doubts(con) else "UNION SELECT NULL, NULL WHERE false"
    rejected, suspects, jobs, bodies, weighed = con.execute(f"""
        SELECT (SELECT count(*) FROM (SELECT DISTINCT source_id, line FROM ledger WHERE closed IS NULL)),
               (SELECT count(*) FROM (SELECT table_name, key FROM suspects {doubted})),
               (SELECT count(*) FROM current_jobs), (SELECT count(*) FROM body_facts WHERE counted),
               (SELECT count(*) FROM body_facts WHERE counted AND weighed)""").fetchall()[0]  # fmt: skip
    return News(newest, rejected, suspects, jobs, bodies, weighed)


def findings(con: Any, settings: Settings) -> list[str]:
    """The best supported changes of sales in words; none where nothing changed by more than chance."""
    return selling.what_changed(con, settings).filter(pl.col("changed"))["words"].head(FINDINGS).to_list()


def gone_quiet(con: Any, settings: Settings) -> Rows:
    """Open quotes that went quiet lately, the newest first: `job_id, branch, vehicle_id, kind, quoted_on, words`."""
    found = selling.quiet_quotes(con, settings)
    lately = found.filter(pl.col("age_days") - pl.col("usual_days") <= RECENTLY_DAYS).sort("age_days", "job_id")
    return Rows.of_frame(lately.select("job_id", "branch", "vehicle_id", "kind", "quoted_on", "words"))
