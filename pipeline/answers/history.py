"""The frames of an edition from which models are fitted and pages are made."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from pipeline.contract import TABLES, ZONES
from pipeline.frames import Columns, from_sql
from pipeline.mass.evidence import History
from pipeline.sift.cells import name

BODIES = "SELECT * FROM current_bodies {jobs} ORDER BY job_id, body"
_THESE = "WHERE job_id IN (SELECT unnest($jobs))"
# Items and zones come as numbers: millions of lines then share a few dozen texts, which is faster and a tenth of the memory.
FITOUT = """
WITH
places AS (SELECT job_id, revision, body, row_number() OVER (ORDER BY job_id, body) - 1 AS body_row FROM current_bodies {jobs}),
known AS (SELECT item_id, row_number() OVER (ORDER BY item_id) - 1 AS item FROM items)
SELECT k.item, coalesce(list_position($zones, f.zone), 0) AS zone, f.qty, f.length_mm, f.x_mm, f.y_mm, p.body_row
FROM fitout f
JOIN places p ON p.job_id = f.job_id AND p.revision = f.revision AND p.body = f.body
JOIN known k ON k.item_id = f.item_id
ORDER BY p.body_row, f.source_id, f.line, f.part"""


def _fitout(cursor: Any, narrow: str, values: dict[str, Any]) -> Columns:
    lines = from_sql(cursor, FITOUT.format(jobs=narrow), {"zones": list(ZONES), **values})
    items = from_sql(cursor, "SELECT item_id FROM items ORDER BY item_id")["item_id"]
    return {
        "item_id": items[lines["item"].astype(np.int64)],
        "zone": np.array([None, *ZONES], dtype=object)[lines["zone"].astype(np.int64)],
        **{name: lines[name] for name in ("qty", "length_mm", "x_mm", "y_mm")},
        "body_row": lines["body_row"].astype(np.int64),
    }


def history_of(cursor: Any, jobs: Sequence[str] | None = None) -> History:
    """Everything of an edition that the mass model reads; bodies sorted by job and body.

    Args:
        jobs: only what is known of these.
    """
    narrow, values = ("", {}) if jobs is None else (_THESE, {"jobs": list(jobs)})
    frames = {table: from_sql(cursor, _whole(table)) for table in ("items", "vehicles", "upgrades")}
    return History(
        bodies=from_sql(cursor, BODIES.format(jobs=narrow), values),
        fitout=_fitout(cursor, narrow, values),
        **frames,
        jobs=from_sql(cursor, f"SELECT * FROM current_jobs {narrow} ORDER BY job_id", values),
        on_vehicle=from_sql(cursor, _whole("on_vehicle", narrow), values),
        weighings=from_sql(cursor, _whole("weighings", narrow), values),
        settled=from_sql(cursor, _whole("settlements")),
    )


def _whole(table: str, narrow: str = "") -> str:
    columns = ", ".join(name(column.name) for column in TABLES[table].columns)
    return f"SELECT {columns} FROM {table} {narrow} ORDER BY ALL"
