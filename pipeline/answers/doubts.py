"""What the mass model doubts: readings far from what their parts add up to, and lists that seem short, dearest first.

Made at each fit and kept with its edition. Nothing of it is left out of any count: a person settles it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from pipeline.answers.files import Rows
from pipeline.settings import Settings

if TYPE_CHECKING:
    from pipeline.mass.fit import Fitted
    from pipeline.mass.missing import ShortList
    from pipeline.settings_mass import MassSettings

FAR_OFF, SHORT_LIST = "far-off", "list-seems-short"
"""Rules under which a doubt is settled."""

_TABLE = "doubted"
STILL_DOUBTED = f"""(
    SELECT * FROM {_TABLE} AS d
    WHERE NOT EXISTS (SELECT 1 FROM settlements AS s
                      WHERE s."table" = d."table" AND s.key = d.key AND coalesce(s.rule, d.rule) = d.rule))"""
"""What a fit doubts and nobody has settled since, to select from where `has_doubts`."""

_COLUMNS = {
    "table": "VARCHAR", "key": "VARCHAR", "rule": "VARCHAR", "why": "VARCHAR", "column": "VARCHAR", "value_kg": "DOUBLE",
    "expected_kg": "DOUBLE", "probably_kg": "DOUBLE", "excess_kg": "DOUBLE", "probability": "DOUBLE", "cost": "DOUBLE",
}  # fmt: skip


def write_doubts(con: Any, fitted: Fitted, lists: Sequence[ShortList], settings: MassSettings) -> None:
    """Keep what a fit doubts in the edition under construction."""
    from pipeline.mass.suspects import suspects

    con.execute(f"CREATE OR REPLACE TABLE {_TABLE} ({', '.join(f'{_quoted(name)} {kind}' for name, kind in _COLUMNS.items())})")
    far = suspects(fitted, settings)
    rows: list[tuple[Any, ...]] = [
        (one.table, one.key, FAR_OFF, one.why, one.column, one.value_kg, one.expected_kg, one.probably_kg, None, None, None) for one in far
    ]
    # A reading that is far off is one question, not two.
    told = {one.key for one in far if one.table == "bodies"}
    rows += [
        ("bodies", one.key, SHORT_LIST, one.why, None, None, None, None, one.excess_kg, one.probability, one.cost)
        for one in lists
        if one.key not in told
    ]
    if rows:
        con.executemany(f"INSERT INTO {_TABLE} VALUES ({', '.join('?' for _ in _COLUMNS)})", rows)


def forget_doubts(con: Any) -> None:
    """Leave no doubts of an older model in the edition under construction."""
    con.execute(f"DROP TABLE IF EXISTS {_TABLE}")


def has_doubts(con: Any) -> bool:
    """Whether the edition holds what a fit doubts."""
    return bool(con.execute("SELECT 1 FROM information_schema.tables WHERE table_name = ?", [_TABLE]).fetchall())


def doubts(con: Any, _settings: Settings) -> Rows:
    """The export `doubts`: `table, key, rule, why, column, value_kg, expected_kg, probably_kg, excess_kg, probability, cost`.

    Readings far off come first, the furthest first; then lists that seem short, by the share of the model's misfit that each
    makes (`cost`). What a person has settled since the fit is left out; empty before a first fit.
    """
    if not has_doubts(con):
        return Rows(tuple(_COLUMNS), [])
    return Rows.query(
        con,
        f"""
        SELECT * FROM {STILL_DOUBTED}
        ORDER BY cost IS NOT NULL, cost DESC, abs(ln(value_kg / expected_kg)) DESC, probability DESC, "table", key""",
    )


def _quoted(name: str) -> str:
    return f'"{name}"'
