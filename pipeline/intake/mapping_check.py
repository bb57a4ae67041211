"""Reads a mapping and checks it as a whole: every problem in it is told at once."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from typing import Any, get_type_hints

import msgspec
from msgspec import Struct

from pipeline.contract import TABLES, table_named
from pipeline.errors import Fault, InputRefused, did_you_mean
from pipeline.intake.cells import UNITS, date_pattern, dimension
from pipeline.intake.find import claimed
from pipeline.intake.headers import near_miss
from pipeline.intake.mapping import FileMapping, ItemColumns, LeaveOut, SheetMapping, TableColumns
from pipeline.intake.texttable import SourceFile
from pipeline.intake.words import listed, short

_APART = ("item_columns", "leave_out")
_COLUMNS = {column.name: column for table in TABLES.values() for column in table.columns}


def mapping_by_file(source: SourceFile, names: Sequence[str]) -> dict[str, FileMapping]:
    """The mapping for each file of a hand-in that it speaks of. Raises: InputRefused: every problem of the mapping."""
    found: dict[str, list[SheetMapping]] = {}
    for sheet in read_mapping(source):
        for file in claimed([sheet.file], names):
            found.setdefault(file, []).append(sheet)
    return {file: FileMapping(source.name, sheets) for file, sheets in found.items()}


def read_mapping(source: SourceFile) -> list[SheetMapping]:
    """The sheets of a mapping. Raises: InputRefused: every problem in it."""
    try:
        given = tomllib.loads(source.path.read_text("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise InputRefused("not readable as TOML", where=source.name, got=str(error), do="mend the line that it names") from error
    checker = _Checker(source.name)
    sheets = checker.sheets(given)
    if checker.faults:
        raise InputRefused(checker.faults)
    return sheets


class _Checker:
    """Converts what TOML gave, and collects what is wrong with it."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.faults: list[Fault] = []

    def fault(self, at: str, what: str, **parts: str) -> None:
        self.faults.append(Fault(f"{at}: {what}" if at else what, where=self.where, **parts))

    def no_key(self, at: str, key: str, known: Iterable[str]) -> None:
        known = list(known)
        self.fault(at, f"no key {short(key)}", do=self.offer(key, known) or f"it may be {listed(known, 40)}")

    @staticmethod
    def offer(word: str, known: Sequence[str]) -> str:
        near = near_miss(word, known)
        return f"did you mean {near!r}?" if near else did_you_mean(word, known)

    def sheets(self, given: dict[str, Any]) -> list[SheetMapping]:
        for key in given:
            if key != "sheet":
                self.no_key("", key, ["sheet"])
        found = _sections(given.get("sheet", []))
        if not found:
            self.fault("", "no section [[sheet]]", do="write one for each sheet to read")
        sheets = [self.sheet(part, f"sheet {i}" if len(found) > 1 else "sheet") for i, part in enumerate(found, 1)]
        return [sheet for sheet in sheets if sheet]

    def sheet(self, given: Any, at: str) -> SheetMapping | None:
        if not isinstance(given, dict):
            self.fault(at, "no section", got=short(str(given)))
            return None
        known = [name for name in get_type_hints(SheetMapping) if name != "tables"] + list(TABLES)
        values = self.values({key: value for key, value in given.items() if key not in (*TABLES, *_APART)}, SheetMapping, at, known)
        values["tables"] = [self.table(part, name, f"{at}, {name}") for name in TABLES for part in _sections(given.get(name, []))]
        values["item_columns"] = self.structs(given, "item_columns", ItemColumns, at)
        values["leave_out"] = self.structs(given, "leave_out", LeaveOut, at)
        sheet = SheetMapping(**values)
        self.check(sheet, at)
        return sheet

    def structs(self, given: dict[str, Any], key: str, struct: type[Any], at: str) -> list[Any]:
        """Sections of one kind; one with a fault in it is left out, having been told."""
        found = []
        for part in _sections(given.get(key, [])):
            before = len(self.faults)
            values = self.values(part, struct, f"{at}, {key}", list(get_type_hints(struct)))
            if len(self.faults) == before:
                found.append(struct(**values))
        return found

    def values(self, given: Any, struct: type[Struct], at: str, known: list[str]) -> dict[str, Any]:
        """Every value that fits its key."""
        if not isinstance(given, dict):
            self.fault(at, "no section", got=short(str(given)))
            return {}
        hints = get_type_hints(struct, include_extras=True)
        values: dict[str, Any] = {}
        for key, value in given.items():
            if key not in known:
                self.no_key(at, key, known)
                continue
            try:
                values[key] = msgspec.convert(value, hints[key])
            except msgspec.ValidationError as error:
                self.fault(at, f"{key} cannot be {short(str(value))}", do=str(error))
        for info in msgspec.structs.fields(struct):
            if info.required and info.name not in given:
                self.fault(at, f"{info.name} is missing", do="say which header it is")
        return values

    def table(self, given: Any, name: str, at: str) -> TableColumns:
        """One table's columns by header."""
        table, given = table_named(name), given if isinstance(given, dict) else {}
        columns: dict[str, str] = {}
        for key, header in given.items():
            if key in ("always", "only_if"):
                continue
            if key not in table.names:
                self.no_key(at, key, [*table.names, "always", "only_if"])
            elif not isinstance(header, str) or not header.strip():
                self.fault(at, f"{key} cannot be {short(str(header))}", expected="the header under which it stands")
            else:
                columns[key] = header
        always, only_if = given.get("always", {}), given.get("only_if", "")
        if not isinstance(always, dict) or not all(isinstance(value, str) for value in always.values()):
            self.fault(at, f"always cannot be {short(str(always))}", expected='{ column = "text" }')
            always = {}
        if not isinstance(only_if, str):
            self.fault(at, f"only_if cannot be {short(str(only_if))}", expected="a header")
            only_if = ""
        for key in always:
            if key not in table.names:
                self.no_key(f"{at}, always", key, table.names)
            elif key in columns:
                self.fault(at, f"{key} has a header and an always", do="keep one of them")
        for key in table.required:
            if key not in columns and key not in always:
                self.fault(at, f"{key} is missing", do="say which header it is, or add always = { … }")
        return TableColumns(name, columns, always, only_if)

    def check(self, sheet: SheetMapping, at: str) -> None:
        """What no single key shows."""
        if not sheet.tables and not sheet.item_columns:
            self.fault(at, "it makes no table", do="add a section such as [sheet.bodies]")
        if "/" in sheet.file or "\\" in sheet.file:
            self.fault(at, f"file cannot be {short(sheet.file)}", expected="a file of the hand-in itself, without a folder")
        for written in sheet.dates:
            if not date_pattern(written):
                self.fault(at, f"dates: {short(written)} is no format", expected="one such as DD/MM/YYYY or D MMM YY")
        for key in ("case", "prefix", "units", "empty", "words"):
            for column in getattr(sheet, key):
                if column not in _COLUMNS:
                    self.no_key(f"{at}, {key}", column, _COLUMNS)
        for column, unit in sheet.units.items():
            its = dimension(column)
            if column in _COLUMNS and (unit not in UNITS or UNITS[unit][0] != its):
                fitting = [name for name, (kind, _) in UNITS.items() if kind == its]
                expected = listed(fitting) or "no unit, it is a plain number"
                self.fault(f"{at}, units", f"{column} cannot be in {short(unit)}", expected=expected)
        for rule in sheet.leave_out:
            if rule.conditions() != 1:
                self.fault(f"{at}, leave_out", "one condition is needed", expected="equals, starts_with, contains or empty = true")
        for part in sheet.item_columns:
            self.items(part, f"{at}, item_columns")

    def items(self, part: ItemColumns, at: str) -> None:
        """One set of item columns."""
        if bool(part.first) != bool(part.last) or not (part.first or part.columns):
            self.fault(at, "no item columns", expected="first and last, or [sheet.item_columns.columns]")
        for key in part.always:
            if key not in ("revision", "body", "zone"):
                self.no_key(f"{at}, always", key, ("revision", "body", "zone"))
        if not part.body and "body" not in part.always:
            self.fault(at, "body is missing", do='say which header it is, or add always = { body = "canopy" }')


def _sections(given: Any) -> list[Any]:
    """One section or several."""
    return given if isinstance(given, list) else [given]
