"""The views of an edition, a file each, made anew whenever an edition is built."""

from __future__ import annotations

from importlib import resources
from typing import Any

from pipeline.contract import TABLES
from pipeline.sift.schema import key_text


def create_views(con: Any) -> None:
    """Make or renew the views that commands and pages read."""
    folder = resources.files("pipeline.store") / "views"
    for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if file.name.endswith(".sql"):
            sql = file.read_text("utf-8")
            for placeholder, text in _PARTS.items():
                sql = sql.replace(f"{{{placeholder}}}", text)
            con.execute(sql)


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
}
