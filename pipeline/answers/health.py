"""How sound the records are: hand-ins, accounts, ledger, suspects, and what is written down since when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipeline.answers.files import Rows
from pipeline.contract import TABLES
from pipeline.settings import Settings
from pipeline.sift.cells import literal, name

_DATED = {
    "jobs": ("current_jobs", "dated_on"),
    "bodies": ("current_bodies", "dated_on"),
}
_KEYS = {"job_id", "revision", "body", "status", "vehicle_id"}
"""Columns that every row has: their completeness says nothing."""


@dataclass(frozen=True)
class LedgerFilter:
    """Which entries of the ledger are looked at; an empty field leaves nothing out."""

    hand_ins: tuple[str, ...] = ()
    tables: tuple[str, ...] = ()
    rules: tuple[str, ...] = ()
    words: str = ""


def hand_ins(con: Any, _settings: Settings) -> Rows:
    """What was handed in, newest last: `hand_in, loaded_on, files, read, kept, suspect, rejected, superseded, left_out, taken_up`."""
    return Rows.query(
        con,
        """
        SELECT h.name AS hand_in, h.loaded_on, count(DISTINCT a.file) AS files,
               CAST(coalesce(sum(a.read), 0) AS BIGINT) AS read, CAST(coalesce(sum(a.kept), 0) AS BIGINT) AS kept,
               CAST(coalesce(sum(a.suspect), 0) AS BIGINT) AS suspect, CAST(coalesce(sum(a.rejected), 0) AS BIGINT) AS rejected,
               CAST(coalesce(sum(a.superseded), 0) AS BIGINT) AS superseded, CAST(coalesce(sum(a.left_out), 0) AS BIGINT) AS left_out,
               CAST(coalesce(sum(a.taken_up), 0) AS BIGINT) AS taken_up
        FROM hand_ins AS h LEFT JOIN accounts AS a ON a.hand_in = h.name
        GROUP BY h.hand_in, h.name, h.loaded_on ORDER BY h.hand_in""",
    )


def accounts(con: Any, _settings: Settings) -> Rows:
    """What became of every row, by file and table."""
    return Rows.query(con, 'SELECT hand_in, file, "table", read, kept, suspect, rejected, superseded, left_out, taken_up FROM accounts')


def ledger(con: Any, _settings: Settings, only: LedgerFilter) -> Rows:
    """Rows that could not be kept and still stand rejected, each with its reason."""
    where, values = _conditions(only)
    return Rows.query(con, f"SELECT * FROM rejects{where}", values)


def ledger_choices(con: Any, _settings: Settings) -> dict[str, list[str]]:
    """Hand-ins, tables and rules that the ledger knows, for its filters."""
    columns = {"hand_ins": "hand_in", "tables": '"table"', "rules": "rule"}
    return {
        key: [row[0] for row in con.execute(f"SELECT DISTINCT {column} FROM rejects ORDER BY 1").fetchall()]
        for key, column in columns.items()
    }


def reasons(con: Any, _settings: Settings) -> Rows:
    """How often each rule rejected or marked a row: `rule, state, rows`, the most frequent first."""
    return Rows.query(
        con,
        """
        SELECT rule, 'rejected' AS state, count(*) AS rows FROM rejects GROUP BY rule
        UNION ALL SELECT rule, 'suspect', count(*) FROM suspects GROUP BY rule
        ORDER BY rows DESC, rule""",
    )


def suspects(con: Any, _settings: Settings) -> Rows:
    """Rows that were kept but want a look: `table, key, rule, why`."""
    return Rows.query(con, "SELECT * FROM suspect_rows")


def completeness(con: Any, _settings: Settings, table: str) -> Rows:
    """Share of rows that say something, a row a column and quarter: `column, quarter, share, known, rows`.

    Args:
        table: `jobs` or `bodies`; columns come in the contract's order, keys left out.
    """
    view, dated = _DATED[table]
    columns = [column.name for column in TABLES[table].columns if column.name not in _KEYS and not column.private]
    counted = ", ".join(f"count({name(column)}) AS {name(column)}" for column in columns)
    ordered = " ".join(f"WHEN {literal(column)} THEN {place}" for place, column in enumerate(columns))
    listed = ", ".join(name(column) for column in columns)
    return Rows.query(
        con,
        f"""
        WITH quarters AS (
            SELECT concat(CAST(year({dated}) AS VARCHAR), '-Q', CAST(quarter({dated}) AS VARCHAR)) AS quarter, count(*) AS rows, {counted}
            FROM {view} WHERE {dated} IS NOT NULL GROUP BY 1
        ), long AS (UNPIVOT quarters ON {listed} INTO NAME "column" VALUE known)
        SELECT "column", quarter, known / rows AS share, known, rows FROM long ORDER BY CASE "column" {ordered} END, quarter""",
    )


def _conditions(only: LedgerFilter) -> tuple[str, list[str]]:
    parts: list[str] = []
    values: list[str] = []
    for column, chosen in (("hand_in", only.hand_ins), ('"table"', only.tables), ("rule", only.rules)):
        if chosen:
            parts.append(f"{column} IN ({', '.join('?' for _ in chosen)})")
            values += chosen
    if only.words:
        parts.append('contains(lower(concat_ws(chr(31), value, "column", file, row)), lower(?))')
        values.append(only.words)
    return (f" WHERE {' AND '.join(parts)}" if parts else ""), values
