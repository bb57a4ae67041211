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
    """SQL of one column, in three steps that build on each other: `known` of the raw text, `value` of what is known,
    `fault` (the rule it breaks, or NULL) of both."""

    known: str
    value: str
    fault: str


@dataclass(frozen=True)
class CellNames:
    """What the raw text, the known text and the value are called in the query around the expressions."""

    raw: str
    known: str
    value: str


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


def cell_rule(
    table: Table,
    column: Column,
    names: CellNames,
    *,
    padded: bool,
    odd_numbers: bool,
    decimal_comma: bool,
    scale: float,
    last_date: str,
    settings: Settings,
) -> CellRule:
    """The three steps of a column, over the names that they have in the query around them.

    Args:
        padded: a cell may begin or end with blanks, which are taken off; that looks at every character, and most files need it not.
        odd_numbers: a cell may hold what the database takes for part of a number and people do not, `_` or `+-`; looked for likewise.
    """
    text = f"trim({names.raw})" if padded else names.raw
    if column.kind in ("number", "integer"):
        return CellRule(text, *_number(table, column, names, odd_numbers, decimal_comma, scale, settings))
    known = _known(text)
    missing = _missing(table, column, names.known)
    if column.kind == "date":
        return CellRule(known, *_date(names, missing, last_date))
    if column.kind == "yes_no":
        value = f"(CASE WHEN lower({names.known}) IN ({_list(YES)}) THEN true WHEN lower({names.known}) IN ({_list(NO)}) THEN false END)"
        return CellRule(known, value, _case(missing, f"WHEN {names.known} IS NOT NULL AND {names.value} IS NULL THEN 'not-in-list'"))
    if column.kind in ("choice", "zone") and column.name not in table.key:
        # What is not in the list has no value: a long list is looked through once a cell.
        lower = f"lower({names.known})"
        inside = f"IN ({_list(column.choices)})"
        value = f"(CASE WHEN {names.known} {inside} THEN {names.known} WHEN {lower} {inside} THEN {lower} END)"
        return CellRule(known, value, _case(missing, f"WHEN {names.known} IS NOT NULL AND {names.value} IS NULL THEN 'not-in-list'"))
    if column.kind in ("choice", "zone"):
        return CellRule(
            known, _lower(column, names), _case(missing, f"WHEN {names.value} NOT IN ({_list(column.choices)}) THEN 'not-in-list'")
        )
    if column.kind == "body":
        # Nearly all bodies are one of the plain words: a pattern is matched for the few that are not.
        pattern = f"({'|'.join(column.choices)})(-[0-9]+)?"
        plain = f"{names.value} NOT IN ({_list(column.choices)})"
        odd = f"WHEN {plain} AND NOT regexp_full_match({names.value}, '{pattern}') THEN 'not-in-list'"
        return CellRule(known, _lower(column, names), _case(missing, odd))
    value = f"coalesce({names.known}, '')" if column.name == "revision" else names.known
    return CellRule(known, value, _case(missing))


def _known(text: str) -> str:
    # Most cells are longer than any word for not known: those need no look at the words.
    longest = max(len(word) for word in NOT_KNOWN)
    return f"(CASE WHEN strlen({text}) > {longest} OR lower({text}) NOT IN ({_list(NOT_KNOWN)}) THEN {text} END)"


def _lower(column: Column, names: CellNames) -> str:
    # Most words come as the contract writes them: those need no change, which would be made letter by letter.
    return f"(CASE WHEN {names.known} IN ({_list(column.choices)}) THEN {names.known} ELSE lower({names.known}) END)"


def _number(
    table: Table, column: Column, names: CellNames, odd_numbers: bool, decimal_comma: bool, scale: float, settings: Settings
) -> tuple[str, str]:
    # No word for not known is a number: only what is none is compared with them.
    known = _known(names.known)
    # In a semicolon file the comma is the decimal mark: a dot could be either mark, so it is refused, not guessed.
    text = f"replace({names.known}, ',', '.')" if decimal_comma else names.known
    refused = [f"isnan({names.value})"]
    refused += [f"contains({names.known}, '_')", f"starts_with({names.known}, '+-')"] if odd_numbers else []
    refused += [f"contains({names.known}, '.')"] if decimal_comma else []
    number = f"try_cast({text} AS DOUBLE)" + (f" * {scale!r}" if scale != 1.0 else "")
    value = f"coalesce({number}, CASE WHEN {known} IS NULL THEN {column.default} END)" if column.default else number
    low, high = settings.ranges.get(f"{table.name}.{column.name}", (column.low, column.high))
    beyond = [] if low is None else [f"{names.value} {'<=' if column.low_open else '<'} {low!r}"]
    beyond += [] if high is None else [f"{names.value} > {high!r}"]
    beyond += [f"isinf({names.value})"] if len(beyond) < 2 else []
    no_number = _case(_missing(table, column, known), f"WHEN {known} IS NOT NULL THEN 'not-a-number'")
    return value, _case(
        f"WHEN {names.value} IS NULL THEN {no_number}",
        f"WHEN {' OR '.join(refused)} THEN 'not-a-number'",
        f"WHEN {' OR '.join(beyond)} THEN 'out-of-range'",
        f"WHEN {names.value} <> floor({names.value}) THEN 'not-a-whole-number'" if column.kind == "integer" else "",
    )


def _date(names: CellNames, missing: str, last_date: str) -> tuple[str, str]:
    # DuckDB also reads 2024/1/5, 'epoch' and 'infinity' as dates; people's files mean none of these.
    # A text that the date itself would be written as is what it seems; a pattern is matched for the few others.
    date = f"try_cast({names.known} AS DATE)"
    iso = f"regexp_full_match({names.known}, '[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}([ T]00:00:00)?')"
    longer = f"WHEN {iso} THEN try_cast(left({names.known}, 10) AS DATE)"
    return f"(CASE WHEN CAST({date} AS VARCHAR) = {names.known} AND strlen({names.known}) = 10 THEN {date} {longer} END)", _case(
        missing,
        f"WHEN {names.known} IS NOT NULL AND {names.value} IS NULL THEN 'not-a-date'",
        f"WHEN {names.value} < DATE '{FIRST_DATE}' OR {names.value} > DATE '{last_date}' THEN 'out-of-range'",
    )


def _missing(table: Table, column: Column, known: str) -> str:
    if not column.required:
        return ""
    return f"WHEN {known} IS NULL THEN '{'missing-key' if column.name in table.key else 'missing'}'"


def _case(*branches: str) -> str:
    told = " ".join(branch for branch in branches if branch)
    return f"(CASE {told} END)" if told else "NULL::VARCHAR"


def _list(words: tuple[str, ...]) -> str:
    return ", ".join(literal(word) for word in words)
