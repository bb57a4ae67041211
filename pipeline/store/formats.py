"""Editions of older formats: read through views that give them today's columns, and written anew by the next load or fit.

A column that an older edition lacks has its default there, or is not known; `tarebook rebuild` fills it from the originals.
A table that a fit has made (families, estimates) is taken as it is: the next fit makes it anew. What is kept of the records
for pages to count by is made anew from them.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from pipeline.sift import create_tables
from pipeline.sift.cells import literal, name
from pipeline.store.schema import BY_THE_FIT, KEPT, create_views

_OLDER = "older_edition"


def read_as_today(con: Any, database: Path) -> None:
    """Show an older edition's database in an empty one in memory, as if it had today's tables and views."""
    for table, select in _attached(con, database):
        con.execute(f"CREATE VIEW {name(table)} AS {select}")
    create_views(con)


def write_as_today(database: Path, target: Path) -> None:
    """Copy an older edition's database into a new one of today's format."""
    import duckdb

    with duckdb.connect(str(target)) as con:
        create_tables(con)
        for table, select in _attached(con, database):
            con.execute(f"INSERT INTO {name(table)} {select}" if table in _today() else f"CREATE TABLE {name(table)} AS {select}")
        con.execute(f"DETACH {_OLDER}")
        create_views(con)


def _attached(con: Any, database: Path) -> Iterator[tuple[str, str]]:
    """Each table of the older database, and what selects its rows with today's columns in today's order."""
    con.execute(f"ATTACH {literal(str(database))} AS {_OLDER} (READ_ONLY)")
    theirs = _columns(con, _OLDER)
    for table, columns in {**theirs, **_today()}.items():
        if table in (*KEPT, *BY_THE_FIT):
            continue
        there = theirs.get(table, {})
        told = ", ".join(name(column) if column in there else f"{absent} AS {name(column)}" for column, absent in columns.items())
        yield table, f"SELECT {told} FROM {_OLDER}.{name(table)}" if there else f"SELECT {told} LIMIT 0"


@cache
def _today() -> dict[str, dict[str, str]]:
    import duckdb

    with duckdb.connect() as con:
        create_tables(con)
        return _columns(con, "memory")


def _columns(con: Any, of: str) -> dict[str, dict[str, str]]:
    """Columns of each table, with an expression for what a row has where it lacks one."""
    found: dict[str, dict[str, str]] = {}
    for table, column, kind, default in con.execute(
        "SELECT table_name, column_name, data_type, column_default FROM duckdb_columns() "
        "JOIN duckdb_tables() USING (database_name, table_name) WHERE database_name = ? ORDER BY table_name, column_index",
        [of],
    ).fetchall():
        found.setdefault(table, {})[column] = f"CAST({default or 'NULL'} AS {kind})"
    return found
