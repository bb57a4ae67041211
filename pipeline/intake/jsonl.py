"""JSONL: an object a line; its names are headers, its values stay the text that stood there."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import Fault, InputRefused
from pipeline.intake.headers import Header
from pipeline.intake.texttable import Cells

MOST_FAULTS = 5
"""Faults told of one file; what is no JSONL at all would have one in every line."""


@dataclass(frozen=True)
class JsonLines:
    """A JSONL file whose encoding is known."""

    path: Path
    name: str
    encoding: str

    def objects(self) -> Iterator[tuple[int, dict[str, str | None] | Fault | None]]:
        """For each line its object, the fault with it, or None where it is blank."""
        with self.path.open(encoding=self.encoding, newline="") as file:
            for line, text in enumerate(file, 1):
                yield line, self._object(line, text.strip()) if text.strip() else None

    def names(self) -> tuple[tuple[str, ...], int]:
        """Every name, in the order met, and the number of blank lines. Raises: InputRefused: lines that are no objects."""
        names: dict[str, None] = {}
        faults: list[Fault] = []
        blank = 0
        for _, found in self.objects():
            if found is None:
                blank += 1
            elif isinstance(found, Fault):
                faults.append(found)
                if len(faults) == MOST_FAULTS:
                    break
            else:
                names.update(dict.fromkeys(found))
        if faults:
            raise InputRefused(faults)
        return tuple(names), blank

    def _object(self, line: int, text: str) -> dict[str, str | None] | Fault:
        where = f"{self.name} line {line}"
        try:
            found = _DECODER.decode(text)
        except (ValueError, RecursionError) as error:
            return Fault("not readable as JSON", where=where, got=str(error)[:200], do="write one object a line")
        if not isinstance(found, dict):
            return Fault("no JSON object", where=where, expected='{"name": value, …}')
        return {name.strip(): _as_text(value) for name, value in found.items()}


@dataclass(frozen=True)
class JsonRows:
    """Rows of one table of a JSONL file. Satisfies RowSource."""

    file: JsonLines
    header: Header

    def rows(self) -> Iterator[tuple[int, Cells]]:
        names = [self.header.names[position] for position in self.header.positions]
        for line, found in self._objects():
            yield line, tuple([found.get(name) or None for name in names])

    def cell(self, line: int, column: str, item_id: str | None) -> str | None:
        return None

    def as_stood(self, line: int) -> dict[str, str]:
        """Reads on to that line."""
        for begins, found in self._objects():
            if begins == line:
                known = (self.header.names[position] for position in self.header.positions)
                return {name: value for name in known if (value := found.get(name))}
        return {}

    def _objects(self) -> Iterator[tuple[int, dict[str, str | None]]]:
        for line, found in self.file.objects():
            if isinstance(found, Fault):
                raise InputRefused(found)
            if found is not None:
                yield line, found


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name stands there twice")
    return found


_DECODER = json.JSONDecoder(object_pairs_hook=_unique, parse_float=str, parse_int=str, parse_constant=str)
"""Numbers stay as written: 34.0 is not 34, and nothing is cast here."""


def _as_text(value: Any) -> str | None:
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    return json.dumps(value, ensure_ascii=False)
