"""From raw text to typed rows beside their accusations, one source (a file, or a sheet) at a time.

Every source is read by the database's own CSV reader with the dialect stated. A file that is not plain (quotes, another
encoding, a workbook, a mapped sheet) is first written out as a clean one with its line numbers.
"""

from __future__ import annotations

import csv
import hashlib
import json
import re
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from pipeline.contract import TABLES, Column, Table
from pipeline.errors import InputRefused
from pipeline.intake import Ragged, TextTable
from pipeline.intake.texttable import Cells, PlainCsv
from pipeline.settings import Settings
from pipeline.sift.cells import CellNames, CellRule, cell_rule, literal, name, sql_type
from pipeline.sift.schema import ACCUSATION, ORIGIN, columns_ddl, key_text

CELL_COUNT = "cell-count"
"""Rule of a row that has more or fewer cells than the header: which cell is whose cannot be known."""

FEW_ROWS = 10_000
"""Of as few rows, the database spends more on finding a better plan for a statement than the statement takes."""

STRETCH_ROWS = 100_000
"""A shorter stretch of a file is not worth a connection of its own."""

HASHED = "[0-9a-f]{64}"
"""What a keyed hash looks like: in a file that a store wrote, or in an original that was made to forget somebody."""


@dataclass(frozen=True)
class Source:
    """One file or sheet on its way in: what to read, as which source of which hand-in."""

    text: TextTable
    source_id: int
    hand_in: int
    last_date: str
    secret: bytes


def stage_tables(con: Any, tables: Iterable[str] = TABLES, *, first: bool = False) -> None:
    """Make the staging tables of a hand-in: like the live ones, with what is wrong with each row.

    Args:
        first: nothing is in yet. They are ordinary tables then: they become the live ones, and are written once.
    """
    kind = "TABLE" if first else "TEMP TABLE"
    con.execute("".join(f"CREATE {kind} staged_{table} ({columns_ddl(TABLES[table])}, {ORIGIN}, {ACCUSATION});" for table in tables))


@contextmanager
def planned_as_written(con: Any, rows: int) -> Iterator[None]:
    """Have statements of this block run as they are written where few rows are at stake, not in a plan that the database seeks first."""
    if rows > FEW_ROWS:
        yield
        return
    con.execute("PRAGMA disable_optimizer")
    try:
        yield
    finally:
        con.execute("PRAGMA enable_optimizer")


def stage(con: Any, source: Source, settings: Settings, scratch: Path, tables: Mapping[str, Table] = TABLES) -> int:
    """Read one source into its staging table and return how many data rows it had.

    Raises: InputRefused: the file cannot be read as what it seemed to be.
    """
    table = tables[source.text.table]
    plain = source.text.plain
    if plain is not None and (read := _stage_plain(con, table, source, settings, 0, plain.rows)) is not None:
        return read
    with tempfile.TemporaryDirectory(dir=scratch) as folder:
        clean = Path(folder) / "clean.csv"
        written = _write_clean(source.text, clean)
        relation = _read_csv(str(clean), [*source.text.columns, "line", "part", "odd"], ",", quote=True, skip=0)
        origin = "try_cast(line AS BIGINT) AS line, try_cast(part AS INTEGER) AS part"
        read = _inserted(con, _insert(table, source, settings, relation, origin, None), written)
    _check_all_read(source, read, written)
    return read


def stage_at_once(con: Any, sources: Sequence[Source], settings: Settings, scratch: Path) -> list[int]:
    """As `stage`, every source of a first hand-in, whose staging tables all connections see: plain files by several of them.

    Rows come to lie by source and line, whoever is done first.
    """
    from concurrent.futures import ThreadPoolExecutor

    threads = settings.store.threads
    # A stretch keeps its order by its line numbers. Told to keep it in general, the database would write some tables twice.
    con.execute("SET preserve_insertion_order = false")
    with ThreadPoolExecutor(threads) as pool:
        # The longest first, so that no thread is left alone with one at the end.
        begun = {
            source.source_id: [
                pool.submit(_stage_stretch, con.cursor(), source, settings, start, rows)
                for start, rows in _stretches(source.text.plain, threads)
            ]
            for source in sorted(sources, key=_plain_rows, reverse=True)
        }
    con.execute("RESET preserve_insertion_order")
    return [_settled(con, source, [stretch.result() for stretch in begun[source.source_id]], settings, scratch) for source in sources]


def _plain_rows(source: Source) -> int:
    return source.text.plain.rows if source.text.plain else 0


def _stretches(plain: PlainCsv | None, threads: int) -> list[tuple[int, int]]:
    """First row and number of rows of each part of a plain file that one connection reads."""
    if plain is None:
        return []
    each = max(STRETCH_ROWS, -(-plain.rows // threads))
    return [(start, min(each, plain.rows - start)) for start in range(0, plain.rows, each)]


def _stage_stretch(con: Any, source: Source, settings: Settings, start: int, rows: int) -> tuple[Any, int | None]:
    con.execute("BEGIN")
    return con, _stage_plain(con, TABLES[source.text.table], source, settings, start, rows)


def _settled(con: Any, source: Source, stretches: list[tuple[Any, int | None]], settings: Settings, scratch: Path) -> int:
    """Let the stretches of a source stand, or read it all in the careful way."""
    read = [rows for _, rows in stretches if rows is not None]
    whole = len(read) == len(stretches) > 0
    for stretch, _ in stretches:
        stretch.execute("COMMIT" if whole else "ROLLBACK")
        stretch.close()
    return sum(read) if whole else stage(con, replace(source, text=replace(source.text, plain=None)), settings, scratch)


def _stage_plain(con: Any, table: Table, source: Source, settings: Settings, start: int, rows: int) -> int | None:
    """Let the database read a stretch of the file as it lies; None where a line has too many or too few cells."""
    plain = source.text.plain
    assert plain is not None
    before = plain.header_line + start
    relation = _read_csv(str(plain.path), _place_names(source.text), plain.delimiter, quote=False, skip=before)
    # A record is a line here, and the window hands rows on in the file's own order.
    origin = f"row_number() OVER () + {before} AS line, 0 AS part"
    statement = _insert(table, source, settings, f"{relation} LIMIT {rows}", origin, plain)
    try:
        read = _inserted(con, statement, rows)
    except _duckdb_error():
        return None
    _check_all_read(source, read, rows)
    return read


def _check_all_read(source: Source, read: int, there: int) -> None:
    if read != there:
        raise InputRefused(
            "rows were lost in reading", where=source.text.file, got=str(read), expected=str(there), do="please keep the file and tell us"
        )


def _inserted(con: Any, statement: str, rows: int) -> int:
    with planned_as_written(con, rows):
        return con.execute(statement).fetchall()[0][0]


def _place_names(text: TextTable) -> list[str]:
    """A name for every place of a plain file's header: the contract's column, or one that nobody asks for."""
    assert text.plain is not None
    known = iter(text.columns)
    return [
        f"left out {at}" if not header.strip() or header in text.unknown_columns else next(known)
        for at, header in enumerate(text.plain.header)
    ]


def _duckdb_error() -> type[Exception]:
    import duckdb

    return duckdb.Error


def _read_csv(path: str, names: list[str], delimiter: str, *, quote: bool, skip: int) -> str:
    columns = ", ".join(f"{literal(column)}: 'VARCHAR'" for column in names)
    mark = "'\"'" if quote else "''"
    # Of a file of our own we know its line ends, and a cell may hold others; of a plain one the reader finds them out.
    ends = ", new_line='\\r\\n'" if quote else ""
    return (
        f"read_csv({literal(path)}, delim={literal(delimiter)}, quote={mark}, escape={mark}, header=false, skip={skip}, "
        f"auto_detect=false, null_padding=false{ends}, columns={{{columns}}})"
    )


def _insert(table: Table, source: Source, settings: Settings, relation: str, origin: str, plain: PlainCsv | None) -> str:
    """One statement, a step a layer, so that no expression is written out (or reckoned) more than once.

    Args:
        plain: the file as it lies, or None for the clean one, which says which rows have too many or too few cells.
    """
    odd = "odd" if plain is None else "NULL::VARCHAR"
    raws, knowns, values, faults = [f"{odd} AS odd"], [], [], [f"(CASE WHEN odd IS NOT NULL THEN '{CELL_COUNT}' END) AS f0"]
    came = {at: column for at, column in enumerate(table.columns, 1) if column.name in source.text.columns}
    value_names = {}
    for at, column in came.items():
        told = partial(
            cell_rule,
            table,
            column,
            padded=plain is not None and plain.padded,
            odd_numbers=plain is None or plain.odd_numbers,
            decimal_comma=source.text.decimal_comma,
            scale=source.text.scale.get(column.name, 1.0),
            last_date=source.last_date,
            settings=settings,
        )
        names, rule = _shortest(told, CellNames(f"r{at}", f"k{at}", f"v{at}"))
        cell = name(column.name)
        raws.append(f"{_keyed_hash(cell, source.secret) if column.private else cell} AS {names.raw}")
        knowns += [f"{rule.known} AS {names.known}"] if names.known != names.raw else []
        values += [f"{rule.value} AS {names.value}"] if names.value != names.known else []
        faults.append(f"{rule.fault} AS f{at}")
        value_names[at] = names.value
    fine = " AND ".join(f"f{at} IS NULL" for at in (0, *came))
    finals = [
        f"try_cast({value_names[at]} AS {sql_type(column)})" if at in came else _absent(column)
        for at, column in enumerate(table.columns, 1)
    ]
    all_faults = ", ".join(f"f{at}" if at in came or at == 0 else "NULL" for at in range(len(table.columns) + 1))
    all_cells = ", ".join(f"r{at}" if at in came else "NULL" for at in range(1, len(table.columns) + 1))
    return f"""
        INSERT INTO staged_{table.name}
        SELECT {", ".join(finals)}, {source.hand_in}, {source.source_id}, line, part,
               CASE WHEN NOT fine THEN CAST(to_json({{faults: [{all_faults}], stood: [odd, {all_cells}]}}) AS VARCHAR) END
        FROM (SELECT *, {fine} AS fine
        FROM (SELECT *, {", ".join(faults)}
        FROM (SELECT {", ".join(["*", *values])}
        FROM (SELECT {", ".join(["*", *knowns])}
        FROM (SELECT {", ".join(raws)}, {origin} FROM {relation})))))"""


def _shortest(told: Callable[[CellNames], CellRule], names: CellNames) -> tuple[CellNames, CellRule]:
    """The names and the rule of a column in which a step that changes nothing has no name of its own."""
    if told(names).known == names.raw:
        names = replace(names, known=names.raw)
    if told(names).value == names.known:
        names = replace(names, value=names.known)
    return names, told(names)


def _absent(column: Column) -> str:
    """The value of a column that the file does not have; the header was refused if a required one was missing."""
    return "''" if column.name == "revision" else column.default or "NULL"


def _keyed_hash(raw: str, secret: bytes) -> str:
    # The outer hash keeps a reader who knows one hash from extending it; the key lies outside the store.
    key, said = literal(secret.hex()), f"trim({raw})"
    hashed = f"sha256({key} || sha256({key} || {said}))"
    return f"(CASE WHEN regexp_full_match({said}, '{HASHED}') THEN {said} WHEN {said} <> '' THEN {hashed} END)"


def hash_customer(text: str, secret: bytes) -> str:
    """The keyed hash under which a customer stands in the store, as the SQL makes it; a hash stays as it is."""
    said = text.strip()
    if re.fullmatch(HASHED, said):
        return said
    inner = hashlib.sha256((secret.hex() + said).encode()).hexdigest()
    return hashlib.sha256((secret.hex() + inner).encode()).hexdigest()


def _write_clean(text: TextTable, path: Path) -> int:
    written = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\r\n")
        for line, part, cells in _parted(text):
            odd = f"{len(cells.stood)} cells" if isinstance(cells, Ragged) else None
            writer.writerow([*(cell and cell.strip() for cell in cells), line, part, odd])
            written += 1
    return written


def _parted(text: TextTable) -> Iterator[tuple[int, int, Cells]]:
    """Each row with its line and its number among the rows that the line makes."""
    last, part = 0, 0
    for line, cells in text.rows():
        part = part + 1 if line == last else 0
        last = line
        yield line, part, cells


def restore_cells(con: Any, sources: Sequence[Source], scratch: Path) -> None:
    """Let the ledger show rows as they stood where casting or a wrong number of cells hid it, and cells of sheets by address."""
    wanted: dict[int, dict[tuple[int, int], list[str | None]]] = {}
    for source_id, line, part, column in con.execute(
        f"SELECT DISTINCT source_id, line, part, column_name FROM ledger WHERE source_id IN (SELECT unnest(?)) "
        f"AND (stood_cast OR rule = '{CELL_COUNT}' OR source_id IN (SELECT unnest(?)))",
        [[source.source_id for source in sources], [source.source_id for source in sources if source.text.sheet is not None]],
    ).fetchall():
        wanted.setdefault(source_id, {}).setdefault((line, part), []).append(column)
    for source in sources:
        if source.source_id in wanted:
            _restore(con, source, wanted[source.source_id], scratch)


def _restore(con: Any, source: Source, wanted: Mapping[tuple[int, int], Sequence[str | None]], scratch: Path) -> None:
    """The rows of one source.

    Args:
        wanted: columns (none: the row as such) by line and part.
    """
    item = source.text.columns.index("item_id") if "item_id" in source.text.columns else None
    with tempfile.TemporaryDirectory(dir=scratch) as folder:
        path = Path(folder) / "stood.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\r\n")
            for line, part, cells in _parted(source.text):
                for column in wanted.get((line, part), ()):
                    address = source.text.cell(line, column, cells[item] if item is not None else None) if column else None
                    writer.writerow([line, part, column, address, json.dumps(_shown(source, line, cells), ensure_ascii=False)])
        names = ["line", "part", "column_name", "address", "row"]
        con.execute(f"CREATE OR REPLACE TEMP TABLE as_stood AS SELECT * FROM {_read_csv(str(path), names, ',', quote=True, skip=0)}")
    con.execute(f"""
        UPDATE ledger SET
            cell = a.address, stood_cast = false, stood = CASE WHEN stood_cast OR rule = '{CELL_COUNT}' THEN a.row ELSE stood END,
            value = CASE WHEN stood_cast THEN coalesce(a.row ->> ('$."' || ledger.column_name || '"'), value) ELSE value END
        FROM as_stood a
        WHERE ledger.source_id = {source.source_id} AND ledger.line = CAST(a.line AS BIGINT) AND ledger.part = CAST(a.part AS INTEGER)
          AND ledger.column_name IS NOT DISTINCT FROM a.column_name""")


def _shown(source: Source, line: int, cells: Cells) -> dict[str, str]:
    text = source.text
    private = {column.name for column in TABLES[text.table].columns if column.private}
    if isinstance(cells, Ragged):
        # What is private may stand in many of the cells, so the reader of the file says which it tells.
        return text.as_stood(line)
    return {
        column: hash_customer(cell, source.secret) if column in private else cell
        for column, cell in zip(text.columns, cells, strict=True)
        if cell
    }


def write_ledger(con: Any, table: Table) -> None:
    """Enter every accusation of the staged rows that have one."""
    if not con.execute(f"SELECT 1 FROM staged_{table.name} WHERE accusation IS NOT NULL LIMIT 1").fetchall():
        return
    names = [CELL_COUNT, *table.names]
    stood = ", ".join(f"{literal(column)}: s.stood[{at}]" for at, column in enumerate(table.names, 2))
    told = """'{"faults": ["VARCHAR"], "stood": ["VARCHAR"]}'"""
    con.execute(f"""
        INSERT INTO ledger
        SELECT '{table.name}', s.hand_in, s.source_id, s.line, s.part, NULL,
               CASE WHEN a.at > 1 THEN ({_array(names)})[a.at] END, s.faults[a.at],
               s.stood[a.at],
               to_json({{{stood}}}), {key_text(table, "s")}, NULL, NULL, false
        FROM (SELECT *, unnest(from_json(accusation, {told})) FROM staged_{table.name} WHERE accusation IS NOT NULL) AS s,
             (SELECT unnest(generate_series(1, {len(names)})) AS at) AS a
        WHERE s.faults[a.at] IS NOT NULL AND (a.at = 1 OR s.faults[1] IS NULL)""")


def _array(words: list[str]) -> str:
    return "[" + ", ".join(literal(word) for word in words) + "]"
