"""Sheets of workbooks, and Parquet files, to tables of text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import TYPE_CHECKING

from pipeline.contract import TABLES, Table, table_named
from pipeline.errors import Fault, InputRefused
from pipeline.intake import headers
from pipeline.intake.find import table_name
from pipeline.intake.headers import HEADER_LINES, Header, near_miss
from pipeline.intake.hostile import parse_parquet, parse_workbook
from pipeline.intake.spool import Grid, GridRow, text_of
from pipeline.intake.texttable import Cells, SourceFile, TextTable
from pipeline.intake.words import column_letters, listed, names_of, short

if TYPE_CHECKING:
    from pipeline.intake.mapping import FileMapping
    from pipeline.settings import IntakeSettings


def read_workbook(
    file: SourceFile, mapping: FileMapping | None, required: Mapping[str, Sequence[str]], limits: IntakeSettings
) -> list[TextTable]:
    """Every table of a workbook: mapped sheets, sheets named for a table, or the one sheet of a file named for a table.

    Raises: InputRefused: every fault of all its sheets.
    """
    grids = [grid for grid in parse_workbook(file, limits) if grid.filled]
    tables: list[TextTable] = []
    faults: list[Fault] = []
    if mapping is not None:
        from pipeline.intake.wide import read_wide_sheets

        try:
            mapped, grids = read_wide_sheets(file, mapping, grids)
            tables += mapped
        except InputRefused as refused:
            faults += refused.faults
    for name, grid in _named(file, grids, mapping is not None, required, faults):
        try:
            tables.append(_table(file, grid, table_named(name), required[name]))
        except InputRefused as refused:
            faults += refused.faults
    if faults:
        raise InputRefused(faults)
    return tables


def read_parquet(file: SourceFile, table: Table, required: Sequence[str], limits: IntakeSettings) -> TextTable:
    """One Parquet file as a table of text. Raises: InputRefused: its limits or its names are not kept."""
    return _table(file, parse_parquet(file, limits), table, required)


def first_rows(grid: Grid) -> Iterator[GridRow]:
    """The rows in which a header may stand."""
    return takewhile(lambda row: row[0] <= HEADER_LINES, grid.rows())


def blank_rows(grid: Grid, header_row: int) -> int:
    """Rows above the header, and blank ones below it."""
    below = sum(1 for number, _ in grid.rows() if number > header_row)
    return header_row - 1 + max(0, grid.last_row - header_row) - below


@dataclass(frozen=True)
class GridRows:
    """Rows of one table of a sheet that stands in the contract's columns. Satisfies RowSource."""

    grid: Grid
    header_row: int
    header: Header

    def rows(self) -> Iterator[tuple[int, Cells]]:
        for number, cells in self._below():
            cells += [None] * (self.header.width - len(cells))
            yield number, tuple([text_of(cells[i]) for i in self.header.positions])

    def cell(self, line: int, column: str, item_id: str | None) -> str | None:
        if not self.grid.name or column not in self.header.columns:
            return None
        return f"{column_letters(self.header.positions[self.header.columns.index(column)])}{line}"

    def as_stood(self, line: int) -> dict[str, str]:
        cells = self.grid.at(line)
        stood = {self.header.names[i]: text_of(cells[i]) for i in self.header.positions if i < len(cells)}
        return {name: cell for name, cell in stood.items() if cell}

    def strays(self) -> list[str]:
        """Columns that hold something under no header."""
        found: set[int] = set()
        for _, cells in self._below():
            spots = (*self.header.nameless, *range(self.header.width, len(cells)))
            found.update(i for i in spots if i < len(cells) and (text_of(cells[i]) or "").strip())
        return [f"column {column_letters(i)}" for i in sorted(found)]

    def _below(self) -> Iterator[GridRow]:
        return (row for row in self.grid.rows() if row[0] > self.header_row)


def _named(
    file: SourceFile, grids: list[Grid], mapped: bool, required: Mapping[str, Sequence[str]], faults: list[Fault]
) -> list[tuple[str, Grid]]:
    """Which sheet is which table. A sheet that is none, and does not look like one, is somebody's notes."""
    named = [(table_name(grid.name), grid) for grid in grids if table_name(grid.name) in TABLES]
    rest = [grid for grid in grids if table_name(grid.name) not in TABLES]
    of_file = table_name(file.name)
    if not named and not mapped and of_file in TABLES and len(rest) == 1:
        return [(of_file, rest[0])]
    told = [fault for grid in rest if (fault := _looks_like_a_table(file, grid, required))]
    faults += told
    if not named and not mapped and not told:
        faults.append(_no_table(file, [grid.name for grid in rest]))
    return named


def _looks_like_a_table(file: SourceFile, grid: Grid, required: Mapping[str, Sequence[str]]) -> Fault | None:
    where = f"{file.name} sheet {short(grid.name)}"
    near = near_miss(table_name(grid.name), TABLES)
    if near:
        return Fault("no table of that name", where=where, do=f"did you mean {near!r}?")
    for _, cells in first_rows(grid):
        names = names_of(map(text_of, cells))
        for table in TABLES.values():
            if len(required[table.name]) > 1 and headers.holds_required(names, table, required[table.name]):
                return Fault("no table of that name", where=where, do=f"did you mean {table.name!r}? It has that table's columns")
    return None


def _no_table(file: SourceFile, sheets: Sequence[str]) -> Fault:
    near = near_miss(table_name(file.name), TABLES)
    return Fault(
        "no sheet is named for a table" if sheets else "the workbook is empty",
        where=file.name,
        got=listed(sheets),
        expected=listed(list(TABLES)),
        do=(f"did you mean to call the file {near!r}? " if near else "") + "name the sheets, or hand it in with a mapping",
    )


def _table(file: SourceFile, grid: Grid, table: Table, required: Sequence[str]) -> TextTable:
    where = f"{file.name} sheet {short(grid.name)}" if grid.name else file.name
    row, names = _header_row(grid, table, required)
    if not row:
        raise InputRefused(headers.no_header(where, "rows", required))
    header, faults = headers.match(names, table, required, f"{where} row {row}" if grid.name else where)
    if faults:
        raise InputRefused(faults)
    rows = GridRows(grid, row, header)
    return TextTable(
        table=table.name,
        file=file.name,
        sheet=grid.name or None,
        columns=header.columns,
        source=rows,
        scale=header.scale,
        left_out=blank_rows(grid, row),
        unknown_columns=(*header.unknown, *rows.strays()),
        stood_as=header.stood_as,
    )


def _header_row(grid: Grid, table: Table, required: Sequence[str]) -> tuple[int, list[str]]:
    """The first row that holds the required headers, else the one most like a header; row 0 for none."""
    best: tuple[int, int, list[str]] = (0, 0, [])
    for number, cells in first_rows(grid):
        names = names_of(map(text_of, cells))
        if headers.holds_required(names, table, required):
            return number, names
        likeness = headers.likeness(names, table)
        if likeness > best[0]:
            best = (likeness, number, names)
    return best[1], best[2]
