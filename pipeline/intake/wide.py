"""Wide sheets through a mapping, a row a job and a column an item, to tables of text."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import chain
from typing import TYPE_CHECKING

from pipeline.contract import TABLES
from pipeline.errors import Fault, InputRefused, did_you_mean
from pipeline.intake.delimited import DelimitedFile, HeaderLine, find_header
from pipeline.intake.headers import HEADER_LINES
from pipeline.intake.mapping import FileMapping, ItemColumn, ItemColumns, SheetMapping
from pipeline.intake.scan import scan
from pipeline.intake.spool import Grid, Spool, text_of
from pipeline.intake.texttable import SourceFile, TextTable
from pipeline.intake.wide_rows import CellReader, ItemMaker, Maker, TableMaker
from pipeline.intake.wide_table import Layout, WideRows
from pipeline.intake.words import column_index, column_letters, listed, names_of, short

if TYPE_CHECKING:
    from pipeline.settings import IntakeSettings

_BY_LETTERS = re.compile(r"column ([A-Za-z]{1,3})")


def read_wide_sheets(file: SourceFile, mapping: FileMapping, grids: Sequence[Grid]) -> tuple[list[TextTable], list[Grid]]:
    """The tables of all mapped sheets, and the sheets that the mapping does not speak of.

    Raises: InputRefused: every sheet and every header that the mapping names and that is not there.
    """
    tables: list[TextTable] = []
    faults: list[Fault] = []
    left = list(grids)
    for sheet in mapping.sheets:
        grid = _grid_of(sheet, grids)
        if grid is None:
            faults.append(_no_sheet(file, mapping.where, sheet, [grid.name for grid in grids]))
            continue
        left = [other for other in left if other is not grid]
        try:
            tables += _Wide(file, mapping.where, grid, sheet, sheet.decimal_mark or ".").tables()
        except InputRefused as refused:
            faults += refused.faults
    if faults:
        raise InputRefused(faults)
    return tables, left


def read_wide_csv(file: SourceFile, mapping: FileMapping, limits: IntakeSettings) -> list[TextTable]:
    """The tables of a mapped CSV. Raises: InputRefused: its bytes, its quotes, and every header that is not there."""
    text = DelimitedFile(file.path, file.name, scan(file.path, file.name, limits.max_line_bytes), limits.max_line_bytes)
    tables: list[TextTable] = []
    faults: list[Fault] = []
    for sheet in mapping.sheets:
        try:
            grid, header = _spooled(text, sheet)
            mark = sheet.decimal_mark or ("," if header.delimiter == ";" else ".")
            tables += _Wide(file, mapping.where, grid, sheet, mark, header.line).tables()
        except InputRefused as refused:
            faults += refused.faults
    if faults:
        raise InputRefused(faults)
    return tables


def _spooled(text: DelimitedFile, sheet: SheetMapping) -> tuple[Grid, HeaderLine]:
    """A CSV as a grid, from its header on."""
    wanted = {_one_line(name) for name in sheet.headers()}
    rows = (sheet.header_row, sheet.header_row) if sheet.header_row else (1, HEADER_LINES)
    found, guess = find_header(
        text.header_lines(*rows),
        holds=lambda cells: wanted.issubset(names_of(cells)),
        likeness=lambda cells: len(wanted.intersection(names_of(cells))) or (1 if sheet.header_row else 0),
    )
    header = found or guess
    if header is None:
        raise InputRefused(_no_header(text.name, sorted(wanted)))
    spool = Spool()
    grid = Grid("", spool)
    for line, cells in chain([(header.line, list(header.cells))], text.records(header.delimiter, header.last_line)):
        if "".join(cells).strip():
            grid.end += spool.write([line, cells])
            grid.filled, grid.last_row = grid.filled + 1, line
    return grid, header


class _Wide:
    """One mapped sheet. A CSV brings its header line along, and its rows must fit under it."""

    def __init__(self, file: SourceFile, mapping: str, grid: Grid, sheet: SheetMapping, mark: str, header_line: int | None = None) -> None:
        self.file, self.grid, self.sheet, self.mark, self.mapping = file, grid, sheet, mark, mapping
        self.is_csv = header_line is not None
        self.where = file.name if self.is_csv else f"{file.name} sheet {short(grid.name)}"
        self.header_row = header_line or sheet.header_row
        self.faults: list[Fault] = []

    def tables(self) -> list[TextTable]:
        """A table for each that the mapping makes, in the contract's order."""
        row, names = self._header()
        places = self._places(row, names)
        if self.faults:
            raise InputRefused(self.faults)
        items = [self._items(part, names, places, row) for part in self.sheet.item_columns]
        if self.faults:
            raise InputRefused(self.faults)
        used = tuple(sorted({*places.values(), *(place for its in items for place in its)}))
        rules = tuple((places[rule.header], rule) for rule in self.sheet.leave_out)
        reader = CellReader(self.sheet, self.mark)
        makers: list[tuple[str, Maker]] = [(part.table, TableMaker(part, reader, places)) for part in self.sheet.tables]
        makers += [("fitout", ItemMaker(part, reader, places, its)) for part, its in zip(self.sheet.item_columns, items, strict=True)]
        kinds = tuple(kind for _, maker in makers for kind in maker.kinds())
        return self._tables(Layout(row, tuple(names), places, used, kinds, rules, self.is_csv), makers)

    def _tables(self, layout: Layout, makers: Sequence[tuple[str, Maker]]) -> list[TextTable]:
        unknown = tuple(name for place, name in enumerate(layout.names) if name and place not in layout.used)
        left_out = layout.left_out(self.grid)
        tables: list[TextTable] = []
        for table in TABLES.values():
            its = tuple(maker for name, maker in makers if name == table.name)
            columns = tuple(column for column in table.names if any(column in maker.columns for maker in its))
            if its:
                found = TextTable(
                    table=table.name,
                    file=self.file.name,
                    sheet=self.grid.name or None,
                    columns=columns,
                    source=WideRows(self.grid, layout, table, its, columns),
                    decimal_comma=self.mark == ",",
                    left_out=left_out,
                    unknown_columns=() if tables else unknown,
                    stood_as={column: header for maker in its for column, header in maker.stood_as.items()},
                )
                tables.append(found)
        return tables

    def _header(self) -> tuple[int, list[str]]:
        """The header's row: as stated, else the first that holds every header named, else the one that holds the most."""
        if self.header_row:
            return self.header_row, names_of(map(text_of, self.grid.at(self.header_row)))
        wanted = {_one_line(name) for name in self.sheet.headers()}
        best: tuple[int, int, list[str]] = (0, 0, [])
        for number, cells in self.grid.rows():
            names = names_of(map(text_of, cells))
            held = len(wanted.intersection(names))
            if number <= HEADER_LINES and held > best[0]:
                best = (held, number, names)
        if not best[0]:
            raise InputRefused(_no_header(self.where, sorted(wanted)))
        return best[1], best[2]

    def _places(self, row: int, names: Sequence[str]) -> dict[str, int]:
        """The position of each header that the mapping names; a column without a header, or of two alike, goes by its letters."""
        places: dict[str, int] = {}
        for header in self.sheet.headers():
            found = [place for place, name in enumerate(names) if name == _one_line(header)]
            letters = _BY_LETTERS.fullmatch(header)
            if not found and letters:
                found = [column_index(letters[1])]
            if len(found) > 1:
                letters_of = [column_letters(place) for place in found]
                do = f"write 'column {letters_of[0]}' for the one that is meant"
                self._fault(row, f"header {short(header)} stands there twice", got=f"columns {listed(letters_of)}", do=do)
            elif not found:
                near = did_you_mean(header, names)
                self._fault(row, f"no header {short(header)}", do=near or f"there are {listed([name for name in names if name], 30)}")
            else:
                places[header] = found[0]
        return places

    def _items(self, part: ItemColumns, names: Sequence[str], places: Mapping[str, int], row: int) -> dict[int, ItemColumn]:
        """Which positions are which items."""
        items: dict[int, ItemColumn] = {}
        if part.first:
            first, last = places[part.first], places[part.last]
            without = {places[header] for header in part.without}
            if first > last:
                self._fault(row, f"{short(part.first)} stands after {short(part.last)}", do="swap first and last")
            stretch = [place for place in range(first, min(last + 1, len(names))) if names[place] and place not in without]
            items = {place: ItemColumn(part.item_id(names[place])) for place in stretch}
        for header, item in part.columns.items():
            items[places[header]] = item if isinstance(item, ItemColumn) else ItemColumn(item)
        return items

    def _fault(self, row: int, what: str, **parts: str) -> None:
        where = f"{self.where} {'line' if self.is_csv else 'row'} {row} (by {self.mapping})"
        self.faults.append(Fault(what, where=where, **parts))


def _one_line(name: str) -> str:
    return " ".join(name.split())


def _grid_of(sheet: SheetMapping, grids: Sequence[Grid]) -> Grid | None:
    if not sheet.sheet:
        return grids[0] if len(grids) == 1 else None
    return next((grid for grid in grids if grid.name.strip() == sheet.sheet.strip()), None)


def _no_sheet(file: SourceFile, mapping: str, sheet: SheetMapping, names: Sequence[str]) -> Fault:
    where = f"{file.name} (by {mapping})"
    if sheet.sheet:
        return Fault(f"no sheet {short(sheet.sheet)}", where=where, got=listed(names), do=did_you_mean(sheet.sheet, names))
    if not names:
        return Fault("the workbook is empty", where=where)
    return Fault("more than one sheet", where=where, got=listed(names), do="add sheet = to the [[sheet]]")


def _no_header(where: str, wanted: Sequence[str]) -> Fault:
    return Fault(
        f"none of the mapping's headers in the first {HEADER_LINES} rows",
        where=where,
        expected=listed(wanted),
        do="add header_row = to the [[sheet]], or see whether the mapping is for this file",
    )
