"""Editions on other machines: published to a folder or object storage, followed by any number of dashboards.

    <url>/live.json                         which edition is live there, with the digest of each of its files; written last
    <url>/editions/<name>/<file>            the files of an edition; originals never leave the store

Whoever dies on the way leaves `live.json` as it was. A follower takes an edition only when every digest agrees, and
switches by its own pointer, so that its dashboards see whole editions alone; while the source is away they keep theirs.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import Fault, SourceAway, SourceDamaged, TarebookError
from pipeline.store.disk import flush, only_one, reached, write_whole, writing
from pipeline.store.editions import DATABASE, MANIFEST, MODEL, Edition, Store, building, prune

LIVE = "live.json"
BLOCK = 4 * 1024 * 1024


@dataclass(frozen=True)
class Place:
    """A folder or a bucket, by its fsspec file system and path."""

    files: Any
    root: str

    def path(self, *parts: str) -> str:
        return "/".join((self.root.rstrip("/"), *parts))


def publish_edition(edition: Edition, url: str) -> list[str]:
    """Copy an edition to `url` and make it the live one there; what is there already with the same digest stays.

    Returns: the files that were copied.
    Raises: SourceAway: the place cannot be reached or written.
    """
    with reaching(url) as place:
        names = [name for name in (DATABASE, MANIFEST, MODEL) if (edition.path / name).exists()]
        told = {name: {"sha256": _digest(edition.path / name), "bytes": (edition.path / name).stat().st_size} for name in names}
        before = _live(place)
        place.files.makedirs(place.path("editions", edition.name), exist_ok=True)
        known = before["files"] if before and before["edition"] == edition.name else {}
        copied = [name for name in names if known.get(name) != told[name]]
        for name in copied:
            place.files.put_file(str(edition.path / name), place.path("editions", edition.name, name))
            reached(f"copied-{name}")
        put_whole(place, LIVE, json.dumps({"edition": edition.name, "number": edition.number, "files": told}, indent=1).encode())
        return copied


def follow_once(store: Store, url: str) -> Edition | None:
    """Take over the edition that is live at `url`, if it is another than ours.

    Returns: the new live edition, or None where ours is the same.
    Raises: SourceAway: not to be reached; SourceDamaged: a file does not agree with its digest. Ours stays live then.
    """
    with reaching(url) as place, writing(store.root):
        told = _live(place)
        if told is None:
            raise SourceAway("nothing was published there", where=url, do="`tarebook editions publish` first, on the machine that loads")
        if told["edition"] == store.live_name():
            return None
        store.prepare()
        with only_one(store.lock):
            edition = _take_over(store, place, told, url)
            prune(store, edition, store.settings().store.keep_editions)
            return edition


def follow(store: Store, url: str, wait: Callable[[], bool], say: Callable[[str], None]) -> None:
    """Follow until `wait` says no more; trouble is told, and tried again the next time."""
    going_on = True
    while going_on:
        try:
            edition = follow_once(store, url)
            if edition is not None:
                say(f"edition {edition.number} is live")
        except (SourceAway, SourceDamaged) as trouble:
            say(f"{trouble}; the edition that is live here stays")
        going_on = wait()


def _take_over(store: Store, place: Place, told: dict[str, Any], url: str) -> Edition:
    target = store.editions_folder / str(told["edition"])
    if not target.exists():
        with building(store) as folder:
            for name in told["files"]:
                place.files.get_file(place.path("editions", told["edition"], name), str(folder / name))
                flush(folder / name)
            _must_agree(folder, told, url)
            reached("copy-verified")
            folder.rename(target)
            flush(store.editions_folder)
    write_whole(store.pointer, f"{target.name}\n".encode())
    return store.live()


def _must_agree(folder: Path, told: dict[str, Any], url: str) -> None:
    wrong = [name for name, file in told["files"].items() if _digest(folder / name) != file["sha256"]]
    if wrong:
        raise SourceDamaged([
            Fault(f"{name} arrived damaged", where=url, expected=f"SHA-256 {told['files'][name]['sha256'][:12]}…",
                  do="it is tried again; if it stays, publish anew") for name in wrong
        ])  # fmt: skip


def _live(place: Place) -> dict[str, Any] | None:
    """What `live.json` says; None where there is none. A name from outside is a name, never a path."""
    try:
        told = json.loads(place.files.cat_file(place.path(LIVE)))
    except FileNotFoundError:
        return None
    except ValueError as error:
        raise SourceDamaged(f"{LIVE} cannot be read", where=place.root, got=str(error), do="publish anew") from error
    names = [told.get("edition"), *told.get("files", {})] if isinstance(told, dict) else [None]
    if any(not isinstance(name, str) or not name or "/" in name or name.startswith(".") for name in names):
        raise SourceDamaged(f"{LIVE} is none of ours", where=place.root, do="publish anew")
    return told


def put_whole(place: Place, name: str, data: bytes) -> None:
    """One object in one piece: object storage does so by itself, a folder by a rename."""
    part = place.path(f".{name}.{secrets.token_hex(4)}.part")
    if "file" in _protocols(place.files):
        place.files.pipe_file(part, data)
        place.files.mv(part, place.path(name))
    else:
        place.files.pipe_file(place.path(name), data)


def _protocols(files: Any) -> tuple[str, ...]:
    return (files.protocol,) if isinstance(files.protocol, str) else tuple(files.protocol)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def reaching(url: str) -> Iterator[Place]:
    """A folder or bucket, opened; trouble on the way becomes SourceAway."""
    import fsspec

    try:
        # A listing kept from the last look would hide what was published since.
        files, root = fsspec.core.url_to_fs(url, use_listings_cache=False) if "://" in url else fsspec.core.url_to_fs(url)
        yield Place(files, root)
    except TarebookError:
        raise
    except (OSError, ValueError, ImportError) as error:
        raise SourceAway("cannot be reached", where=url, got=str(error).splitlines()[0] if str(error) else type(error).__name__,
                         do="see that the address is right and the place is there") from error  # fmt: skip
