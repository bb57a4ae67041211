"""The views of an edition, a file each, and those of them that are kept as tables because every page reads them."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

from pipeline.contract import TABLES
from pipeline.sift.schema import key_text

KEPT = ("accounts", "body_facts", "list_lines", "list_sets", "set_items", "newest_day")
"""Views that an edition keeps as tables of the same names; made of its records, so left out of digests and exports."""
PAST_MARGINS = "past_margins"
BY_THE_FIT = (PAST_MARGINS,)
"""Tables that hold for the very records they were made of: a load, a rebuild and an export of the edition leave them out."""
_HEAD = re.compile(r"\A(?:--[^\n]*\n)*CREATE OR REPLACE VIEW (\w+) AS\n", re.MULTILINE)
_TOUCHED = "job_id IN (SELECT job_id FROM touched_jobs)"


def create_views(con: Any) -> None:
    """Make or renew the views that commands and pages read; what an edition keeps as a table stays."""
    kept = _tables(con)
    for sql in _files():
        head = _HEAD.match(sql)
        if not head or head[1] not in kept:
            con.execute(_filled(sql))


def keep_facts(con: Any, everywhere: bool = True) -> None:
    """Keep the views of KEPT as tables, or bring those tables up to date.

    Args:
        everywhere: anew from all records; else only what `touched_jobs` (see `sift.arrive`) names.
    """
    kept = _tables(con)
    narrow = not everywhere and kept.issuperset(KEPT)
    if narrow:
        con.execute(f"DELETE FROM body_facts WHERE {_TOUCHED}")
        # The views it reads are written out, so that they too look at these jobs alone.
        read = ", ".join(f"{view} AS ({select_of(view, scope=_TOUCHED)})" for view in ("current_jobs", "current_bodies"))
        con.execute(f"INSERT INTO body_facts WITH {read} FROM ({select_of('body_facts', scope=_TOUCHED)})")
        # each list once in `list_sets`, which is the quicker to look through; it learns of the new ones last
        new = f"{_TOUCHED} AND list NOT IN (SELECT list FROM list_sets)"
        con.execute(f"INSERT INTO list_lines {select_of('list_lines', lists=new)}")
        con.execute(f"INSERT INTO list_sets {select_of('list_sets', lines='list NOT IN (SELECT list FROM list_sets)')}")
        con.execute(f"INSERT INTO set_items {select_of('set_items', sets='items NOT IN (SELECT items FROM set_items)')}")
    for table in ("accounts", "newest_day") if narrow else KEPT:
        con.execute(f"DROP {'TABLE' if table in kept else 'VIEW'} IF EXISTS {table}")
        if table == "body_facts":
            # The database thinks that a join of bodies has few rows, and would hold these in memory, not the narrow ones they are
            # joined with; as they are written, rows also stay in the order of their records.
            con.execute("SET disabled_optimizers = 'build_side_probe_side'")
        con.execute(f"CREATE TABLE {table} AS {select_of(table)}")
        if table == "body_facts":
            con.execute("RESET disabled_optimizers")


def forget_fit(con: Any) -> None:
    """Drop what a fit has made of records that are others now."""
    for table in BY_THE_FIT:
        con.execute(f"DROP TABLE IF EXISTS {table}")


def select_of(view: str, **parts: str) -> str:
    """What a view says; `parts` narrow it where its file has a placeholder."""
    found = next(sql[head.end() :] for sql in _files() if (head := _HEAD.match(sql)) and head[1] == view)
    return _filled(found, **parts).strip().removesuffix(";")


@cache
def view_texts() -> dict[str, str]:
    """What each view says by its name, in an order in which each reads only those before it."""
    return {head[1]: select_of(head[1]) for sql in _files() if (head := _HEAD.match(sql))}


def _tables(con: Any) -> set[str]:
    return {
        row[0]
        for row in con.execute(
            "SELECT table_name FROM duckdb_tables() WHERE NOT temporary AND database_name = current_database()"
        ).fetchall()
    }


@cache
def _files() -> tuple[str, ...]:
    return tuple(file.read_text("utf-8") for file in sorted(Path(__file__).with_name("views").glob("*.sql")))


def _filled(sql: str, **parts: str) -> str:
    for placeholder, text in {**_PARTS, **parts}.items():
        sql = sql.replace(f"{{{placeholder}}}", text)
    return sql


def _union(select: str) -> str:
    return "\n    UNION ALL ".join(select.format(table=table.name) for table in TABLES.values())


def _replaced() -> str:
    rows = [
        f"SELECT '{table.name}' AS table_name, o.source_id, o.line, {key_text(table, 'o')} AS key, o.reason, o.replaced_by, "
        f"CAST(to_json(o) AS VARCHAR) AS stood FROM old_{table.name} AS o"
        for table in TABLES.values()
    ]
    closed = "SELECT table_name, source_id, line, key, rule || ', ' || closed, closed_by, stood FROM ledger WHERE closed IS NOT NULL"
    return "\n    UNION ALL ".join([*rows, closed])


_PARTS = {
    "live": _union("SELECT source_id, count(*) AS rows FROM {table} GROUP BY source_id"),
    "old": _union("SELECT source_id, line, part FROM old_{table}"),
    "replaced": _replaced(),
    "scope": "true",
    "lists": "true",
    "lines": "true",
    "sets": "true",
}
