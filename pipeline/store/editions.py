"""Editions on the disk: where they lie, which one is live, how one is published and an old one brought back.

<store>/live                 the name of the live edition, replaced in one step
<store>/editions/000007-a1b2c3d4/   tarebook.duckdb, manifest.json, model.json (once fitted)
<store>/originals/<sha256>   every file that was handed in, byte for byte
<store>/desk.sqlite          what people add: drafts, views, settlements, tickets typed in
<store>/tarebook.toml        the settings
"""

from __future__ import annotations

import json
import secrets
import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any, Protocol

from pipeline.errors import NoModel, NoStore, StoreBroken, WrongCall
from pipeline.settings import FILE_NAME, Settings, load_settings
from pipeline.store.disk import flush, make_folder, reached, write_json, write_whole

SCHEMA_VERSION = 4
"""Format of the tables, and version of the rules that fill them. 1: rows that one line of a wide sheet makes were not told apart.
2: what pages count by was not kept as tables. 3: which lists hold the same items was not."""
DATABASE = "tarebook.duckdb"
MANIFEST = "manifest.json"
MODEL = "model.json"
_BUILDING = ".building-"


class AnyEdition(Protocol):
    """What answers read of an edition, wherever it lies."""

    @property
    def manifest(self) -> dict[str, Any]: ...
    @property
    def number(self) -> int: ...
    @property
    def has_model(self) -> bool: ...
    def model_text(self) -> str: ...
    def cursor(self) -> Any: ...


@dataclass(frozen=True)
class Edition:
    """One complete, unchanging state of the store."""

    path: Path
    manifest: dict[str, Any] = field(hash=False, compare=False)

    @property
    def number(self) -> int:
        return int(self.manifest["edition"])

    @property
    def name(self) -> str:
        return self.path.name

    @property
    def database(self) -> Path:
        return self.path / DATABASE

    @property
    def is_of_today(self) -> bool:
        """Whether its tables have today's format."""
        return int(self.manifest["schema"]) == SCHEMA_VERSION

    @property
    def rules_since(self) -> int:
        """The oldest format by whose rules some of its rows came in."""
        return int(self.manifest.get("rules_since", self.manifest["schema"]))

    @property
    def has_model(self) -> bool:
        return (self.path / MODEL).exists()

    def model_text(self) -> str:
        """The mass model's JSON. Raises: NoModel."""
        if not self.has_model:
            raise NoModel("the live edition has no mass model", where=str(self.path), do="run `tarebook fit`")
        return (self.path / MODEL).read_text("utf-8")

    @cached_property
    def _connection(self) -> Any:
        import duckdb

        try:
            if self.is_of_today:
                con = duckdb.connect(str(self.database), read_only=True, config={"threads": 2})
            else:
                from pipeline.store.formats import read_as_today

                con = duckdb.connect(config={"threads": 2})
                read_as_today(con, self.database)
        except duckdb.Error as error:
            raise StoreBroken(
                "the edition's database cannot be opened",
                where=str(self.database),
                got=str(error).splitlines()[0],
                do="`tarebook editions use N` with an older one, or `tarebook rebuild`",
            ) from error
        # Text from files is data: what reads an edition can reach nothing else, and cannot be talked into it.
        # Within one process a second connection to the same path is the same database, locked already.
        if not con.execute("SELECT current_setting('lock_configuration')").fetchall()[0][0]:
            con.execute(
                "SET autoinstall_known_extensions = false; SET autoload_known_extensions = false; SET enable_external_access = false;"
                "SET lock_configuration = true"
            )
        return con

    def copy_database(self, target: Path) -> None:
        """Begin a new edition with this one's tables, in today's format; `publish` brings it to the disk."""
        if self.is_of_today:
            shutil.copyfile(self.database, target)
        else:
            from pipeline.store.formats import write_as_today

            write_as_today(self.database, target)

    def cursor(self) -> Any:
        """A read-only cursor of the caller's own: one a query, never shared between threads."""
        with _opening:
            return self._connection.cursor()

    def close(self) -> None:
        """Let go of the database, where it was opened."""
        if "_connection" in self.__dict__:
            self.__dict__.pop("_connection").close()


_opening = threading.Lock()


@dataclass(frozen=True)
class Store:
    """A folder that holds editions; `other_settings` is a file in place of its own `tarebook.toml`."""

    root: Path
    other_settings: Path | None = None

    @property
    def editions_folder(self) -> Path:
        return self.root / "editions"

    @property
    def originals(self) -> Path:
        return self.root / "originals"

    @property
    def pointer(self) -> Path:
        return self.root / "live"

    @property
    def lock(self) -> Path:
        return self.root / "lock"

    @property
    def settings_file(self) -> Path:
        return self.other_settings or self.root / FILE_NAME

    def settings(self) -> Settings:
        """What is set for this store. Raises: InputRefused: the file has unknown keys or wrong values."""
        return load_settings(self.settings_file)

    def exists(self) -> bool:
        return self.editions_folder.is_dir() and any(self._whole())

    def editions(self) -> list[Edition]:
        """Every whole edition, oldest first."""
        return sorted(self._whole(), key=lambda edition: (edition.number, edition.name))

    def live(self) -> Edition:
        """The edition that readers get: the one pointed at, else (pointer lost or cut short) the newest whole one.

        Raises: NoStore; StoreBroken: made by a newer program.
        """
        edition = self._pointed() or next(iter(reversed(self.editions())), None)
        if edition is None:
            raise NoStore("no store here", where=str(self.root), do="`tarebook load PATH` makes one")
        return edition

    def live_name(self) -> str:
        """What the pointer says, cheaply: pages ask on every run whether a new edition has come."""
        try:
            return self.pointer.read_text("utf-8").strip()
        except OSError:
            return ""

    def use(self, number: int) -> Edition:
        """Make an older edition live. Raises: WrongCall: there is no such edition."""
        for edition in self.editions():
            if edition.number == number:
                write_whole(self.pointer, f"{edition.name}\n".encode())
                return edition
        known = " ".join(str(edition.number) for edition in self.editions()) or "none"
        raise WrongCall(f"no edition {number}", where=str(self.root), expected=f"one of: {known}")

    def prepare(self) -> None:
        """Make the store's folders."""
        for folder in (self.root, self.editions_folder, self.originals):
            make_folder(folder)

    def _pointed(self) -> Edition | None:
        name = self.live_name()
        return _read_edition(self.editions_folder / name) if name and "/" not in name else None

    def _whole(self) -> Iterator[Edition]:
        if not self.editions_folder.is_dir():
            return
        for path in self.editions_folder.iterdir():
            if not path.name.startswith(".") and (edition := _read_edition(path)):
                yield edition


def _read_edition(path: Path) -> Edition | None:
    try:
        manifest = json.loads((path / MANIFEST).read_text("utf-8"))
        whole = (path / DATABASE).stat().st_size == manifest["database_bytes"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    if manifest["schema"] > SCHEMA_VERSION:
        raise StoreBroken(
            f"edition {manifest['edition']} was made by a newer Tarebook",
            where=str(path),
            got=f"schema {manifest['schema']}",
            expected=f"{SCHEMA_VERSION} or lower",
            do="update Tarebook",
        )
    return Edition(path, manifest) if whole else None


@contextmanager
def building(store: Store) -> Iterator[Path]:
    """A folder for the next edition, gone again if it is not published; leftovers of a crash go first."""
    for leftover in store.editions_folder.glob(f"{_BUILDING}*"):
        shutil.rmtree(leftover, ignore_errors=True)
    folder = store.editions_folder / f"{_BUILDING}{secrets.token_hex(4)}"
    folder.mkdir()
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def publish(store: Store, folder: Path, manifest: dict[str, Any], settings: Settings) -> Edition:
    """Give a finished folder its name and make it live; every byte is on the disk before the pointer moves.

    Args:
        manifest: what the caller knows; number, time, schema and size are filled in here. `rules_since` is of today where
            the caller does not say that rows of an older edition are in.
    """
    number = max((edition.number for edition in store.editions()), default=0) + 1
    full = {
        "rules_since": SCHEMA_VERSION,
        **manifest,
        "edition": number,
        "made_on": datetime.now(UTC).isoformat(timespec="seconds"),
        "schema": SCHEMA_VERSION,
        "database_bytes": (folder / DATABASE).stat().st_size,
    }
    for path in folder.iterdir():
        if path.is_dir():
            shutil.rmtree(path)
        else:
            flush(path)
    write_json(folder / MANIFEST, full)
    reached("manifest-written")
    target = store.editions_folder / f"{number:06d}-{secrets.token_hex(4)}"
    folder.rename(target)
    flush(store.editions_folder)
    reached("edition-named")
    write_whole(store.pointer, f"{target.name}\n".encode())
    reached("pointer-moved")
    edition = Edition(target, full)
    prune(store, edition, settings.store.keep_editions)
    return edition


def prune(store: Store, live: Edition, keep: int) -> None:
    """Remove the oldest editions beyond `keep`, never the live one or its parent."""
    protected = {live.number, live.manifest.get("parent")}
    spare = [edition for edition in store.editions() if edition.number not in protected]
    for edition in spare[: max(0, len(spare) + len(protected) - keep)]:
        doomed = edition.path.with_name(f"{_BUILDING}{edition.name}")
        edition.path.rename(doomed)
        shutil.rmtree(doomed, ignore_errors=True)
