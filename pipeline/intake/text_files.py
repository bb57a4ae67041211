"""CSV and JSONL files that stand in the contract's own columns."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from pipeline.contract import Table
from pipeline.errors import InputRefused
from pipeline.intake import headers
from pipeline.intake.delimited import DelimitedFile, DelimitedRows, HeaderLine, find_header
from pipeline.intake.scan import scan
from pipeline.intake.texttable import SourceFile, TextTable


def read_csv(source: SourceFile, table: Table, required: Sequence[str], max_line_bytes: int) -> TextTable:
    """One CSV as a table of text. Raises: InputRefused: every fault of its bytes, header and quotes."""
    file = DelimitedFile(source.path, source.name, scan(source.path, source.name, max_line_bytes), max_line_bytes)
    line, guess = find_header(
        file.header_lines(),
        partial(headers.holds_required, table=table, required=required),
        partial(headers.likeness, table=table),
    )
    chosen = line or guess
    if chosen is None:
        raise InputRefused(headers.no_header(source.name, "lines", required))
    header, faults = headers.match(chosen.cells, table, required, f"{source.name} line {chosen.line}")
    if faults:
        raise InputRefused(faults)
    return _csv_table(source, table, DelimitedRows(file, chosen, header), chosen)


def _csv_table(source: SourceFile, table: Table, rows: DelimitedRows, line: HeaderLine) -> TextTable:
    plain = rows.plain()
    return TextTable(
        table=table.name,
        file=source.name,
        sheet=None,
        columns=rows.header.columns,
        source=rows,
        scale=rows.header.scale,
        decimal_comma=line.delimiter == ";",
        left_out=line.line - 1 + (0 if plain else rows.blank_lines()),
        unknown_columns=rows.header.unknown,
        stood_as=rows.header.stood_as,
        plain=plain,
    )


def read_jsonl(source: SourceFile, table: Table, required: Sequence[str], max_line_bytes: int) -> TextTable:
    """One JSONL file as a table of text. Raises: InputRefused: every fault of its bytes, names and first bad lines."""
    from pipeline.intake.jsonl import JsonLines, JsonRows  # few hand one in

    file = JsonLines(source.path, source.name, scan(source.path, source.name, max_line_bytes).encoding)
    names, blank = file.names()
    header, faults = headers.match(names, table, required if names else (), source.name)
    if faults:
        raise InputRefused(faults)
    return TextTable(
        table=table.name,
        file=source.name,
        sheet=None,
        columns=header.columns,
        source=JsonRows(file, header),
        scale=header.scale,
        left_out=blank,
        unknown_columns=header.unknown,
        stood_as=header.stood_as,
    )
