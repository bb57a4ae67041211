"""Before an edition goes out: does every row have its place, and what are its tables' digests?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.contract import TABLES
from pipeline.errors import Fault, StoreBroken
from pipeline.sift.cells import name
from pipeline.sift.schema import hash_sum

_ORIGIN = ("hand_in", "source_id", "line", "part", "replaced_by", "closed_by", "sha256", "mapping_sha256")


def audit(con: Any) -> dict[str, int]:
    """Check that read = kept + suspect + rejected + superseded for every file, and count the live rows.

    Raises: StoreBroken: an account does not add up; nothing is published then.
    """
    odd = con.execute(
        'SELECT hand_in, file, "table", read, kept, suspect, rejected, superseded FROM accounts '
        "WHERE read <> kept + suspect + rejected + superseded OR kept < 0"
    ).fetchall()
    if odd:
        raise StoreBroken(
            [
                Fault(
                    "the account does not add up",
                    where=f"{hand_in}: {file}, {table}",
                    got=f"{kept} kept, {suspect} suspect, {rejected} rejected, {superseded} superseded",
                    expected=f"{read} read",
                    do="nothing was changed; please keep the files and tell us",
                )
                for hand_in, file, table, read, kept, suspect, rejected, superseded in odd
            ]
        )
    return {table: con.execute(f"SELECT count(*) FROM {table}").fetchall()[0][0] for table in TABLES}


def digests(con: Any, before: Mapping[str, str] | None = None) -> dict[str, str]:
    """A digest a table, of its rows in any order; where and when a row came from is left out of it.

    Args:
        before: what the live tables had before the rows that `moves` (see `sift.arrive`) tells of came and went; without it, all
            their rows are read.
    """
    kept = [*(f"old_{table}" for table in TABLES), *(f"waiting_{table}" for table in TABLES), "ledger", "suspects"]
    live = {table: _digest(con, table) for table in TABLES} if before is None else _moved(con, before)
    return live | {table: _digest(con, table) for table in kept}


def _digest(con: Any, table: str) -> str:
    columns = [row[0] for row in con.execute(f"DESCRIBE {table}").fetchall()]
    total = hash_sum(column for column in columns if column not in _ORIGIN)
    return _said(*con.execute(f"SELECT count(*), {total} FROM {table}").fetchall()[0])


def _moved(con: Any, before: Mapping[str, str]) -> dict[str, str]:
    found = {table: (int(count), int(total, 16)) for table, (count, total) in ((table, before[table].split(":")) for table in TABLES)}
    for table, rows, hashes in con.execute("FROM moves").fetchall():
        count, total = found[table]
        found[table] = count + rows, total + hashes
    return {table: _said(*parts) for table, parts in found.items()}


def _said(count: int, total: int) -> str:
    return f"{count}:{total:x}"


def digest_maker() -> str:
    """What made a digest: the database's hashes may change from one version of it to the next."""
    import duckdb

    return f"duckdb {duckdb.__version__}"


def records_to(con: Any) -> str | None:
    """The date of the newest record, or None where no record has one."""
    dates = " UNION ALL ".join(
        f"SELECT max({name(column)}) AS d FROM {table}"
        for table, columns in {"jobs": ("quoted_on", "ordered_on", "delivered_on", "lost_on"), "weighings": ("weighed_on",)}.items()
        for column in columns
    )
    newest = con.execute(f"SELECT max(d) FROM ({dates})").fetchall()[0][0]
    return newest.isoformat() if newest else None
