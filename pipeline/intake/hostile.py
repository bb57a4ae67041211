"""Workbooks and Parquet files are hostile until shown otherwise: looked at from outside, then parsed in a child with limits."""

from __future__ import annotations

import json
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import Fault, InputRefused
from pipeline.intake.spool import Grid, Spool
from pipeline.intake.texttable import SourceFile

if TYPE_CHECKING:
    from pipeline.settings import IntakeSettings

_MB = 1 << 20
_SMALL_PART_BYTES = _MB
"""A part below this may pack as tightly as it likes: an empty style sheet does."""
_MOST_PARTS = 5_000
_OLD_OFFICE = b"\xd0\xcf\x11\xe0"
_CHILD = Path(__file__).with_name("child.py")


def parse_workbook(file: SourceFile, limits: IntakeSettings) -> list[Grid]:
    """The sheets of a workbook. Raises: InputRefused: it breaks a limit, or is none."""
    _check_size(file, limits)
    _check_zip(file, limits)
    return _in_child("workbook", file, limits)


def parse_parquet(file: SourceFile, limits: IntakeSettings) -> Grid:
    """A Parquet file as one sheet with its names in row 1. Raises: InputRefused: it breaks a limit, or is none."""
    _check_size(file, limits)
    return _in_child("parquet", file, limits)[0]


def _check_size(file: SourceFile, limits: IntakeSettings) -> None:
    size = file.path.stat().st_size
    if size > limits.max_workbook_mb * _MB:
        raise _over(file.name, "the file is too large", size, limits.max_workbook_mb, "max_workbook_mb")


def _check_zip(file: SourceFile, limits: IntakeSettings) -> None:
    try:
        with zipfile.ZipFile(file.path) as book:
            parts = book.infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError, UnicodeError) as error:
        raise InputRefused(_no_workbook(file, error)) from error
    names = {part.filename for part in parts}
    if len(names) != len(parts) or len(parts) > _MOST_PARTS or any(".." in Path(name).parts for name in names):
        raise InputRefused("the workbook's parts are not what a sheet program writes", where=file.name, do="save it again")
    if any(part.flag_bits & 1 for part in parts):
        raise InputRefused(_locked(file.name))
    unpacked = sum(part.file_size for part in parts)
    if unpacked > limits.max_unpacked_mb * _MB:
        raise _over(file.name, "it unpacks to too much", unpacked, limits.max_unpacked_mb, "max_unpacked_mb")
    for part in parts:
        ratio = part.file_size / max(1, part.compress_size)
        if part.file_size > _SMALL_PART_BYTES and ratio > limits.max_ratio:
            raise InputRefused(
                "it unpacks to suspiciously much",
                where=file.name,
                got=f"{ratio:,.0f} times its packed size",
                expected=f"at most {limits.max_ratio:g} times",
                do="delete empty rows and columns and save it again, or raise intake.max_ratio in the settings",
            )


def _in_child(kind: str, file: SourceFile, limits: IntakeSettings) -> list[Grid]:
    spool = Spool()
    request = {
        "kind": kind,
        "path": str(file.path.absolute()),
        "memory_mb": limits.child_memory_mb,
        "seconds": limits.child_seconds,
        "written_mb": int(4 * limits.max_unpacked_mb) + 1,
        "max_rows": limits.max_sheet_rows,
        "max_columns": limits.max_sheet_columns,
    }
    # -I: neither the working folder nor the environment can put a module in the child's way
    command = [sys.executable, "-I", "-X", "utf8", str(_CHILD)]
    try:
        ended = subprocess.run(
            command,
            input=json.dumps(request).encode(),
            stdout=spool.fd,
            stderr=subprocess.DEVNULL,
            timeout=limits.child_seconds,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise _too_slow(kind, file.name, limits) from error
    grids, last = _sheets(spool)
    if "fault" in last:
        raise InputRefused(Fault(where=file.name, **last["fault"]))
    if "end" not in last:
        raise InputRefused(
            f"parsing the {kind} broke off",
            where=file.name,
            got=f"exit {ended.returncode}" if ended.returncode >= 0 else f"signal {-ended.returncode}",
            expected=f"at most {limits.child_memory_mb} MB of memory and {limits.child_seconds:g} s",
            do="save it again, or as CSV",
        )
    return grids


def _sheets(spool: Spool) -> tuple[list[Grid], dict[str, Any]]:
    """The sheets in a spool and its last line. What the child wrote is checked: the file may have taken it over."""
    grids: list[Grid] = []
    last: dict[str, Any] = {}
    for offset, line in spool.lines():
        end = offset + len(line) + 1
        try:
            record = json.loads(line)
        except (ValueError, RecursionError):
            return [], {}
        if isinstance(record, dict):
            last = record
            if isinstance(record.get("sheet"), str):
                grids.append(Grid(record["sheet"], spool, end, end))
        elif grids and _is_row(record):
            grids[-1].end, grids[-1].last_row = end, record[0]
            grids[-1].filled += 1
        else:
            return [], {}
    return grids, last


def _is_row(record: Any) -> bool:
    return (
        isinstance(record, list)
        and len(record) == 2
        and isinstance(record[0], int)
        and isinstance(record[1], list)
        and all(cell is None or type(cell) in (str, int, float) for cell in record[1])
    )


def _no_workbook(file: SourceFile, error: Exception) -> Fault:
    with file.path.open("rb") as opened:
        if opened.read(4) == _OLD_OFFICE:
            return _locked(file.name)
    return Fault("not an .xlsx workbook", where=file.name, got=str(error), do="open it in a sheet program and save it as .xlsx or CSV")


def _locked(where: str) -> Fault:
    return Fault("the workbook is locked with a password, or of an old format", where=where, do="save it without password as .xlsx")


def _too_slow(kind: str, where: str, limits: IntakeSettings) -> InputRefused:
    return InputRefused(
        f"parsing the {kind} takes too long",
        where=where,
        expected=f"at most {limits.child_seconds:g} s",
        do="save the list as CSV, or raise intake.child_seconds in the settings",
    )


def _over(where: str, what: str, size: float, most_mb: float, key: str) -> InputRefused:
    return InputRefused(
        what,
        where=where,
        got=f"{size / _MB:.3g} MB",
        expected=f"at most {most_mb:g} MB",
        do=f"split it, or raise intake.{key} in the settings",
    )
