"""The tables of an edition, made from the contract.

For each table of the contract: the live rows under its own name; `old_<table>`, rows that newer ones replaced;
`waiting_<table>`, rows that are rejected only because what they refer to has not come. Beside them: `sources` (what was
read from where), `ledger` (why a row is not in), `suspects` (what to look at).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

from pipeline.contract import TABLES, Table
from pipeline.sift.cells import name, sql_type

ORIGIN = "hand_in INTEGER, source_id INTEGER, line BIGINT, part INTEGER DEFAULT 0"
"""Where a row came from: number of its hand-in, which file or sheet of it, which physical line, and which of the rows that a
line of a wide sheet makes for the table."""

ACCUSATION = "accusation VARCHAR"
"""What a staged row has besides: NULL where it is fine, else a JSON text of `faults`, a rule or null a column (of the row as such
first), and `stood`, the cells as text. One narrow column: nearly every row is fine, and each column is written for all of them."""

BOOKS = """
CREATE TABLE hand_ins (hand_in INTEGER, name VARCHAR, loaded_on DATE);
CREATE TABLE sources (source_id INTEGER, hand_in INTEGER, file VARCHAR, sheet VARCHAR, table_name VARCHAR, sha256 VARCHAR,
    mapping_sha256 VARCHAR, read BIGINT, left_out BIGINT, taken_up BIGINT);
CREATE TABLE ledger (table_name VARCHAR, hand_in INTEGER, source_id INTEGER, line BIGINT, part INTEGER DEFAULT 0,
    cell VARCHAR, column_name VARCHAR, rule VARCHAR, value VARCHAR, stood VARCHAR, key VARCHAR, closed VARCHAR,
    closed_by INTEGER, stood_cast BOOLEAN);
CREATE TABLE suspects (table_name VARCHAR, key VARCHAR, rule VARCHAR, why VARCHAR, job_id VARCHAR,
    source_id INTEGER, line BIGINT, part INTEGER DEFAULT 0);
"""


def columns_ddl(table: Table) -> str:
    """Column definitions of a contract table."""
    return ", ".join(f"{name(column.name)} {sql_type(column)}" for column in table.columns)


def create_tables(con: Any, tables: Iterable[str] = TABLES, bare: Collection[str] = ()) -> None:
    """Make the empty tables of a first edition, or (of a draft folder) only some of them.

    Args:
        bare: those of them that no file brings rows for, so that none is replaced and none waits.
    """
    ddl = [BOOKS]
    for table in tables:
        columns = f"{columns_ddl(TABLES[table])}, {ORIGIN}"
        ddl.append(f"CREATE TABLE {table} ({columns});")
        if table not in bare:
            ddl.append(f"CREATE TABLE old_{table} ({columns}, replaced_by INTEGER, reason VARCHAR);")
            ddl.append(f"CREATE TABLE waiting_{table} ({columns}, lacking VARCHAR);")
    con.execute("".join(ddl))


def key_text(table: Table, alias: str = "") -> str:
    """The key of a row as one text, `job/revision/body` with the empty revision left out.

    >>> from pipeline.contract import TABLES
    >>> key_text(TABLES["vehicles"], "v")
    'v."vehicle_id"'
    """
    dot = f"{alias}." if alias else ""
    parts = [f"nullif({dot}{name(column)}, '')" if column == "revision" else f"{dot}{name(column)}" for column in table.key]
    return parts[0] if len(parts) == 1 else f"concat_ws('/', {', '.join(parts)})"


def hash_sum(columns: Iterable[str]) -> str:
    """What rows come to in a digest, in whatever order: unlike an exclusive or, a sum counts alike rows, and it can be added to."""
    return f"coalesce(sum(hash({', '.join(map(name, columns))})::HUGEINT), 0)"
