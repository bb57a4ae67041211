"""Paths to hand-ins: which folders and workbooks were handed in, and which files in them are tables."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path

from pipeline.contract import TABLES
from pipeline.errors import Fault, InputRefused
from pipeline.intake.texttable import HandIn, SourceFile
from pipeline.intake.words import listed, short, shown

TABLE_ENDINGS = (".csv", ".jsonl", ".parquet", ".xlsx")
WIDE_ENDINGS = (".csv", ".xlsx")
"""What a mapping can read."""
MAPPING_NAME = "intake.toml"


def table_name(name: str) -> str:
    """What stands before the first dot or dash of a file's or a sheet's name.

    >>> table_name("bodies-2024.csv"), table_name("bodies.north.csv"), table_name("on_vehicle.jsonl")
    ('bodies', 'bodies', 'on_vehicle')
    """
    return name.replace("-", ".").split(".", 1)[0].strip()


def find_hand_ins(paths: Sequence[Path], mapping: Path | None = None) -> list[HandIn]:
    """The hand-ins at some paths, each path's own first and then those in it by name.

    A folder that holds table files or an `intake.toml` is one; so is each workbook that is no table file, each file with a
    `NAME.intake.toml` beside it, and each sub-folder with any of these. A path to a single file is a hand-in of that file.

    Args:
        mapping: read instead of the hand-in's own wherever a file is there that it may speak of.
    Raises: InputRefused: a path that is not there or holds nothing to read, a link that leads out of it; all at once.
    """
    search = _Search(None if mapping is None else Path(mapping))
    for path in paths:
        search.path(Path(path))
    if search.mapping and not search.mapping_used and not search.faults:
        search.faults.append(Fault("speaks of no file that was handed in", where=shown(search.mapping.name), do="see its 'file'"))
    if search.faults:
        raise InputRefused(search.faults)
    return search.hand_ins


def claimed(patterns: Iterable[str], names: Iterable[str]) -> list[str]:
    """The files that a mapping speaks of: by name or pattern, or whatever is no table file where it names none.

    >>> claimed(["list*.csv"], ["list-1.csv", "bodies.csv"]), claimed([""], ["old.xlsx", "bodies.csv"])
    (['list-1.csv'], ['old.xlsx'])
    """
    wide = [name for name in names if name.lower().endswith(WIDE_ENDINGS)]
    return [name for name in wide if any(fnmatchcase(name, pattern) if pattern else table_name(name) not in TABLES for pattern in patterns)]


def file_patterns(mapping: Path) -> list[str]:
    """The `file` of each sheet of a mapping, empty where it names none; a mapping that cannot be read speaks of any file."""
    import tomllib

    try:
        sheets = tomllib.loads(mapping.read_text("utf-8-sig")).get("sheet", [{}])
    except (OSError, ValueError, RecursionError):
        return [""]
    found = [sheet.get("file", "") for sheet in (sheets if isinstance(sheets, list) else [sheets]) if isinstance(sheet, dict)]
    return [pattern if isinstance(pattern, str) else "" for pattern in found]


@dataclass
class _Folder:
    """What lies in one folder, sorted by kind; names are relative to it."""

    tables: list[Path] = field(default_factory=list)
    mappings: dict[str, Path] = field(default_factory=dict)
    folders: list[Path] = field(default_factory=list)


@dataclass
class _Search:
    mapping: Path | None
    mapping_used: bool = False
    hand_ins: list[HandIn] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def __post_init__(self) -> None:
        if self.mapping and not self.mapping.is_file():
            self.faults.append(Fault("no such mapping", where=shown(str(self.mapping))))
            self.mapping = None

    def path(self, path: Path) -> None:
        """Take in one path of the call."""
        before = len(self.hand_ins) + len(self.faults)
        if path.is_dir():
            self._folder(path, path, shown(path.resolve().name))
        elif path.is_file():
            self._single(path)
        else:
            self.faults.append(Fault("no such file or folder", where=shown(str(path))))
        if len(self.hand_ins) + len(self.faults) == before:
            expected = "<table>.csv, .xlsx, .parquet or .jsonl, or a workbook"
            self.faults.append(Fault("nothing to read", where=shown(str(path)), expected=expected, do=f"tables are {listed(list(TABLES))}"))

    def _single(self, path: Path) -> None:
        if path.name.lower().endswith(TABLE_ENDINGS):
            beside = path.with_name(f"{path.stem}.{MAPPING_NAME}")
            self._add(path.name, path.parent, [path], beside if beside.is_file() else None, path.name)

    def _folder(self, top: Path, folder: Path, name: str) -> None:
        found = self._sorted_out(top, folder)
        names = {path.name: path for path in found.tables}
        mapping = self._mapping_for(names, found.mappings.get(MAPPING_NAME))
        ours = set(claimed(file_patterns(mapping), names)) if mapping else set()
        apart = [path for path in found.tables if path.name not in ours and self._stands_alone(path, found)]
        own = [path for path in found.tables if path not in apart]
        if own or mapping:
            self._add(name, folder, own, mapping, name)
        inside = "" if folder == top else f"{folder.relative_to(top).as_posix()}/"
        for path in sorted([*apart, *found.folders], key=lambda path: path.name):
            if path in found.folders:
                self._folder(top, path, shown(f"{inside}{path.name}"))
            else:
                self._add(f"{inside}{path.name}", folder, [path], found.mappings.get(f"{path.stem}.{MAPPING_NAME}"), path.name)

    def _mapping_for(self, names: Iterable[str], own: Path | None) -> Path | None:
        if self.mapping and claimed(file_patterns(self.mapping), names):
            return self.mapping
        return own

    @staticmethod
    def _stands_alone(path: Path, found: _Folder) -> bool:
        mapped = f"{path.stem}.{MAPPING_NAME}" in found.mappings
        return table_name(path.name) not in TABLES and (mapped or path.suffix.lower() == ".xlsx")

    def _sorted_out(self, top: Path, folder: Path) -> _Folder:
        found = _Folder()
        try:
            entries = sorted(folder.iterdir(), key=lambda path: path.name)
        except OSError as error:
            self.faults.append(Fault("the folder cannot be read", where=shown(str(folder)), got=error.strerror or ""))
            return found
        for path in entries:
            if not path.name.startswith((".", "~$")):
                self._sort_out(top, path, found)
        return found

    def _sort_out(self, top: Path, path: Path, found: _Folder) -> None:
        is_table, is_mapping = path.name.lower().endswith(TABLE_ENDINGS), path.name.endswith(MAPPING_NAME)
        if path.is_symlink() and (is_table or is_mapping or path.is_dir()):
            if not path.resolve().is_relative_to(top.resolve()):
                self.faults.append(Fault("a link that leads out of the hand-in", where=shown(str(path)), do="put the file itself there"))
                return
            if path.is_dir():
                return
        if path.is_dir():
            found.folders.append(path)
        elif is_table:
            found.tables.append(path)
        elif is_mapping:
            found.mappings[path.name] = path

    def _add(self, name: str, root: Path, paths: list[Path], mapping: Path | None, where: str) -> None:
        if self.mapping and (mapping == self.mapping or self._mapping_for([path.name for path in paths], None)):
            mapping, self.mapping_used = self.mapping, True
        if mapping:
            self._check_files(mapping, [path.name for path in paths])
        files = [source for path in paths if (source := self._source(path))]
        self.hand_ins.append(HandIn(shown(name), root, tuple(files), self._source(mapping) if mapping else None))

    def _check_files(self, mapping: Path, names: list[str]) -> None:
        """Each sheet of a mapping must find its file; one that names none must find just one."""
        for pattern in dict.fromkeys(file_patterns(mapping)):
            found, where = claimed([pattern], names), shown(mapping.name)
            if not found and pattern:
                self.faults.append(Fault(f"no file {short(pattern)} in the hand-in", where=where, got=listed(names), do="see its file ="))
            elif not found:
                self.faults.append(Fault("no file in the hand-in that it could speak of", where=where, got=listed(names)))
            elif len(found) > 1 and not pattern:
                self.faults.append(
                    Fault("it could speak of several files", where=where, got=listed(found), do="add file = to each [[sheet]]")
                )

    def _source(self, path: Path) -> SourceFile | None:
        where = shown(path.name)
        if where != path.name:
            self.faults.append(Fault("the file's name holds a line break or the like", where=where, do="rename it"))
        elif not path.is_file():
            self.faults.append(Fault("not a file", where=where, do="put the file itself there"))
        else:
            try:
                with path.open("rb") as file:
                    return SourceFile(path.name, path, hashlib.file_digest(file, "sha256").hexdigest())
            except OSError as error:
                self.faults.append(Fault("the file cannot be read", where=where, got=error.strerror or str(error)))
        return None
