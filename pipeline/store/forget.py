"""Let a person be forgotten: `python -m pipeline.store.forget --store DIR REFERENCE`.

In the store a customer stands as a keyed hash alone; in clear only in the originals. Each original that holds the
reference in a private column is written anew with the hash in its place, every edition's list is pointed to the new file,
the store is rebuilt from them (the digests of its tables must not change) and the old originals are removed. Killed at any
moment, the same call again finishes it.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from pipeline.errors import StoreFault, TarebookError, WrongCall
from pipeline.intake import HandIn, SourceFile, TextTable, read_hand_in
from pipeline.settings import Settings
from pipeline.sift.stage import hash_customer
from pipeline.store.customer import customer_key
from pipeline.store.disk import flush, only_one, reached, write_json, write_whole, writing
from pipeline.store.editions import MANIFEST, Edition, Store
from pipeline.store.load import Entry, entries
from pipeline.store.rebuild import from_originals, rebuild_as
from pipeline.store.rewrite import private_cells, without


@dataclass(frozen=True)
class Forgotten:
    """What was done: originals written anew, cells replaced, the edition that is live now, and files that still hold the
    text in some other column, where only a person can tell whether it means the same person."""

    originals: int
    cells: int
    edition: Edition
    also_in: list[str] = field(default_factory=list)


def forget(store: Store, reference: str) -> Forgotten:
    """Forget the person behind a customer reference.

    Raises: WrongCall: no original holds it; StoreFault: an original cannot be written anew, or the rebuilt store differs;
        StoreBusy, StoreUnwritable. The live edition stands then, and so do the originals.
    """
    reference = reference.strip()
    instead = hash_customer(reference, customer_key())
    with writing(store.root), only_one(store.lock):
        live = store.live()
        settings = store.settings()
        listed = {(entry.files, entry.mapping): entry for edition in store.editions() for entry in entries(edition)}
        renamed: dict[str, str] = {}
        cells = 0
        for hand_in in (from_originals(store, entry) for entry in listed.values()):
            for file, data, count in _rewritten(hand_in, reference, instead, settings):
                renamed[file.sha256] = _keep(store, data)
                cells += count
        reached("originals-rewritten")
        if not renamed and not _strays(store, listed.values(), reference):
            raise WrongCall("no original holds that customer reference", where=str(store.root))
        edition = rebuild_as(store, live, [_repointed(entry, renamed) for entry in entries(live)], "forget").edition if renamed else live
        reached("rebuilt-without")
        for older in store.editions():
            write_json(older.path / MANIFEST, _manifest_with(older, renamed))
        reached("editions-repointed")
        for sha in [*renamed, *_strays(store, [entry for each in store.editions() for entry in entries(each)], reference)]:
            (store.originals / sha).unlink(missing_ok=True)
        flush(store.originals)
        return Forgotten(len(renamed), cells, edition, sorted(_mentions(store, entries(edition), reference)))


def _rewritten(hand_in: HandIn, reference: str, instead: str, settings: Settings) -> Iterator[tuple[SourceFile, bytes, int]]:
    """Each file of a hand-in that holds the reference: its bytes without it, and how many cells that were."""
    tables = read_hand_in(hand_in, settings.intake)
    for file in hand_in.files:
        its = [table for table in tables if table.file == file.name]
        count = sum(cell == reference for table in its for cell in private_cells(table))
        if count or _in_odd_row(its, reference):
            data = without(file, its, reference, instead, settings.intake)
            _check(hand_in, file, data, its, reference, settings)
            yield file, data, count


def _in_odd_row(tables: Sequence[TextTable], reference: str) -> bool:
    """Whether a row that does not fit under its header, of a table with a private column, holds the reference."""
    return any(
        any(cell.strip() == reference for cell in getattr(cells, "stood", ()))
        for table in tables
        if any(True for _ in private_cells(table))
        for _, cells in table.rows()
    )


def _check(hand_in: HandIn, file: SourceFile, data: bytes, before: Sequence[TextTable], reference: str, settings: Settings) -> None:
    """Read what was written anew. Raises: StoreFault: it still holds the reference, or says something else elsewhere."""
    trial = file.path.with_name(f".{hashlib.sha256(data).hexdigest()}.trial")
    try:
        write_whole(trial, data, 0o600)
        again = replace(hand_in, files=(replace(file, path=trial),))
        after = [table for table in read_hand_in(again, settings.intake) if table.file == file.name]
        held = any(cell == reference for table in after for cell in private_cells(table))
        alike = [list(_open_cells(table)) for table in before] == [list(_open_cells(table)) for table in after]
    finally:
        trial.unlink(missing_ok=True)
    if held or not alike:
        raise StoreFault(
            f"{file.name} cannot be written anew without that reference",
            where=hand_in.name,
            do="load the table again from a CSV, with the reference left out, then forget it again; nothing was changed",
        )


def _open_cells(table: TextTable) -> Iterator[tuple[int, tuple[str | None, ...]]]:
    from pipeline.contract import TABLES

    places = [at for at, column in enumerate(table.columns) if not TABLES[table.table].column(column).private]
    return ((line, tuple(cells[at] for at in places)) for line, cells in table.rows())


def _keep(store: Store, data: bytes) -> str:
    sha = hashlib.sha256(data).hexdigest()
    write_whole(store.originals / sha, data, 0o600)
    return sha


def _repointed(entry: Entry, renamed: dict[str, str]) -> Entry:
    return replace(entry, files=tuple((name, renamed.get(sha, sha)) for name, sha in entry.files))


def _manifest_with(edition: Edition, renamed: dict[str, str]) -> dict[str, object]:
    return {**edition.manifest, "hand_ins": [_repointed(entry, renamed).as_json() for entry in entries(edition)]}


def _strays(store: Store, listed: Iterable[Entry], reference: str) -> list[str]:
    """Originals that no edition lists (a load was killed, its edition pruned) and that hold the text anywhere."""
    known = {sha for entry in listed for _, sha in (*entry.files, *([entry.mapping] if entry.mapping else []))}
    return [path.name for path in store.originals.iterdir() if path.name not in known and _holds(path, reference)]


def _mentions(store: Store, listed: Sequence[Entry], reference: str) -> Iterator[str]:
    for entry in listed:
        for name, sha in entry.files:
            if _holds(store.originals / sha, reference):
                yield f"{entry.name}: {name}"
    for path in store.root.glob("desk.sqlite*"):
        if _holds(path, reference):
            yield path.name


def _holds(path: Path, reference: str) -> bool:
    """Whether a file holds the text in any usual encoding, also inside a workbook."""
    import zipfile

    needles = [reference.encode(encoding, "replace") for encoding in ("utf-8", "utf-16-le", "utf-16-be", "cp1252")]
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as book:
            parts = [book.read(part) for part in book.namelist()]
    else:
        parts = [path.read_bytes()]
    return any(needle in part for part in parts for needle in needles)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the call and return its exit code."""
    parser = argparse.ArgumentParser(prog="python -m pipeline.store.forget", description="Forget the person behind a customer reference.")
    parser.add_argument("--store", type=Path, required=True, metavar="DIR")
    parser.add_argument("reference", help="the customer_ref as it stands in the files handed in")
    call = parser.parse_args(argv)
    try:
        done = forget(Store(call.store), call.reference)
    except TarebookError as error:
        print(error, file=sys.stderr)
        return int(error.exit_code)
    print(f"{done.cells} cells in {done.originals} originals; edition {done.edition.number} is live, alike in every table", file=sys.stderr)
    for name in done.also_in:
        print(f"the same text stands also elsewhere in {name}: please look there yourself", file=sys.stderr)
    return 1 if done.also_in else 0


if __name__ == "__main__":
    sys.exit(main())
