"""Hand-ins out of texts and bytes, and their rows as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

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
