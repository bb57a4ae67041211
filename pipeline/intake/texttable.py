"""What intake hands on: files, hand-ins and tables of text in which every cell still knows where it stood."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

Cells = tuple[str | None, ...]


@dataclass(frozen=True)
class SourceFile:
    """One file as it was handed in; `name` is its path inside the hand-in."""

    name: str
    path: Path
    sha256: str


@dataclass(frozen=True)
class HandIn:
    """Files that were handed in together, and the mapping that goes with them."""

    name: str
    root: Path
    files: tuple[SourceFile, ...]
    mapping: SourceFile | None = None


class Ragged(tuple[str | None, ...]):
    """Cells of a row that does not fit under the headers: all not known, so that none is read in a wrong column.

    `stood` holds the cells as they were written; where a file has a private column, what is private may be any of them.
    """

    stood: tuple[str, ...]

    def __new__(cls, width: int, stood: Iterable[str]) -> Ragged:
        row = super().__new__(cls, (None,) * width)
        row.stood = tuple(stood)
        return row


def numbered(cells: Sequence[str], hidden_from: int) -> dict[str, str]:
    """The cells of a row that does not fit, by their numbers, and from a place on none of them.

    >>> numbered(["J1", "", "blue", "Ann Example"], 3)
    {'cell 1': 'J1', 'cell 3': 'blue', 'cell 4 and beyond': '(hidden)'}
    """
    told = {f"cell {at}": cell for at, cell in enumerate(cells[:hidden_from], 1) if cell}
    return told | ({f"cell {hidden_from + 1} and beyond": "(hidden)"} if any(cells[hidden_from:]) else {})


@dataclass(frozen=True)
class PlainCsv:
    """A CSV that any reader reads alike: UTF-8, no quote character, no blank line after the header.

    `header` holds the names in order, trimmed, trailing blank ones included; `header_line` is physical, from 1, and `rows`
    lines follow it; `padded` says that some cell begins or ends with a blank, `odd_numbers` that there is a `_` or a `+-`.
    """

    path: Path
    delimiter: str
    header_line: int
    header: tuple[str, ...]
    rows: int
    padded: bool
    odd_numbers: bool


class RowSource(Protocol):
    """Where a table's rows come from; each call of `rows` reads the file again, so that nothing big is held."""

    def rows(self) -> Iterator[tuple[int, Cells]]:
        """Line and cells of each data row."""

    def cell(self, line: int, column: str, item_id: str | None) -> str | None:
        """Address such as `C14`, or None where the line says it all."""

    def as_stood(self, line: int) -> dict[str, str]:
        """The row by its own headers, or one that does not fit under them as `numbered`."""


@dataclass(frozen=True)
class TextTable:
    """One table of one file or sheet, as text.

    Attributes:
        table: name of the contract's table.
        file: name of the file inside the hand-in.
        sheet: name of the sheet, or None.
        columns: the contract's columns that are there, in the order of the cells.
        scale: factor to the contract's unit for each column whose header was in another unit.
        decimal_comma: the comma is the decimal mark, and a dot in a number is a fault.
        left_out: blank, title and subtotal lines, which are no data rows.
        unknown_columns: headers that mean nothing to the contract, left out.
        plain: set where a bulk reader may read the file by itself.
        stood_as: the header under which each column stood, where it was another name.
    """

    table: str
    file: str
    sheet: str | None
    columns: tuple[str, ...]
    source: RowSource = field(repr=False)
    scale: dict[str, float] = field(default_factory=dict)
    decimal_comma: bool = False
    left_out: int = 0
    unknown_columns: tuple[str, ...] = ()
    plain: PlainCsv | None = None
    stood_as: dict[str, str] = field(default_factory=dict)

    def rows(self) -> Iterator[tuple[int, Cells]]:
        """Physical line (sheets: row; Parquet: row of a sheet with one header row) and cells; an empty cell is None.

        A row that does not fit under its headers comes as `Ragged`.
        """
        return self.source.rows()

    def cell(self, line: int, column: str, item_id: str | None = None) -> str | None:
        """Address such as `C14` for sheets, else None.

        A line of a wide sheet may make several rows: `item_id` says which is meant; where more than one still is, the
        addresses of all are told.
        """
        return self.source.cell(line, column, item_id)

    def as_stood(self, line: int) -> dict[str, str]:
        """The row of that line by its own headers; empty cells, and columns that were left out, are not in it.

        In a row that does not fit nobody knows which cell is whose: they are numbered, up to where something private may stand.
        """
        return self.source.as_stood(line)
