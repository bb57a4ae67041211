"""Hand-ins in, one edition out: all of them, or nothing changes."""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from itertools import chain
from pathlib import Path
from typing import Any

from pipeline.contract import TABLES
from pipeline.errors import Fault, InputRefused
from pipeline.intake import HandIn, SourceFile, TextTable, find_hand_ins, read_hand_in
from pipeline.settings import Settings
from pipeline.sift import Source, arrive, create_tables, restore_cells, stage, stage_at_once, stage_tables
from pipeline.sift.soft import mark_suspects
from pipeline.store.audit import audit, digest_maker, digests, records_to
from pipeline.store.customer import customer_key
from pipeline.store.disk import copy_file, flush, only_one, reached, writing
from pipeline.store.editions import DATABASE, MODEL, SCHEMA_VERSION, Edition, Store, building, publish
from pipeline.store.schema import create_views, forget_fit, keep_facts

ACCOUNT_COLUMNS = ("hand_in", "file", "table", "sha256", "read", "kept", "suspect", "rejected", "superseded", "left_out", "taken_up")


@dataclass(frozen=True)
class LoadResult:
    """What a load did: the edition that is live now, the accounts it changed (rows of ACCOUNT_COLUMNS), and remarks."""

    edition: Edition
    accounts: list[dict[str, Any]]
    remarks: list[str] = field(default_factory=list)
    changed: bool = True


@dataclass(frozen=True)
class Entry:
    """One hand-in as the manifest lists it, enough to read it again from the originals."""

    name: str
    loaded_on: str
    files: tuple[tuple[str, str], ...]
    mapping: tuple[str, str] | None

    def as_json(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "loaded_on": self.loaded_on,
            "files": [list(file) for file in self.files],
            "mapping": list(self.mapping) if self.mapping else None,
        }

    @staticmethod
    def from_json(value: dict[str, Any]) -> Entry:
        return Entry(
            value["name"],
            value["loaded_on"],
            tuple((name, sha) for name, sha in value["files"]),
            tuple(value["mapping"]) if value["mapping"] else None,
        )


def load(paths: Sequence[Path], store: Store, mapping: Path | None = None, by: str = "load") -> LoadResult:
    """Take hand-ins in and publish one edition with them.

    Args:
        paths: folders and workbooks, or folders that hold several of them.
        mapping: an intake.toml for all of them, in place of the ones beside the files.
    Raises: InputRefused: a file cannot be used; StoreBusy, StoreUnwritable. Nothing was changed then.
    """
    hand_ins = find_hand_ins(paths, mapping)
    with writing(store.root):
        store.prepare()
        with only_one(store.lock):
            settings = store.settings()
            parent = store.live() if store.exists() else None
            fresh, remarks = _unseen(hand_ins, parent)
            if not fresh and parent is not None:
                return _nothing_new(parent, hand_ins, remarks)
            with _keeping_originals(store, fresh):
                tables = _read_all(fresh, settings)
                reached("files-read")
            reached("originals-kept")
            return _build(store, parent, fresh, tables, settings, remarks, by)


def _unseen(hand_ins: Sequence[HandIn], parent: Edition | None) -> tuple[list[HandIn], list[str]]:
    """Leave out the files whose bytes are in the live list already."""
    seen = {(sha, entry.mapping and entry.mapping[1]) for entry in entries(parent) for _, sha in entry.files}
    fresh, remarks = [], []
    for hand_in in hand_ins:
        mapping = hand_in.mapping.sha256 if hand_in.mapping else None
        files = tuple(file for file in hand_in.files if (file.sha256, mapping) not in seen)
        remarks += [f"{hand_in.name}: {file.name} is loaded already, left as it is" for file in hand_in.files if file not in files]
        if files:
            fresh.append(HandIn(hand_in.name, hand_in.root, files, hand_in.mapping))
            seen |= {(file.sha256, mapping) for file in files}
    return fresh, remarks


def entries(edition: Edition | None) -> list[Entry]:
    """The hand-ins of an edition, in the order they were loaded."""
    return [Entry.from_json(value) for value in edition.manifest["hand_ins"]] if edition else []


def _nothing_new(parent: Edition, hand_ins: Sequence[HandIn], remarks: list[str]) -> LoadResult:
    known = {file.sha256 for hand_in in hand_ins for file in hand_in.files}
    accounts = [account for account in accounts_of(parent.cursor()) if account["sha256"] in known]
    return LoadResult(parent, accounts, remarks, changed=False)


def _read_all(hand_ins: Sequence[HandIn], settings: Settings) -> list[list[TextTable]]:
    """Read every hand-in's files as text, or refuse with the faults of all of them."""
    tables: list[list[TextTable]] = []
    faults: list[Fault] = []
    for hand_in in hand_ins:
        try:
            tables.append(read_hand_in(hand_in, settings.intake))
        except InputRefused as refused:
            faults.extend(refused.faults)
    if faults:
        raise InputRefused(faults)
    return tables


@contextmanager
def _keeping_originals(store: Store, hand_ins: Sequence[HandIn]) -> Iterator[None]:
    """Copy the files of some hand-ins to the disk beside what is done in this block; they are originals once it has ended well."""
    files = [file for hand_in in hand_ins for file in (*hand_in.files, *([hand_in.mapping] if hand_in.mapping else []))]
    parts: dict[Path, Path] = {}
    try:
        with ThreadPoolExecutor(1) as beside:
            copying = beside.submit(_copy_originals, store, files, parts)
            yield
        copying.result()
        for part, kept in parts.items():
            part.replace(kept)
        flush(store.originals)
    finally:
        for part in parts:
            part.unlink(missing_ok=True)


def _copy_originals(store: Store, files: Sequence[SourceFile], parts: dict[Path, Path]) -> None:
    """Copy what is not kept yet byte for byte, readable by its owner alone: customers' names stand in it.

    Args:
        parts: takes the copies, and what each is to be called: its SHA-256.
    """
    for file in {file.sha256: file for file in files}.values():
        kept = store.originals / file.sha256
        if not (kept.exists() and kept.stat().st_size == file.path.stat().st_size):
            part = store.originals / f".{file.sha256}.{secrets.token_hex(4)}.part"
            parts[part] = kept
            copy_file(file.path, part)
            part.chmod(0o600)


def _build(
    store: Store,
    parent: Edition | None,
    fresh: list[HandIn],
    tables: list[list[TextTable]],
    settings: Settings,
    remarks: list[str],
    by: str,
) -> LoadResult:
    before = {_account_key(account): account for account in accounts_of(parent.cursor())} if parent else {}
    listed = entries(parent)
    today = date.today().isoformat()
    with building(store) as folder:
        if parent:
            parent.copy_database(folder / DATABASE)
            if parent.has_model:
                copy_file(parent.path / MODEL, folder / MODEL)
        reached("copied-parent")
        with open_builder(folder, settings) as con:
            if parent is None:
                create_tables(con)
            names = _unique_names(fresh, listed)
            for name, hand_in, texts in zip(names, fresh, tables, strict=True):
                entry = Entry(
                    name,
                    today,
                    tuple((file.name, file.sha256) for file in hand_in.files),
                    (hand_in.mapping.name, hand_in.mapping.sha256) if hand_in.mapping else None,
                )
                listed.append(entry)
                take_in(con, len(listed), entry, texts, settings, folder)
                remarks += [
                    f"{name}: {text.file}: column {column!r} is not ours, left out" for text in texts for column in text.unknown_columns
                ]
                reached(f"hand-in-{len(listed)}-taken-in")
            manifest, accounts = finish(con, settings, parent)
        reached("database-closed")
        manifest |= {
            "by": by,
            "parent": parent.number if parent else None,
            "rules_since": parent.rules_since if parent else SCHEMA_VERSION,
            "hand_ins": [entry.as_json() for entry in listed],
            "settings": store.settings_file.read_text("utf-8") if store.settings_file.exists() else "",
        }
        edition = publish(store, folder, manifest, settings)
    changed = [account for account in accounts if before.get(_account_key(account)) != account]
    return LoadResult(edition, changed, remarks)


def take_in(con: Any, number: int, entry: Entry, texts: Sequence[TextTable], settings: Settings, scratch: Path) -> None:
    """Stage, sift and settle the tables of one hand-in."""
    loaded_on = date.fromisoformat(entry.loaded_on)
    last_date = loaded_on.replace(year=loaded_on.year + 1, day=min(loaded_on.day, 28)).isoformat()
    con.execute("INSERT INTO hand_ins VALUES (?, ?, ?)", [number, entry.name, entry.loaded_on])
    # The first hand-in of an edition finds nothing there: its tables become the live ones.
    first = number == 1
    stage_tables(con, first=first)
    next_id = con.execute("SELECT coalesce(max(source_id), 0) + 1 FROM sources").fetchall()[0][0]
    shas = dict(entry.files)
    sources = [Source(text, source_id, number, last_date, customer_key()) for source_id, text in enumerate(texts, next_id)]
    rows = stage_at_once(con, sources, settings, scratch) if first else [stage(con, source, settings, scratch) for source in sources]
    listed = [
        (
            source.source_id,
            number,
            text.file,
            text.sheet,
            text.table,
            shas[text.file],
            entry.mapping and entry.mapping[1],
            read,
            text.left_out,
            0,
        )
        for source, text, read in zip(sources, texts, rows, strict=True)
    ]
    if listed:
        places = ", ".join(["(?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"] * len(listed))
        con.execute(f"INSERT INTO sources VALUES {places}", list(chain.from_iterable(listed)))
    arrive(con, number, first=TABLES if first else ())
    restore_cells(con, sources, scratch)
    con.execute("CREATE TEMP TABLE IF NOT EXISTS widely (yes BOOLEAN)")
    if any(text.table in ("vehicles", "upgrades", "items", "settlements") for text in texts):
        con.execute("INSERT INTO widely VALUES (true)")


def finish(con: Any, settings: Settings, parent: Edition | None) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Soft rules, views and the tables kept of them, audit and digests of a database that took its hand-ins in."""
    everywhere = parent is None or bool(con.execute("SELECT 1 FROM widely LIMIT 1").fetchall())
    mark_suspects(con, settings, everywhere)
    create_views(con)
    keep_facts(con, everywhere)
    forget_fit(con)
    rows = audit(con)
    manifest = {
        "rows": rows,
        "digests": digests(con, _digests_to_add_to(parent)),
        "digests_by": digest_maker(),
        "records_to": records_to(con),
    }
    accounts = accounts_of(con)
    con.execute("CHECKPOINT")
    return manifest, accounts


def _digests_to_add_to(parent: Edition | None) -> dict[str, str] | None:
    """The parent's digests, if today's rules and this database would make the same of its tables."""
    of_today = parent is not None and parent.is_of_today and parent.manifest["digests_by"] == digest_maker()
    return parent.manifest["digests"] if parent and of_today else None


def accounts_of(con: Any) -> list[dict[str, Any]]:
    """The accounts of an edition, a row a file and table."""
    columns = ", ".join(f'"{column}"' for column in ACCOUNT_COLUMNS)
    return [dict(zip(ACCOUNT_COLUMNS, row, strict=True)) for row in con.execute(f"SELECT {columns} FROM accounts").fetchall()]


def _account_key(account: dict[str, Any]) -> tuple[Any, ...]:
    return account["hand_in"], account["file"], account["table"], account["sha256"]


def _unique_names(hand_ins: Sequence[HandIn], listed: Sequence[Entry]) -> list[str]:
    taken, names = {entry.name for entry in listed}, []
    for hand_in in hand_ins:
        name, turn = hand_in.name, 1
        while name in taken:
            turn += 1
            name = f"{hand_in.name} ({turn})"
        taken.add(name)
        names.append(name)
    return names


@contextmanager
def open_builder(folder: Path, settings: Settings) -> Iterator[Any]:
    """The one connection that writes an edition, closed when the block ends."""
    import duckdb

    scratch = folder / "scratch"
    scratch.mkdir()
    con = duckdb.connect(
        str(folder / DATABASE),
        config={
            "memory_limit": f"{settings.store.memory_mb}MB",
            "threads": settings.store.threads,
            "temp_directory": str(scratch),
            # Nothing counts before `publish`, which brings every byte to the disk.
            "fsync_mode": "NONE",
        },
    )
    try:
        yield con
    finally:
        con.close()
