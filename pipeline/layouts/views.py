"""Set computations as SQL, one view a file, put together into one query that reads an edition.

A file is one SELECT in DuckDB's dialect, with standard functions wherever there is one. Its line `-- needs: a, b` names the
views it reads beside the store's own; they become common table expressions before it. Values are bound by name (`$name`).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb
    import polars as pl

_PIPELINE = Path(__file__).resolve().parent.parent
FOLDERS = (_PIPELINE / "layouts" / "sql", _PIPELINE / "trends" / "sql")
THROUGH = frozenset({"chosen", "chosen_jobs", "outcomes"})
"""Views that pass rows on without counting any: each reader scans the few columns it needs, which is quicker than to hold all of them."""
_NEEDS = re.compile(r"^-- needs: (.+)$", re.MULTILINE)
_PARAMETER = re.compile(r"\$([a-z_][a-z0-9_]*)")


@dataclass(frozen=True)
class Clause:
    """Conditions to be put behind the view `chosen`, and the values bound in them."""

    where: str = ""
    values: Mapping[str, Any] = field(default_factory=dict)


@cache
def text_of(name: str) -> str:
    """The SELECT of one view, as its file holds it.

    Raises: KeyError: there is no file of that name.
    """
    for folder in FOLDERS:
        path = folder / f"{name}.sql"
        if path.exists():
            return path.read_text("utf-8").strip()
    raise KeyError(f"no view {name!r} among {sorted(names())}")


def names() -> Iterator[str]:
    """Names of all views."""
    return (path.stem for folder in FOLDERS for path in folder.glob("*.sql"))


def needs_of(name: str) -> tuple[str, ...]:
    """The views that a view reads, as its own line says."""
    found = _NEEDS.search(text_of(name))
    return tuple(word.strip() for word in found.group(1).split(",")) if found else ()


def in_order(name: str) -> list[str]:
    """A view's needs and their needs, each once and before what reads it; the view itself last.

    >>> in_order("pairs")
    ['chosen', 'delivered_sets', 'delivered_items', 'pairs']
    """
    done: list[str] = []
    for need in needs_of(name):
        done += [each for each in in_order(need) if each not in done]
    return [*done, name]


def compose(name: str, clause: Clause | None = None) -> str:
    """One query: the views that `name` needs as common table expressions, then itself.

    Args:
        clause: the filters' conditions; without any, every body that counts.
    """
    *before, last = in_order(name)
    head = ",\n\n".join(f"{each} as {'not materialized ' if each in THROUGH else ''}(\n{_filtered(each, clause)}\n)" for each in before)
    body = f"select * from (\n{_filtered(last, clause)}\n) as answer"
    return f"with {head}\n\n{body}" if head else body


def ask(con: duckdb.DuckDBPyConnection, name: str, clause: Clause | None = None, **values: Any) -> pl.DataFrame:
    """The rows of a view.

    Args:
        con: a cursor of the caller's own, over an edition.
        values: what the view's `$names` stand for; more than it asks for is welcome.
    Returns: a frame in no promised order; sort it by what it is about.
    """
    return run(con, compose(name, clause), {**values, **(clause.values if clause else {})})


def run(con: duckdb.DuckDBPyConnection, sql: str, values: Mapping[str, Any]) -> pl.DataFrame:
    """The rows of a query, binding of `values` only what it names; without families before the first fit."""
    import polars as pl

    sql = _with_stand_ins(con, sql)
    asked = set(_PARAMETER.findall(sql))
    relation = con.sql(sql, params={key: value for key, value in values.items() if key in asked})
    frame = pl.DataFrame(relation.to_arrow_table())
    # a sum of whole numbers comes as a decimal of 38 digits
    return frame.with_columns(pl.col(name).cast(pl.Int64) for name, kind in frame.schema.items() if kind == pl.Decimal)


_STAND_INS = {
    "families": "select cast(null as bigint) as family, '' as kind, '' as name, true as live, cast(0 as bigint) as bodies, "
    "cast(0 as bigint) as of_kind, 0.0 as silhouette, '' as typical_job_id, '' as typical_body, '' as signature, "
    "cast(0 as bigint) as length_class where false",
    "family_changes": "select '' as change, cast(null as bigint) as family, cast(null as bigint) as other, cast(0 as bigint) as bodies, "
    "cast(0 as bigint) as of_bodies, '' as words where false",
}
"""What an edition that was never fitted has in place of the tables about families: no rows."""


def _with_stand_ins(con: duckdb.DuckDBPyConnection, sql: str) -> str:
    wanted = [table for table in _STAND_INS if re.search(rf"\b{table}\b", sql)]
    if not wanted:
        return sql
    known = con.execute("select table_name from information_schema.tables where table_name like 'famil%'").fetchall()
    missing = [table for table in wanted if (table,) not in known]
    if not missing:
        return sql
    head = ",\n".join(f"{table} as ({_STAND_INS[table]})" for table in missing)
    return f"with {head}, {sql.removeprefix('with ')}" if sql.startswith("with ") else f"with {head} {sql}"


def _filtered(name: str, clause: Clause | None) -> str:
    text = text_of(name)
    return f"{text}\n    and {clause.where}" if name == "chosen" and clause and clause.where else text
