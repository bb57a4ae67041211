"""How one cell becomes a value or an accusation: SQL expressions made from a column of the contract.

A row whose cell failed its cast is accused once, for that cell; rules on other columns do not pile on.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.contract import Column, Table
from pipeline.settings import Settings

SQL_TYPES = {"number": "DOUBLE", "integer": "INTEGER", "date": "DATE", "yes_no": "BOOLEAN"}
NOT_KNOWN = ("", "?", "-", "n/a", "tbc")
YES = ("yes", "y", "true", "1")
NO = ("no", "n", "false", "0")
FIRST_DATE = "1980-01-01"


@dataclass(frozen=True)
class CellRule:
    """SQL of one column: its `value`, and `fault`: the rule it breaks, or NULL."""

    value: str
    fault: str


def sql_type(column: Column) -> str:
    """The database type of a column."""
    return SQL_TYPES.get(column.kind, "VARCHAR")


def literal(text: str) -> str:
    """A text as an SQL literal.

    >>> literal("it's")
    "'it''s'"
    """
    return "'" + text.replace("'", "''") + "'"


def name(identifier: str) -> str:
    """An identifier, quoted.

    >>> name('group')
    '"group"'
    """
    return '"' + identifier.replace('"', '""') + '"'


def cell_rule(table: Table, column: Column, raw: str, *, decimal_comma: bool, scale: float, last_date: str, settings: Settings) -> CellRule:
    """The value and the fault of a column, out of the raw text `raw` (an SQL expression)."""
    known = f"(CASE WHEN lower(trim({raw})) IN ({_list(NOT_KNOWN)}) THEN NULL ELSE trim({raw}) END)"
    missing = _missing(table, column, known)
    if column.kind in ("number", "integer"):
        return _number(table, column, known, missing, decimal_comma, scale, settings)
    if column.kind == "date":
        return _date(known, missing, last_date)
    if column.kind == "yes_no":
        value = f"(CASE WHEN lower({known}) IN ({_list(YES)}) THEN true WHEN lower({known}) IN ({_list(NO)}) THEN false END)"
        return CellRule(value, _case(missing, f"WHEN {known} IS NOT NULL AND {value} IS NULL THEN 'not-in-list'"))
    if column.kind in ("choice", "zone"):
        value = f"lower({known})"
        return CellRule(value, _case(missing, f"WHEN {value} NOT IN ({_list(column.choices)}) THEN 'not-in-list'"))
    if column.kind == "body":
        value = f"lower({known})"
        pattern = f"({'|'.join(column.choices)})(-[0-9]+)?"
        return CellRule(value, _case(missing, f"WHEN NOT regexp_full_match({value}, '{pattern}') THEN 'not-in-list'"))
    value = f"coalesce({known}, '')" if column.name == "revision" else known
    return CellRule(value, _case(missing, ""))


def _number(table: Table, column: Column, known: str, missing: str, decimal_comma: bool, scale: float, settings: Settings) -> CellRule:
    # In a semicolon file the comma is the decimal mark: a dot could be either mark, so it is refused, not guessed.
    text = f"replace({known}, ',', '.')" if decimal_comma else known
    refused = f"contains({known}, '_')" + (f" OR contains({known}, '.')" if decimal_comma else "")
    number = f"try_cast({text} AS DOUBLE)"
    value = f"({number} * {scale!r})" if scale != 1.0 else number
    low, high = settings.ranges.get(f"{table.name}.{column.name}", (column.low, column.high))
    outside = [] if low is None else [f"{value} {'<=' if column.low_open else '<'} {low!r}"]
    outside += [] if high is None else [f"{value} > {high!r}"]
    not_a_number = f"WHEN {known} IS NOT NULL AND ({number} IS NULL OR isnan({number}) OR {refused}) THEN 'not-a-number'"
    beyond = f"WHEN {' OR '.join([*outside, f'isinf({value})'])} THEN 'out-of-range'"
    whole = f"WHEN {value} <> floor({value}) THEN 'not-a-whole-number'" if column.kind == "integer" else ""
    fault = _case(missing, not_a_number, beyond, whole)
    if column.default:
        value = f"(CASE WHEN {known} IS NULL THEN {column.default} ELSE {value} END)"
    return CellRule(f"try_cast({value} AS {sql_type(column)})", fault)


def _date(known: str, missing: str, last_date: str) -> CellRule:
    # DuckDB also reads 2024/1/5, 'epoch' and 'infinity' as dates; people's files mean none of these.
    iso = f"regexp_full_match({known}, '[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}([ T]00:00:00)?')"
    value = f"(CASE WHEN {iso} THEN try_cast(left({known}, 10) AS DATE) END)"
    not_a_date = f"WHEN {known} IS NOT NULL AND {value} IS NULL THEN 'not-a-date'"
    beyond = f"WHEN {value} < DATE '{FIRST_DATE}' OR {value} > DATE '{last_date}' THEN 'out-of-range'"
    return CellRule(value, _case(missing, not_a_date, beyond))


def _missing(table: Table, column: Column, known: str) -> str:
    if not column.required:
        return ""
    return f"WHEN {known} IS NULL THEN '{'missing-key' if column.name in table.key else 'missing'}'"


def _case(*branches: str) -> str:
    told = " ".join(branch for branch in branches if branch)
    return f"(CASE {told} END)" if told else "NULL::VARCHAR"


def _list(words: tuple[str, ...]) -> str:
    return ", ".join(literal(word) for word in words)
