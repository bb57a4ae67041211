"""The frames of an edition from which models are fitted and pages are made."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.contract import TABLES
from pipeline.frames import Columns, from_sql
from pipeline.mass.evidence import History
from pipeline.sift.cells import name

BODIES = "SELECT * FROM current_bodies ORDER BY job_id, body"
FITOUT = """
WITH places AS (SELECT job_id, body, row_number() OVER (ORDER BY job_id, body) - 1 AS body_row FROM current_bodies)
SELECT f.* EXCLUDE (item_label), p.body_row FROM current_fitout f JOIN places p ON p.job_id = f.job_id AND p.body = f.body
ORDER BY p.body_row, f.source_id, f.line, f.part"""


def history_of(cursor: Any) -> History:
    """Everything of an edition that the mass model reads; bodies sorted by job and body."""
    fitout = from_sql(cursor, FITOUT)
    fitout["body_row"] = fitout["body_row"].astype(np.int64)
    return History(
        bodies=from_sql(cursor, BODIES),
        fitout=fitout,
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
