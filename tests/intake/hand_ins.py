"""Hand-ins out of texts and bytes, and their rows as plain values."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import xlsxwriter

from pipeline.intake import TextTable

Files = Mapping[str, str | bytes]


def write(folder: Path, files: Files) -> Path:
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return folder


def cells(table: TextTable) -> list[tuple[str | None, ...]]:
    return [row for _, row in table.rows()]


def records(table: TextTable) -> list[dict[str, str]]:
    return [{column: cell for column, cell in zip(table.columns, row, strict=True) if cell is not None} for row in cells(table)]


def workbook(sheets: Mapping[str, list[list[Any]]]) -> bytes:
    """A workbook; a pair is a formula and its value, a date gets a date's format."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        day, hour = book.add_format({"num_format": "dd/mm/yyyy"}), book.add_format({"num_format": "dd/mm/yyyy hh:mm"})
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for r, row in enumerate(rows):
                for c, value in enumerate(row):
                    if isinstance(value, dt.datetime):
                        sheet.write_datetime(r, c, value, hour if value.hour else day)
                    elif isinstance(value, tuple):
                        sheet.write_formula(r, c, value[0], None, value[1])
                    else:
                        sheet.write(r, c, value)
    return out.getvalue()
