"""CSV as people save it: dialect found by the header's names, rows with the physical line on which they begin."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from pipeline.errors import Fault, InputRefused
from pipeline.intake.headers import HEADER_LINES, Header
from pipeline.intake.scan import DELIMITERS, Scan
from pipeline.intake.slid import may_have_slid, private_from
from pipeline.intake.texttable import Cells, PlainCsv, Ragged, numbered

_HEADER_REACH = 30
"""Physical lines that one header record may run over, where a quoted name holds line breaks."""


@dataclass(frozen=True)
class HeaderLine:
    """A header record: its first physical line and the last, its delimiter and its cells as they stand."""

    line: int
    last_line: int
    delimiter: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class DelimitedFile:
    """A text file whose encoding is known. `max_field` bounds one field, so that a quote never closed cannot fill the memory."""

    path: Path
    name: str
    scan: Scan
    max_field: int

    def header_lines(self, first: int = 1, last: int = HEADER_LINES) -> Iterator[HeaderLine]:
        """Every way to read each of some physical lines as a header: each line by three delimiters."""
        with self.path.open(encoding=self.scan.encoding, newline="") as file:
            head = list(islice(file, first - 1, last + _HEADER_REACH))
        for start in range(min(last - first + 1, len(head))):
            for delimiter in DELIMITERS:
                yield _record(head[start : start + _HEADER_REACH], first + start, delimiter)

    def records(self, delimiter: str, after_line: int) -> Iterator[tuple[int, list[str]]]:
        """Each record after a line, with the physical line on which it begins; a blank line is an empty record.

        Raises: InputRefused: a quoted field that does not end, with the line on which it begins.
        """
        csv.field_size_limit(self.max_field)
        with self.path.open(encoding=self.scan.encoding, newline="") as file:
            for _ in islice(file, after_line):
                pass
            reader = csv.reader(file, delimiter=delimiter, strict=True)
            begins = after_line + 1
            try:
                for cells in reader:
                    yield begins, cells
                    begins = after_line + reader.line_num + 1
            except csv.Error as error:
                raise InputRefused(_bad_quotes(f"{self.name} line {begins}", error)) from error


def find_header(
    lines: Iterable[HeaderLine], holds: Callable[[Sequence[str]], bool], likeness: Callable[[Sequence[str]], int]
) -> tuple[HeaderLine | None, HeaderLine | None]:
    """The first line that is the header, read with the delimiter that finds the most in it, and the line most like one.

    Args:
        holds: whether cells are the header.
        likeness: how much cells look like it, 0 for not at all.
    Returns: the header or None; the best guess or None.
    """
    best: tuple[int, HeaderLine | None] = (0, None)
    found: tuple[int, HeaderLine] | None = None
    for candidate in lines:
        if found and candidate.line > found[1].line:
            break
        score = likeness(candidate.cells)
        if score > best[0]:
            best = (score, candidate)
        if holds(candidate.cells) and (not found or score > found[0]):
            found = (score, candidate)
    return (found[1] if found else None), best[1]


@dataclass(frozen=True)
class DelimitedRows:
    """Rows of one table of a CSV. Satisfies RowSource."""

    file: DelimitedFile
    header_line: HeaderLine
    header: Header

    def rows(self) -> Iterator[tuple[int, Cells]]:
        positions, width, nameless = self.header.positions, self.header.width, self.header.nameless
        for line, cells in self._filled():
            if (nameless or len(cells) != width) and self.is_ragged(cells):
                yield line, Ragged(len(positions), cells)
            else:
                cells += [""] * (width - len(cells))
                yield line, tuple([cells[i] or None for i in positions])

    def cell(self, line: int, column: str, item_id: str | None) -> str | None:
        return None

    def as_stood(self, line: int) -> dict[str, str]:
        """Reads on from the header to that line."""
        cells = next((cells for begins, cells in self._filled() if begins == line), [])
        if self.is_ragged(cells):
            return numbered(cells, private_from(self.header.private, self.header.width, len(cells)))
        return {self.header.names[i]: cells[i] for i in self.header.positions if i < len(cells) and cells[i]}

    def blank_lines(self) -> int:
        """Blank rows after the header. Raises: InputRefused: as DelimitedFile.records."""
        return sum(1 for _, cells in self._records() if _blank(cells))

    def plain(self) -> PlainCsv | None:
        """The file for a bulk reader, where nothing about it needs care."""
        scan, head, delimiter = self.file.scan, self.header_line, self.header_line.delimiter
        commas = (scan.lines - head.line + 1) * (len(head.cells) - 1)
        if head.line != 1 or scan.encoding not in ("utf-8", "utf-8-sig") or "" in self.header.names:
            return None
        # A tab at a cell's edge is blank to people, and a character to the database.
        if delimiter != "\t" and scan.delimiters["\t"]:
            return None
        if scan.quotes or scan.lone_cr or scan.bare_start or scan.delimiters[delimiter] != commas:
            return None
        return PlainCsv(self.file.path, delimiter, head.line, self.header.names, scan.lines - head.line, scan.padded, scan.odd_numbers)

    def is_ragged(self, cells: Sequence[str]) -> bool:
        """Whether a record does not fit: something under no header, or too few cells with a name that may have slid."""
        header = self.header
        spots = (*header.nameless, *range(header.width, len(cells)))
        return any(cells[i].strip() for i in spots if i < len(cells)) or may_have_slid(
            cells, header.width, header.private, zip(header.positions, header.kinds, strict=True)
        )

    def _records(self) -> Iterator[tuple[int, list[str]]]:
        return self.file.records(self.header_line.delimiter, self.header_line.last_line)

    def _filled(self) -> Iterator[tuple[int, list[str]]]:
        """Records that are not blank."""
        return ((line, cells) for line, cells in self._records() if not _blank(cells))


def _blank(cells: list[str]) -> bool:
    return not (cells and cells[0].strip()) and not "".join(cells).strip()


def _record(lines: list[str], line: int, delimiter: str) -> HeaderLine:
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    try:
        cells = next(reader, [])
    except csv.Error:
        cells = []
    return HeaderLine(line, line + max(1, reader.line_num) - 1, delimiter, tuple(cells))


def _bad_quotes(where: str, error: csv.Error) -> Fault:
    if "field larger" in str(error) or "end of data" in str(error):
        return Fault("a quote opens here and is never closed", where=where, do='close it, or write "" for a quote inside a field')
    return Fault(
        "the quotes of this row do not add up",
        where=where,
        expected='a field in quotes to end at its closing quote, and "" for a quote inside it',
        do="mend the row, or save the sheet as CSV again",
    )
