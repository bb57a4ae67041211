"""What people add to a store beside its records: named drafts, saved views. A small database of its own; editions never hold it.

What is settled about a suspect and tickets that are typed in are records: they become hand-ins, so that a rebuild keeps them.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime

from pipeline.errors import StoreBroken
from pipeline.store.editions import Store

FILE = "desk.sqlite"
_SCHEMA = """
CREATE TABLE IF NOT EXISTS drafts (
    code TEXT PRIMARY KEY, name TEXT NOT NULL, draft TEXT NOT NULL, who TEXT NOT NULL, kept_on TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS views (name TEXT PRIMARY KEY, page TEXT NOT NULL, query TEXT NOT NULL, who TEXT NOT NULL, kept_on TEXT NOT NULL);
"""
_BUSY_MS = 5_000


@dataclass(frozen=True)
class KeptDraft:
    """A draft under its code; `draft` is its JSON."""

    code: str
    name: str
    draft: str
    who: str
    kept_on: str


@dataclass(frozen=True)
class KeptView:
    """A page with its filters under a name; `query` is what stands behind the question mark of the address."""

    name: str
    page: str
    query: str
    who: str
    kept_on: str


def keep_draft(store: Store, code: str, name: str, draft: str, who: str) -> None:
    """Keep a draft; the same draft again gets the new name."""
    with _open(store) as desk:
        desk.execute("INSERT OR REPLACE INTO drafts VALUES (?, ?, ?, ?, ?)", (code, name, draft, who, _now()))


def drafts(store: Store) -> list[KeptDraft]:
    """Every kept draft, the newest first."""
    with _open(store) as desk:
        return [
            KeptDraft(*row)
            for row in desk.execute("SELECT code, name, draft, who, kept_on FROM drafts ORDER BY kept_on DESC, name").fetchall()
        ]


def draft(store: Store, code: str) -> KeptDraft | None:
    """The draft of that code, in any case of letters; None: there is none."""
    with _open(store) as desk:
        row = desk.execute("SELECT code, name, draft, who, kept_on FROM drafts WHERE code = ?", (code.strip().upper(),)).fetchone()
        return KeptDraft(*row) if row else None


def forget_draft(store: Store, code: str) -> None:
    """Take a draft out of the desk."""
    with _open(store) as desk:
        desk.execute("DELETE FROM drafts WHERE code = ?", (code,))


def keep_view(store: Store, name: str, page: str, query: str, who: str) -> None:
    """Keep a page with its filters; a name that is taken is taken over."""
    with _open(store) as desk:
        desk.execute("INSERT OR REPLACE INTO views VALUES (?, ?, ?, ?, ?)", (name, page, query, who, _now()))


def views(store: Store) -> list[KeptView]:
    """Every saved view, by name."""
    with _open(store) as desk:
        return [
            KeptView(*row)
            for row in desk.execute("SELECT name, page, query, who, kept_on FROM views ORDER BY name COLLATE NOCASE").fetchall()
        ]


def forget_view(store: Store, name: str) -> None:
    """Take a saved view out of the desk."""
    with _open(store) as desk:
        desk.execute("DELETE FROM views WHERE name = ?", (name,))


@contextmanager
def _open(store: Store) -> Iterator[sqlite3.Connection]:
    store.prepare()
    path = store.root / FILE
    desk = None
    try:
        desk = sqlite3.connect(path, timeout=_BUSY_MS / 1000)
        desk.executescript(_SCHEMA)
        with desk:
            yield desk
    except sqlite3.Error as error:
        raise StoreBroken(
            "the desk file cannot be used",
            where=str(path),
            got=str(error),
            do="see that the disk has room and the file may be written; records are not in it",
        ) from error
    finally:
        if desk is not None:
            desk.close()


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
