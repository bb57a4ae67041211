"""Rows of sheets in a temporary file without a name: read again as often as wanted, gone with the process."""

from __future__ import annotations

import json
import os
import tempfile
import weakref
from array import array
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

Cell = str | int | float | None
GridRow = tuple[int, list[Cell]]

_BLOCK_BYTES = 262_144


def text_of(cell: Cell) -> str | None:
    """A cell as text; a number with at most 15 digits, which is what a sheet keeps, and without a needless point.

    >>> text_of(1804.0000000000002), text_of(0.1 + 0.2), text_of(2401), text_of(" x"), text_of("")
    ('1804', '0.3', '2401', ' x', None)
    """
    if isinstance(cell, float):
        return f"{cell:.0f}" if cell.is_integer() and abs(cell) < 1e21 else f"{cell:.15g}"
    return str(cell) if isinstance(cell, int) else cell or None


class Spool:
    """A temporary file that only this process can reach; records with names in them must not outlive it."""

    def __init__(self) -> None:
        self.fd, name = tempfile.mkstemp(prefix="tarebook-")
        Path(name).unlink()
        weakref.finalize(self, os.close, self.fd)

    def write(self, record: Any) -> int:
        """Append one record; returns its length in bytes."""
        line = (json.dumps(record, ensure_ascii=False, separators=(",", ":")) + "\n").encode("utf-8", "surrogatepass")
        rest = line
        while rest:
            rest = rest[os.write(self.fd, rest) :]
        return len(line)

    def lines(self, start: int = 0, end: int | None = None) -> Iterator[tuple[int, bytes]]:
        """Offset and bytes of each whole line; readers do not disturb each other."""
        rest, offset = b"", start
        while end is None or offset < end:
            block = os.pread(self.fd, _BLOCK_BYTES, offset + len(rest))
            if not block:
                return
            *whole, rest = (rest + block).split(b"\n")
            for line in whole:
                if end is not None and offset >= end:
                    return
                yield offset, line
                offset += len(line) + 1


@dataclass
class Grid:
    """One sheet in a spool: rows that are not blank, with their numbers from 1, and cells as text.

    `name` is empty where the file has no sheets.
    """

    name: str
    spool: Spool = field(repr=False)
    start: int = 0
    end: int = 0
    filled: int = 0
    last_row: int = 0
    _rows: array[int] = field(default_factory=lambda: array("q"), repr=False)
    _offsets: array[int] = field(default_factory=lambda: array("q"), repr=False)

    def rows(self) -> Iterator[GridRow]:
        """Number and cells of each row."""
        for _, line in self.spool.lines(self.start, self.end):
            number, cells = json.loads(line)
            yield number, cells

    def at(self, number: int) -> list[Cell]:
        """Cells of one row; none where it is blank."""
        if not self._rows:
            for offset, line in self.spool.lines(self.start, self.end):
                self._offsets.append(offset)
                self._rows.append(json.loads(line)[0])
        place = _place(self._rows, number)
        if place is None:
            return []
        _, line = next(self.spool.lines(self._offsets[place]))
        return json.loads(line)[1]


def _place(rows: array[int], number: int) -> int | None:
    place = bisect_left(rows, number)
    return place if place < len(rows) and rows[place] == number else None
