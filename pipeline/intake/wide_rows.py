"""One line of a wide sheet to the rows that it makes, cells put into the contract's spelling where they can be read."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pipeline.contract import Column, table_named
from pipeline.intake.cells import date_pattern, date_text, dimension, number_text
from pipeline.intake.mapping import ItemColumn, ItemColumns, SheetMapping, TableColumns
from pipeline.intake.spool import Cell, text_of

Made = dict[str, tuple[str | None, int | None]]
"""A row: column → its text, and the position of the cell that it came from."""

_MIDNIGHT_OR_LATER = re.compile(r"(\d{4}-\d{2}-\d{2})[ T]\d{2}:\d{2}(:\d{2}(\.\d+)?)?")


class CellReader:
    """Reads cells in the mapping's terms. What cannot be read stays as it stood, so that it is rejected by its address."""

    def __init__(self, sheet: SheetMapping, decimal_mark: str) -> None:
        self.decimal_mark = decimal_mark
        self._sheet = sheet
        self._not_known, self._yes, self._no = (_folded(words) for words in (sheet.not_known, sheet.yes, sheet.no))
        self._dates = [pattern for written in sheet.dates if (pattern := date_pattern(written))]
        self._words = {column: {_fold(word): ours for word, ours in words.items()} for column, words in sheet.words.items()}

    def read(self, column: Column, cell: Cell) -> str | None:
        """A cell as the contract writes that column; None where it is not known."""
        text = (text_of(cell) or "").strip()
        word = _fold(text)
        if not text:
            return self._sheet.empty.get(column.name)
        if word in self._not_known:
            return None
        if word in self._words.get(column.name, {}):
            return self._words[column.name][word]
        if column.kind in ("number", "integer"):
            return self.number(cell, self._sheet.units.get(column.name) or dimension(column.name)) or text
        if column.kind == "date":
            timed = _MIDNIGHT_OR_LATER.fullmatch(text)
            return date_text(timed[1] if timed else text, self._dates) or text
        if column.kind == "yes_no":
            return "yes" if word in self._yes else "no" if word in self._no else text
        return self._named(column.name, text)

    def number(self, cell: Cell, unit: str) -> str | None:
        """A number with the sheet's decimal mark, or None where the cell holds none."""
        if isinstance(cell, str):
            return number_text(cell, unit, self.decimal_mark)
        found = number_text(text_of(cell) or "", unit)
        return found.replace(".", self.decimal_mark) if found else None

    def quantity(self, cell: Cell, numbers: str) -> str | None:
        """How many of an item a cell says; None for no line at all."""
        text = (text_of(cell) or "").strip()
        word = _fold(text)
        if not text or word in self._not_known or word in self._no:
            return None
        if word in self._yes:
            return "1"
        bare = self.number(cell, "")
        mass = self.number(cell, "kg") if bare is None or numbers == "mass" else None
        if "0" in (bare, mass):
            return None
        return "1" if mass else bare or text

    def _named(self, column: str, text: str) -> str:
        case = self._sheet.case.get(column)
        cased = text.lower() if case == "lower" else text.upper() if case == "upper" else text
        return self._sheet.prefix.get(column, "") + cased


@dataclass(frozen=True)
class TableMaker:
    """Makes at most one row of a table out of a line."""

    mapping: TableColumns
    reader: CellReader
    places: Mapping[str, int]

    @property
    def columns(self) -> set[str]:
        return {*self.mapping.columns, *self.mapping.always}

    @property
    def stood_as(self) -> dict[str, str]:
        return {column: header for column, header in self.mapping.columns.items() if column != header}

    def kinds(self) -> list[tuple[int, Column]]:
        """Positions that are read, and as what."""
        table = table_named(self.mapping.table)
        return [(self.places[header], table.column(column)) for column, header in self.mapping.columns.items()]

    def rows(self, cells: Sequence[Cell]) -> Iterator[Made]:
        """The row, unless the cell that must be filled is not."""
        if self.mapping.only_if and self.reader.read(Column("note"), _at(cells, self.places[self.mapping.only_if])) is None:
            return
        table = table_named(self.mapping.table)
        made: Made = {column: (value, None) for column, value in self.mapping.always.items()}
        for column, header in self.mapping.columns.items():
            place = self.places[header]
            made[column] = (self.reader.read(table.column(column), _at(cells, place)), place)
        yield made


@dataclass(frozen=True)
class ItemMaker:
    """Makes a fit-out row for each marked item cell of a line; `items` is the item by position."""

    mapping: ItemColumns
    reader: CellReader
    places: Mapping[str, int]
    items: Mapping[int, ItemColumn]

    @property
    def columns(self) -> set[str]:
        zoned = {"zone"} if any(item.zone for item in self.items.values()) else set()
        return {"item_id", "qty", *self._shared(), *self.mapping.always, *zoned}

    @property
    def stood_as(self) -> dict[str, str]:
        return {column: header for column, header in self._shared().items() if column != header}

    def kinds(self) -> list[tuple[int, Column]]:
        """Positions that are read, and as what."""
        table = table_named("fitout")
        shared = [(self.places[header], table.column(column)) for column, header in self._shared().items()]
        return [*shared, *((place, table.column("qty")) for place in self.items)]

    def rows(self, cells: Sequence[Cell]) -> Iterator[Made]:
        """One row for each item that the line has."""
        table = table_named("fitout")
        shared: Made = {column: (value, None) for column, value in self.mapping.always.items()}
        for column, header in self._shared().items():
            place = self.places[header]
            shared[column] = (self.reader.read(table.column(column), _at(cells, place)), place)
        for place, item in self.items.items():
            quantity = self.reader.quantity(_at(cells, place), self.mapping.numbers)
            if quantity is not None:
                zone: Made = {"zone": (item.zone, None)} if item.zone else {}
                yield {**shared, **zone, "item_id": (item.item_id, place), "qty": (quantity, place)}

    def _shared(self) -> dict[str, str]:
        given = {"job_id": self.mapping.job_id, "revision": self.mapping.revision, "body": self.mapping.body}
        return {column: header for column, header in given.items() if header}


Maker = TableMaker | ItemMaker


def _at(cells: Sequence[Cell], place: int) -> Cell:
    return cells[place] if place < len(cells) else None


def _fold(word: str) -> str:
    return word.strip().casefold()


def _folded(words: Sequence[str]) -> frozenset[str]:
    return frozenset(map(_fold, words))
