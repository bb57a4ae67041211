"""The frames of an edition from which models are fitted and pages are made."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.contract import TABLES, ZONES
from pipeline.frames import Columns, from_sql
from pipeline.mass.evidence import History
from pipeline.sift.cells import name

BODIES = "SELECT * FROM current_bodies ORDER BY job_id, body"
# Items and zones come as numbers: millions of lines then share a few dozen texts, which is faster and a tenth of the memory.
FITOUT = """
WITH
places AS (SELECT job_id, revision, body, row_number() OVER (ORDER BY job_id, body) - 1 AS body_row FROM current_bodies),
known AS (SELECT item_id, row_number() OVER (ORDER BY item_id) - 1 AS item FROM items)
SELECT k.item, coalesce(list_position($zones, f.zone), 0) AS zone, f.qty, f.length_mm, f.x_mm, f.y_mm, p.body_row
FROM fitout f
JOIN places p ON p.job_id = f.job_id AND p.revision = f.revision AND p.body = f.body
JOIN known k ON k.item_id = f.item_id
ORDER BY p.body_row, f.source_id, f.line, f.part"""


def _fitout(cursor: Any) -> Columns:
    lines = from_sql(cursor, FITOUT, {"zones": list(ZONES)})
    items = from_sql(cursor, "SELECT item_id FROM items ORDER BY item_id")["item_id"]
    return {
        "item_id": items[lines["item"].astype(np.int64)],
        "zone": np.array([None, *ZONES], dtype=object)[lines["zone"].astype(np.int64)],
        **{name: lines[name] for name in ("qty", "length_mm", "x_mm", "y_mm")},
        "body_row": lines["body_row"].astype(np.int64),
    }


def history_of(cursor: Any) -> History:
    """Everything of an edition that the mass model reads; bodies sorted by job and body."""
    return History(
        bodies=from_sql(cursor, BODIES),
        fitout=_fitout(cursor),
        items=_whole(cursor, "items"),
        vehicles=_whole(cursor, "vehicles"),
        upgrades=_whole(cursor, "upgrades"),
        jobs=from_sql(cursor, "SELECT * FROM current_jobs ORDER BY job_id"),
        on_vehicle=_whole(cursor, "on_vehicle"),
        weighings=_whole(cursor, "weighings"),
        settled=_whole(cursor, "settlements"),
    )


def _whole(cursor: Any, table: str) -> Columns:
    columns = ", ".join(name(column.name) for column in TABLES[table].columns)
    return from_sql(cursor, f"SELECT {columns} FROM {table} ORDER BY ALL")
