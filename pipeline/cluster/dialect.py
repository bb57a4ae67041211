"""DuckDB's SQL as Spark understands it: one text for both engines, transpiled by sqlglot, with what that gets wrong put right.

What is put right was found by running the project's views on both engines (see this room's README).
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sqlglot import exp


@cache
def spark_sql(duckdb_sql: str) -> str:
    """One statement in Spark's SQL; `$name` becomes `:name`, bound as before."""
    import sqlglot  # an extra: this module is looked at where it is not installed

    tree = sqlglot.parse_one(duckdb_sql, read="duckdb")
    return tree.transform(_put_right).sql("spark", unsupported_level=sqlglot.ErrorLevel.RAISE, comments=False)


def _put_right(node: exp.Expression) -> exp.Expression:
    from sqlglot import exp

    if isinstance(node, exp.WithinGroup) and isinstance(node.this, exp.PercentileCont):
        # Left alone it would become an approximation.
        return exp.Anonymous(this="PERCENTILE", expressions=[node.expression.expressions[0].this, node.this.this])
    if isinstance(node, exp.Select) and len(lists := [one for one in node.expressions if isinstance(one.unalias(), exp.Explode)]) > 1:
        # Spark makes rows of one list a SELECT: of several, zipped.
        zipped = exp.Anonymous(this="ARRAYS_ZIP", expressions=[one.unalias().this for one in lists])
        names = [exp.to_identifier(one.alias) for one in lists]
        node.set("expressions", [exp.Aliases(this=exp.Anonymous(this="INLINE", expressions=[zipped]), expressions=names)])
        return node
    if isinstance(node, exp.CTE):
        # Spark writes no common table out unless told to, and knows no word for it.
        node.set("materialized", None)
        return node
    if isinstance(node, exp.Anonymous) and node.name.upper() == "HASH":
        # Only equal or not is asked of a hash; Spark's own has 32 bits, and its sums must not overflow.
        return exp.cast(exp.Anonymous(this="XXHASH64", expressions=node.expressions), "DECIMAL(20, 0)")
    if isinstance(node, exp.Anonymous) and node.name.upper() == "LIST_POSITION":
        return exp.Anonymous(this="ARRAY_POSITION", expressions=node.expressions)
    if isinstance(node, exp.Table) and node.db == "information_schema":
        # DuckDB lists its tables there; over a lake a view of our own does.
        return exp.to_table(f"known_{node.name}")
    return node
