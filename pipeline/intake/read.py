"""A hand-in to its tables of text; what is wrong with any of its files is told at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from pipeline.contract import TABLES, table_named
from pipeline.errors import Fault, InputRefused, did_you_mean
from pipeline.intake.find import claimed, file_patterns, table_name
from pipeline.intake.headers import near_miss
from pipeline.intake.text_files import read_csv, read_jsonl
from pipeline.intake.texttable import HandIn, SourceFile, TextTable
from pipeline.intake.words import listed, short

if TYPE_CHECKING:
    from pipeline.intake.mapping import FileMapping
    from pipeline.settings import IntakeSettings


def read_hand_in(hand_in: HandIn, limits: IntakeSettings, required: Mapping[str, Sequence[str]] | None = None) -> list[TextTable]:
    """Read every file of a hand-in.

    Args:
        limits: what a file must keep before anything parses it.
        required: required headers by table, in place of the contract's (the jobs of drafts need no status).
    Returns: a table for each file, or for each sheet and table of a workbook, in the order of the files.
    Raises: InputRefused: carrying every fault of every file.
    """
    reader = _Reader(limits, {name: table.required for name, table in TABLES.items()} | dict(required or {}))
    tables: list[TextTable] = []
    faults: list[Fault] = []
    mapped, unreadable = reader.mappings(hand_in, faults)
    for file in hand_in.files:
        if file.name in unreadable:
            continue
        try:
            tables += reader.file(file, mapped.get(file.name))
        except InputRefused as refused:
            faults += refused.faults
        except OSError as error:
            faults.append(Fault("the file cannot be read", where=file.name, got=error.strerror or str(error)))
    if faults:
        raise InputRefused(faults)
    return tables


@dataclass(frozen=True)
class _Reader:
    limits: IntakeSettings
    required: Mapping[str, Sequence[str]]

    def mappings(self, hand_in: HandIn, faults: list[Fault]) -> tuple[dict[str, FileMapping], list[str]]:
        """The mapping by the files that it speaks of; and those files, where it cannot be used."""
        if hand_in.mapping is None:
            return {}, []
        from pipeline.intake.mapping_check import mapping_by_file

        names = [file.name for file in hand_in.files]
        try:
            return mapping_by_file(hand_in.mapping, names), []
        except InputRefused as refused:
            faults += refused.faults
            return {}, claimed(file_patterns(hand_in.mapping.path), names)

    def file(self, file: SourceFile, mapping: FileMapping | None) -> list[TextTable]:
        """Every table of one file."""
        ending = PurePath(file.name).suffix.lower()
        if mapping is not None and ending == ".csv":
            from pipeline.intake.wide import read_wide_csv

            return read_wide_csv(file, mapping, self.limits)
        if ending == ".xlsx":
            from pipeline.intake.workbook import read_workbook

            return read_workbook(file, mapping, self.required, self.limits)
        name = table_name(file.name)
        if name not in TABLES:
            raise InputRefused(_unknown_table(file.name, name))
        table, required = table_named(name), self.required[name]
        if ending == ".parquet":
            from pipeline.intake.workbook import read_parquet

            return [read_parquet(file, table, required, self.limits)]
        read = read_jsonl if ending == ".jsonl" else read_csv
        return [read(file, table, required, self.limits.max_line_bytes)]


def _unknown_table(file: str, name: str) -> Fault:
    near = near_miss(name, TABLES)
    offer = f"did you mean {near!r}?" if near else did_you_mean(name, TABLES)
    do = offer or "rename the file, hand it in with a mapping, or take it out"
    return Fault(f"no table is called {short(name)}", where=file, expected=listed(list(TABLES)), do=do)
