"""From raw text to typed rows beside their accusations, one source (a file, or a sheet) at a time.

Every source is read by the database's own CSV reader with the dialect stated. A file that is not plain (quotes, another
encoding, a workbook, a mapped sheet) is first written out as a clean one with its line numbers.
"""

from __future__ import annotations

import csv
import hashlib
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.contract import TABLES, Table
from pipeline.errors import InputRefused
from pipeline.intake import TextTable
from pipeline.settings import Settings
from pipeline.sift.cells import cell_rule, literal, name
from pipeline.sift.schema import columns_ddl, key_text

CELL_COUNT = "cell-count"
"""Rule of a row that has more or fewer cells than the header: which cell is whose cannot be known."""


@dataclass(frozen=True)
class Source:
    """One file or sheet on its way in: what to read, as which source of which hand-in."""

    text: TextTable
    source_id: int
    hand_in: int
    last_date: str
    secret: bytes


def stage_tables(con: Any) -> None:
    """Empty the staging tables before a hand-in."""
    for table in TABLES.values():
        con.execute(
            f"CREATE OR REPLACE TEMP TABLE staged_{table.name} "
            f"({columns_ddl(table)}, hand_in INTEGER, source_id INTEGER, line_said BIGINT, line_shift BIGINT, "
            "fine BOOLEAN, faults VARCHAR[], stood VARCHAR[])"
        )
        # A plain file's rows lie in its own order, so their place in the table tells their physical line.
        con.execute(
            f"CREATE OR REPLACE TEMP VIEW arrived_{table.name} AS "
            f"SELECT * EXCLUDE (line_said, line_shift), coalesce(line_said, rowid + line_shift) AS line FROM staged_{table.name}"
        )


def stage(con: Any, source: Source, settings: Settings, scratch: Path, tables: Mapping[str, Table] = TABLES) -> int:
    """Read one source into its staging table and return how many data rows it had.

    Raises: InputRefused: the file cannot be read as what it seemed to be.
    """
    table = tables[source.text.table]
    if source.text.plain is not None and _stage_plain(con, table, source, settings):
        return _count(con, table, source)
    with tempfile.TemporaryDirectory(dir=scratch) as folder:
        clean = Path(folder) / "clean.csv"
        written = _write_clean(source.text, clean)
        relation = _read_csv(str(clean), [*source.text.columns, "line", "odd"], ",", quote=True, skip=0)
        con.execute(_insert(table, source, settings, relation, line="try_cast(line AS BIGINT), NULL", odd="odd = '1'"))
    read = _count(con, table, source)
    if read != written:
        raise InputRefused(
            "rows were lost in reading", where=source.text.file, got=str(read), expected=str(written), do="please keep the file and tell us"
        )
    return read


def _stage_plain(con: Any, table: Table, source: Source, settings: Settings) -> bool:
    """Let the database read the file as it lies; False where a line has too many or too few cells."""
    plain = source.text.plain
    assert plain is not None
    known = {header: column for header, column in zip(plain.headers, plain.columns, strict=True) if column}
    raw_names = [known.get(header, f"left out {at}") for at, header in enumerate(plain.headers)]
    relation = _read_csv(str(plain.path), raw_names, plain.delimiter, quote=False, skip=plain.header_line)
    base = con.execute(f"SELECT coalesce(max(rowid) + 1, 0) FROM staged_{table.name}").fetchall()[0][0]
    try:
        con.execute(_insert(table, source, settings, relation, line=f"NULL, {plain.header_line + 1 - base}", odd="false"))
    except _duckdb_error():
        return False
    return True


def _duckdb_error() -> type[Exception]:
    import duckdb

    return duckdb.Error


def _read_csv(path: str, names: list[str], delimiter: str, *, quote: bool, skip: int) -> str:
    columns = ", ".join(f"{literal(column)}: 'VARCHAR'" for column in names)
    mark = "'\"'" if quote else "''"
    return (
        f"read_csv({literal(path)}, delim={literal(delimiter)}, quote={mark}, escape={mark}, header=false, skip={skip}, "
        f"auto_detect=false, null_padding=false, columns={{{columns}}})"
    )


def _insert(table: Table, source: Source, settings: Settings, relation: str, line: str, odd: str) -> str:
    present = set(source.text.columns)
    values, faults, stood = [], [], []
    for column in table.columns:
        raw = name(column.name) if column.name in present else "NULL::VARCHAR"
        if column.private and column.name in present:
            raw = _keyed_hash(raw, source.secret)
        rule = cell_rule(
            table,
            column,
            raw,
            decimal_comma=source.text.decimal_comma,
            scale=source.text.scale.get(column.name, 1.0),
            last_date=source.last_date,
            settings=settings,
        )
        values.append(f"{rule.value} AS {name(column.name)}")
        faults.append(rule.fault)
        stood.append(raw)
    accusations = [f"(CASE WHEN {odd} THEN '{CELL_COUNT}' END)", *faults]
    fine = " AND ".join(f"({fault}) IS NULL" for fault in accusations if not fault.startswith("NULL"))
    return f"""
        INSERT INTO staged_{table.name}
        SELECT {", ".join(values)}, {source.hand_in}, {source.source_id}, {line}, {fine},
               CASE WHEN NOT ({fine}) THEN [{", ".join(accusations)}] END,
               CASE WHEN NOT ({fine}) THEN [{", ".join(stood)}] END
        FROM {relation}"""


def _keyed_hash(raw: str, secret: bytes) -> str:
    # The outer hash keeps a reader who knows one hash from extending it; the key lies outside the store.
    key = literal(secret.hex())
    return f"(CASE WHEN trim({raw}) <> '' THEN sha256({key} || sha256({key} || trim({raw}))) END)"


def hashed(text: str, secret: bytes) -> str:
    """The keyed hash under which a customer stands in the store, as the SQL makes it."""
    inner = hashlib.sha256((secret.hex() + text.strip()).encode()).hexdigest()
    return hashlib.sha256((secret.hex() + inner).encode()).hexdigest()


def _write_clean(text: TextTable, path: Path) -> int:
    width, written = len(text.columns), 0
    with path.open("w", encoding="utf-8", newline="") as file:
        # DuckDB takes a bare empty field as NULL and a quoted one as empty text: both mean not known here.
        writer = csv.writer(file, quoting=csv.QUOTE_MINIMAL, lineterminator="\n")
        for line, cells in text.rows():
            odd = len(cells) != width
            padded = (list(cells) + [""] * width)[:width] if odd else cells
            writer.writerow([*padded, line, "1" if odd else "0"])
            written += 1
    return written


def _count(con: Any, table: Table, source: Source) -> int:
    return con.execute(f"SELECT count(*) FROM staged_{table.name} WHERE source_id = {source.source_id}").fetchall()[0][0]


def write_ledger(con: Any, table: Table) -> None:
    """Enter every accusation of the staged rows that have one."""
    names = [CELL_COUNT, *table.names]
    stood = ", ".join(f"{literal(column)}: s.stood[{at}]" for at, column in enumerate(table.names, 1))
    con.execute(f"""
        INSERT INTO ledger
        SELECT '{table.name}', s.hand_in, s.source_id, s.line, NULL,
               CASE WHEN a.at > 1 THEN ({_array(names)})[a.at] END, s.faults[a.at],
               CASE WHEN a.at > 1 THEN s.stood[a.at - 1] END,
               to_json({{{stood}}}), {key_text(table, "s")}, NULL, NULL
        FROM arrived_{table.name} AS s, (SELECT unnest(generate_series(1, {len(names)})) AS at) AS a
        WHERE NOT s.fine AND s.faults[a.at] IS NOT NULL
          AND (a.at = 1 OR s.faults[1] IS NULL)""")


def _array(words: list[str]) -> str:
    return "[" + ", ".join(literal(word) for word in words) + "]"
