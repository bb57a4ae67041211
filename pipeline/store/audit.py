"""Before an edition goes out: does every row have its place, and what are its tables' digests?"""

from __future__ import annotations

from typing import Any

from pipeline.contract import TABLES
from pipeline.errors import Fault, StoreBroken
from pipeline.sift.cells import name

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


def digests(con: Any) -> dict[str, str]:
    """A digest a table, of its rows in any order; where and when a row came from is left out of it."""
    named = [*TABLES, *(f"old_{table}" for table in TABLES), *(f"waiting_{table}" for table in TABLES), "ledger", "suspects"]
    return {table: _digest(con, table) for table in named}


def _digest(con: Any, table: str) -> str:
    columns = [row[0] for row in con.execute(f"DESCRIBE {table}").fetchall()]
    told = ", ".join(name(column) for column in columns if column not in _ORIGIN)
    # A sum of hashes does not depend on the order of rows, and unlike an exclusive or it counts alike rows.
    count, total = con.execute(f"SELECT count(*), coalesce(sum(hash({told})::HUGEINT), 0) FROM {table}").fetchall()[0]
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
