"""The frames of an edition from which models are fitted and pages are made."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from pipeline.contract import TABLES, ZONES
from pipeline.frames import Columns, from_sql, narrowed
from pipeline.mass.evidence import History
from pipeline.mass.fit import READ
from pipeline.sift.cells import name
from pipeline.store.parts import PART_JOBS, job_spans

BODIES = "SELECT {columns} FROM current_bodies {jobs} ORDER BY job_id, body"
JOBS = "SELECT {columns} FROM current_jobs {jobs} ORDER BY job_id"
_THESE = "WHERE job_id IN (SELECT unnest($jobs))"
_BETWEEN = "WHERE job_id BETWEEN $first AND $last"
_WITH_TICKETS = "WHERE job_id IN (SELECT job_id FROM weighings)"
# Items and zones come as numbers: millions of lines then share a few dozen texts, which is faster and a tenth of the memory.
FITOUT = """
WITH
places AS (SELECT job_id, revision, body, row_number() OVER (ORDER BY job_id, body) - 1 AS body_row FROM current_bodies {jobs}),
known AS (SELECT item_id, row_number() OVER (ORDER BY item_id) - 1 AS item FROM items)
SELECT CAST(k.item AS INTEGER) AS item, CAST(coalesce(list_position($zones, f.zone), 0) AS INTEGER) AS zone, f.qty, f.length_mm, f.x_mm,
       f.y_mm, CAST(p.body_row AS INTEGER) AS body_row
FROM fitout f
JOIN places p ON p.job_id = f.job_id AND p.revision = f.revision AND p.body = f.body
JOIN known k ON k.item_id = f.item_id
ORDER BY p.body_row, f.source_id, f.line, f.part"""
_READ_BY_REPORTS = ("branch", "list_whole")
_FEW_TEXTS = ("body", "kind", "material", "size_class", "origin", "branch")
"""Columns of bodies in which few texts come again and again."""


def history_of(cursor: Any, jobs: Sequence[str] | None = None) -> History:
    """Everything of an edition that answers read; bodies sorted by job and body.

    Args:
        jobs: only what is known of these.
    """
    return _history(cursor, "", {}) if jobs is None else _history(cursor, _THESE, {"jobs": list(jobs)})


def histories(cursor: Any, jobs: int = PART_JOBS) -> Iterator[History]:
    """The same in parts of so many consecutive jobs: a history of any length is gone through in the memory of one part."""
    spans = job_spans(cursor, jobs)
    if not spans:
        yield history_of(cursor)
    for first, last in spans:
        yield _history(cursor, _BETWEEN, {"first": first, "last": last})


def history_to_fit(con: Any) -> History:
    """What the mass model is fitted on and reported by, all of it at once and therefore lean.

    Only the columns that are read; a text that comes again stands once; numbers of lines in half the room where they lose
    nothing by it; jobs with tickets alone, since the others say nothing of masses.
    """
    fitout = _fitout(con, "", {})
    known = {column: _different(con, column) for column in _FEW_TEXTS}
    told = {column: f"coalesce(list_position(CAST(${column} AS VARCHAR[]), {column}), 0) AS {column}" for column in _FEW_TEXTS}
    columns = ", ".join(told.get(column, column) for column in (*READ["bodies"], *_READ_BY_REPORTS))
    bodies = from_sql(con, BODIES.format(columns=columns, jobs=""), {column: texts[1:].tolist() for column, texts in known.items()})
    bodies |= {column: texts[bodies[column].astype(np.int64)] for column, texts in known.items()}
    return _with_tables(con, bodies, fitout, from_sql(con, JOBS.format(columns=", ".join(READ["jobs"]), jobs=_WITH_TICKETS)), "", {})


def _different(con: Any, column: str) -> np.ndarray:
    """None, and the different texts of a column of bodies."""
    found = from_sql(con, f"SELECT DISTINCT {column} AS told FROM current_bodies WHERE {column} IS NOT NULL ORDER BY told")
    return np.array([None, *found["told"].tolist()], dtype=object)


def _history(cursor: Any, narrow: str, values: dict[str, Any]) -> History:
    bodies = from_sql(cursor, BODIES.format(columns="*", jobs=narrow), values)
    jobs = from_sql(cursor, JOBS.format(columns="*", jobs=narrow), values)
    return _with_tables(cursor, bodies, _fitout(cursor, narrow, values), jobs, narrow, values)


def _with_tables(cursor: Any, bodies: Columns, fitout: Columns, jobs: Columns, narrow: str, values: dict[str, Any]) -> History:
    return History(
        bodies=bodies,
        fitout=fitout,
        **{table: from_sql(cursor, _whole(table)) for table in ("items", "vehicles", "upgrades")},
        jobs=jobs,
        on_vehicle=from_sql(cursor, _whole("on_vehicle", narrow), values),
        weighings=from_sql(cursor, _whole("weighings", narrow), values),
        settled=from_sql(cursor, _whole("settlements")),
    )


def _fitout(cursor: Any, narrow: str, values: dict[str, Any]) -> Columns:
    lines = from_sql(cursor, FITOUT.format(jobs=narrow), {"zones": list(ZONES), **values})
    items = from_sql(cursor, "SELECT item_id FROM items ORDER BY item_id")["item_id"]
    # column by column, each let go before the next: they are the bulk of a history
    return {
        "item_id": items[lines.pop("item").astype(np.int32)],
        "zone": np.array([None, *ZONES], dtype=object)[lines.pop("zone").astype(np.int32)],
        **{name: narrowed(lines.pop(name)) for name in ("qty", "length_mm", "x_mm", "y_mm")},
        "body_row": lines.pop("body_row").astype(np.int32),
    }


def _whole(table: str, narrow: str = "") -> str:
    columns = ", ".join(name(column.name) for column in TABLES[table].columns)
    return f"SELECT {columns} FROM {table} {narrow} ORDER BY ALL"
