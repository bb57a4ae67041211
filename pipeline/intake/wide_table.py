"""The rows that a wide sheet makes for one table, as a source of text rows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from pipeline.contract import Column, Table
from pipeline.intake.mapping import LeaveOut
from pipeline.intake.slid import may_have_slid, private_from
from pipeline.intake.spool import Cell, Grid, GridRow, text_of
from pipeline.intake.texttable import Cells, Ragged, numbered
from pipeline.intake.wide_rows import Made, Maker
from pipeline.intake.words import column_letters


@dataclass(frozen=True)
class Layout:
    """Where a sheet's header stands: its row, its names, the position of each header that the mapping names.

    `used` are all positions that the mapping reads, `kinds` what they are read as; `must_fit` refuses cells beyond the header,
    as a CSV's commas make them.
    """

    row: int
    names: tuple[str, ...]
    places: dict[str, int]
    used: tuple[int, ...]
    kinds: tuple[tuple[int, Column], ...]
    rules: tuple[tuple[int, LeaveOut], ...]
    must_fit: bool

    def lines(self, grid: Grid) -> Iterator[GridRow]:
        """The lines that are records."""
        for number, cells in grid.rows():
            if number > self.row and not any(rule.holds(text_at(cells, place)) for place, rule in self.rules):
                yield number, cells

    def left_out(self, grid: Grid) -> int:
        """Title, blank and subtotal lines; blank ones below the last record are none."""
        return grid.last_row - 1 - sum(1 for _ in self.lines(grid)) if grid.last_row > self.row else self.row - 1

    def is_ragged(self, cells: Sequence[Cell]) -> bool:
        """Whether something stands beyond the header or under a nameless one, or cells are too few, so that some may have moved."""
        nameless = (place for place in range(len(cells)) if place >= len(self.names) or not self.names[place])
        return self.must_fit and (
            any(text_at(cells, place) for place in nameless)
            or (len(cells) < self.width and may_have_slid([text_of(cell) or "" for cell in cells], self.width, self.private, self.kinds))
        )

    @cached_property
    def width(self) -> int:
        """How many cells a whole line has."""
        return max((place + 1 for place, name in enumerate(self.names) if name), default=0)

    @cached_property
    def private(self) -> list[int]:
        """Positions that hold who the customer is, whichever table they are for: a line is cut up into rows of several."""
        return [place for place, column in self.kinds if column.private]


def text_at(cells: Sequence[Cell], place: int) -> str:
    """What stands at a position, trimmed; empty beyond the end."""
    return (text_of(cells[place]) or "").strip() if place < len(cells) else ""


@dataclass(frozen=True)
class WideRows:
    """Rows of one table out of a wide sheet. Satisfies RowSource."""

    grid: Grid
    layout: Layout
    table: Table
    makers: tuple[Maker, ...]
    columns: tuple[str, ...]

    def rows(self) -> Iterator[tuple[int, Cells]]:
        for line, cells in self.layout.lines(self.grid):
            if self.layout.is_ragged(cells):
                yield line, Ragged(len(self.columns), (text_of(cell) or "" for cell in cells))
                continue
            for made in self._made(cells):
                yield line, self._cells(made)

    def cell(self, line: int, column: str, item_id: str | None) -> str | None:
        if not self.grid.name:
            return None
        made = (row for row in self._made(self.grid.at(line)) if item_id is None or row.get("item_id", (None, None))[0] == item_id)
        places = {row[column][1] for row in made if column in row}
        return " or ".join(f"{column_letters(place)}{line}" for place in sorted(place for place in places if place is not None)) or None

    def as_stood(self, line: int) -> dict[str, str]:
        cells = self.grid.at(line)
        stood = {self._name(place): text_at(cells, place) for place in self.layout.used}
        if self.layout.is_ragged(cells):
            texts = [text_at(cells, place) for place in range(len(cells))]
            return numbered(texts, private_from(self.layout.private, self.layout.width, len(cells)))
        return {name: cell for name, cell in stood.items() if cell}

    def _made(self, cells: Sequence[Cell]) -> Iterator[Made]:
        for maker in self.makers:
            yield from maker.rows(cells)

    def _cells(self, made: Made) -> Cells:
        return tuple([made.get(column, (None, None))[0] for column in self.columns])

    def _name(self, place: int) -> str:
        name = self.layout.names[place] if place < len(self.layout.names) else ""
        return name or f"column {column_letters(place)}"
