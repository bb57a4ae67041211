"""The store again, from the originals alone."""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from pipeline.errors import Fault, StoreBroken
from pipeline.intake import HandIn, SourceFile, read_hand_in
from pipeline.settings import Settings
from pipeline.sift import create_tables
from pipeline.sift.cells import literal, name
from pipeline.store.audit import digest_maker, digests
from pipeline.store.disk import copy_file, only_one, reached, writing
from pipeline.store.editions import MODEL, SCHEMA_VERSION, Edition, Store, building, publish
from pipeline.store.load import Entry, entries, finish, open_builder, take_in
from pipeline.store.schema import BY_THE_FIT, KEPT


@dataclass(frozen=True)
class Rebuilt:
    """The edition made anew and, a table each, the digest before and after."""

    edition: Edition
    before: dict[str, str]
    after: dict[str, str]

    @property
    def alike(self) -> bool:
        return self.before == self.after


def rebuild(store: Store) -> Rebuilt:
    """Build the live edition again by its own list of hand-ins, mappings and settings, and publish it where it is alike.

    Rows that came in by the rules of an older format may come to something else by today's: then it is published, and
    `before` and `after` tell which tables differ.

    Raises: NoStore; StoreBroken: an original is missing, or the rebuilt tables differ (nothing is published then).
    """
    with writing(store.root):
        live = store.live()
        store.prepare()
        with only_one(store.lock):
            return rebuild_as(store, live, entries(live), "rebuild")


def rebuild_as(store: Store, live: Edition, listed: list[Entry], by: str) -> Rebuilt:
    """Build an edition from a list of hand-ins that must come to the tables of `live`, if those are of today's rules, and publish it.

    The caller holds the store's lock. Raises: StoreBroken: as `rebuild`.
    """
    with building(store) as folder:
        _all_there(store, listed)
        settings = msgspec.convert(tomllib.loads(live.manifest["settings"]), Settings)
        with open_builder(folder, settings) as con:
            create_tables(con)
            for number, entry in enumerate(listed, 1):
                take_in(con, number, entry, read_hand_in(from_originals(store, entry), settings.intake), settings, folder)
                reached(f"hand-in-{number}-taken-in")
            _carry_over(con, live)
            manifest, _ = finish(con, settings, parent=None)
        before, after = _digests_of(live), manifest["digests"]
        if before != after and live.rules_since == SCHEMA_VERSION:
            differing = [table for table in before if before[table] != after.get(table)]
            raise StoreBroken(
                "the rebuilt store differs",
                where=str(store.root),
                got=", ".join(differing),
                expected="the digests of the live edition",
                do="was the customer key changed? the live edition stands as it was",
            )
        if live.has_model:
            copy_file(live.path / MODEL, folder / MODEL)
        manifest |= {"hand_ins": [entry.as_json() for entry in listed], "settings": live.manifest["settings"]}
        manifest |= {"by": by, "parent": live.number}
        return Rebuilt(publish(store, folder, manifest, settings), before, after)


def _carry_over(con: Any, live: Edition) -> None:
    """Copy what a fit has added (families with their numbers, estimates): it is made of records, but not by loading them."""
    ours = "SELECT table_name FROM duckdb_tables() WHERE database_name = {of} AND NOT temporary"
    con.execute(f"ATTACH {literal(str(live.database))} AS live_edition (READ_ONLY)")
    there = {table for (table,) in con.execute(ours.format(of="'live_edition'")).fetchall()}
    here = {table for (table,) in con.execute(ours.format(of="current_database()")).fetchall()}
    for table in sorted(there - here - {*KEPT, *BY_THE_FIT}):
        con.execute(f"CREATE TABLE {name(table)} AS FROM live_edition.{name(table)}")
    con.execute("DETACH live_edition")


def _digests_of(live: Edition) -> dict[str, str]:
    if live.manifest["digests_by"] == digest_maker():
        return live.manifest["digests"]
    return digests(live.cursor())


def from_originals(store: Store, entry: Entry) -> HandIn:
    """A hand-in as it was, read from the originals."""
    files = tuple(SourceFile(name, store.originals / sha, sha) for name, sha in entry.files)
    mapping = SourceFile(entry.mapping[0], store.originals / entry.mapping[1], entry.mapping[1]) if entry.mapping else None
    return HandIn(entry.name, store.originals, files, mapping)


def _all_there(store: Store, listed: list[Entry]) -> None:
    wanted = [(entry.name, file, sha) for entry in listed for file, sha in (*entry.files, *([entry.mapping] if entry.mapping else []))]
    faults = [
        Fault(f"the original of {file} is {state}", where=hand_in, expected=str(Path("originals") / sha), do="put it back from a backup")
        for hand_in, file, sha in wanted
        if (state := _state(store.originals / sha, sha)) != "whole"
    ]
    if faults:
        raise StoreBroken(faults)


def _state(path: Path, sha: str) -> str:
    if not path.exists():
        return "missing"
    with path.open("rb") as file:
        return "whole" if hashlib.file_digest(file, "sha256").hexdigest() == sha else "damaged"
