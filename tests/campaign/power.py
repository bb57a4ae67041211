"""Power lost at any moment: what was never flushed is gone, or there by halves, and the store still opens as old or as new.

Every flush, renaming and removal of a work is watched, in the process itself. What POSIX promises is kept beside it: a file's bytes
as of its last `fsync`, a folder's names as of its own. Before and after each step disks are made up as they may be found after
a power cut:

- only what was flushed is there;
- all names are there, and of each file only the bytes that were flushed;
- any mixture: each name that was not flushed as it was or as it is, each file's bytes flushed, new, or cut short.

The database's own flushes are not watched, so that less is taken to be on the disk than is.
"""

from __future__ import annotations

import os
import random
import shutil
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any
from unittest.mock import patch

from kills import WORKS, work_on
from outcome import Outcome

from pipeline.answers.fitting import fit_store
from pipeline.store import Store
from pipeline.store.load import load

Tree = dict[str, bytes]
"""The files of a disk by path; a folder without files is of no account."""
_WATCHED = ("fsync", "rename", "replace", "unlink", "rmdir", "mkdir")


@dataclass
class Disk:
    """What a folder holds for certain, and every state in which a power cut may leave it."""

    place: Path
    dice: random.Random
    mixtures: int = 1
    states: dict[str, Tree] = field(default_factory=dict)
    _names: dict[int, dict[str, int]] = field(default_factory=dict)
    _bytes: dict[int, bytes] = field(default_factory=dict)
    _held: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        for folder, _, files in os.walk(self.place):
            for path in (Path(folder), *(Path(folder) / file for file in files)):
                self._flushed(os.open(path, os.O_RDONLY))

    @contextmanager
    def watching(self) -> Iterator[None]:
        """Make up states before and after every step of what is done in this block."""
        with patch.multiple(os, **{name: self._stepping(getattr(os, name)) for name in _WATCHED}):
            yield
        for handle in self._held:
            os.close(handle)

    def certain(self) -> Tree:
        """Only what was flushed."""
        return self._tree(self.place, lambda _, flushed, now: flushed, lambda flushed, now: flushed)

    def _stepping(self, act: Callable[..., Any]) -> Callable[..., Any]:
        def step(*args: Any, **options: Any) -> Any:
            self._make_up()
            found = act(*args, **options)
            if act.__name__ == "fsync":
                # The handle may be for writing alone.
                self._flushed(os.open(f"/proc/self/fd/{args[0]}", os.O_RDONLY))
            self._make_up()
            return found

        return step

    def _flushed(self, handle: int) -> None:
        """Take down what a handle is of. It stays open, so that its number goes to no other file."""
        self._held.append(handle)
        told = os.fstat(handle)
        if stat.S_ISDIR(told.st_mode):
            self._names[told.st_ino] = _names_now(handle)
        else:
            self._bytes[told.st_ino] = os.pread(handle, told.st_size, 0)

    def _make_up(self) -> None:
        self._add(self.certain())
        self._add(self._tree(self.place, lambda _, flushed, now: now, lambda flushed, now: flushed))
        for _ in range(self.mixtures):
            self._add(self._tree(self.place, self._some_names, self._some_bytes))

    def _add(self, tree: Tree) -> None:
        told = sha256(repr([(path, sha256(data).digest()) for path, data in sorted(tree.items())]).encode()).hexdigest()
        self.states.setdefault(told, tree)

    def _some_names(self, _: int, flushed: dict[str, int], now: dict[str, int]) -> dict[str, int]:
        either = {name: self.dice.choice([flushed, now]).get(name) for name in {**flushed, **now}}
        return {name: number for name, number in either.items() if number is not None}

    def _some_bytes(self, flushed: bytes, now: bytes) -> bytes:
        return flushed if flushed == now else self.dice.choice([flushed, now, now[: len(now) // 2], b"\0" * len(now)])

    def _tree(self, folder: Path, names: Callable[..., dict[str, int]], data: Callable[[bytes, bytes], bytes]) -> Tree:
        """The files that a disk has, by how names and bytes are chosen between flushed and now."""
        there = _everything(self.place)

        def below(number: int, path: str) -> Tree:
            flushed, now = self._names.get(number, {}), there.get(number)
            tree: Tree = {}
            for name, child in names(number, flushed, _names_at(now) if now else flushed).items():
                at = f"{path}/{name}" if path else name
                if child in self._names or (child in there and there[child].is_dir()):
                    tree |= below(child, at)
                else:
                    old = self._bytes.get(child, b"")
                    tree[at] = data(old, there[child].read_bytes() if child in there else old)
            return tree

        return below(folder.stat().st_ino, "")


def _everything(place: Path) -> dict[int, Path]:
    """Each file and folder there is, by its number."""
    return {path.stat().st_ino: path for path in [place, *place.rglob("*")]}


def _names_now(handle: int) -> dict[str, int]:
    with os.scandir(handle) as entries:
        return {entry.name: entry.inode() for entry in entries}


def _names_at(folder: Path) -> dict[str, int]:
    with os.scandir(folder) as entries:
        return {entry.name: entry.inode() for entry in entries}


def judged(tree: Tree, folder: Path, before: Tree, after: Tree) -> tuple[str, Store]:
    """What is wrong with a store found on a disk (empty: nothing), once it is written out into a folder.

    It must open as what it was or what it became: every byte of the live edition, and every original that it lists.
    """
    for path, data in tree.items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    store = Store(folder / "store")
    if not store.exists():
        return ("" if not before else "there is no store"), store
    live = store.live()
    inside = f"store/editions/{live.name}/"
    for whole in (before, after):
        wanted = {path: data for path, data in whole.items() if path.startswith(inside)}
        if wanted:
            break
    else:
        return f"{live.name} is neither the old edition nor the new one", store
    odd = [path for path, data in wanted.items() if tree.get(path) != data]
    listed = {sha for entry in live.manifest["hand_ins"] for _, sha in entry["files"]}
    odd += [sha for sha in listed if sha256(tree.get(f"store/originals/{sha}", b"")).hexdigest() != sha]
    return (f"{', '.join(odd)} of the live edition are not whole" if odd else ""), store


def files_of(place: Path) -> Tree:
    """Every file of a folder."""
    return {path.relative_to(place).as_posix(): path.read_bytes() for path in place.rglob("*") if path.is_file()}


def cut_anywhere(
    place: Path, scratch: Path, work: Callable[[], object], dice: random.Random, mixtures: int
) -> tuple[int, list[str], list[Store]]:
    """Do something to `place/store` and judge every disk that it may leave: how many, what is wrong, and the stores."""
    disk, before = Disk(place, dice, mixtures), files_of(place)
    with disk.watching():
        work()
        at_the_end = disk.certain()
    after = files_of(place)
    wrong: list[str] = []
    stores = []
    # Told to be done, it must be on the disk.
    wrong += [f"{path} was not flushed" for path, data in after.items() if at_the_end.get(path) != data and path != "store/lock"]
    for number, tree in enumerate(disk.states.values()):
        folder = scratch / f"disk-{number}"
        folder.mkdir()
        fault, store = judged(tree, folder, before, after)
        wrong += [f"disk {number}: {fault}"] if fault else []
        stores.append(store)
    return len(disk.states), wrong, stores


def run(mixtures: int, seed: int, scratch: Path, start_with: list[Path], then: list[Path]) -> Outcome:
    """Cut the power in a first load, a load, a fit and a rebuild; one disk in ten is worked on again."""
    outcome, dice, place = Outcome("power cuts"), random.Random(seed), scratch / "place"
    place.mkdir()
    began = place / "store"
    for kind in ("first load", *WORKS):

        def work(kind: str = kind) -> None:
            work_on("load" if kind == "first load" else kind, Store(began), start_with if kind == "first load" else then)

        disks = scratch / kind
        disks.mkdir()
        tried, wrong, stores = cut_anywhere(place, disks, work, dice, mixtures)
        outcome.tried += tried
        outcome.seen[f"in a {kind}"] += tried
        outcome.lost += [f"{kind}, {fault}" for fault in wrong]
        for store in dice.sample(stores, max(1, len(stores) // 10)):
            try:
                load(start_with + then, store)
                outcome.seen["worked on again"] += 1
            except Exception as error:
                outcome.lost.append(f"{kind}, {store.root}: cannot be worked on again: {error}")
        if kind == "load":
            fit_store(Store(began))
        shutil.rmtree(disks)
    with suppress(FileNotFoundError):
        shutil.rmtree(place)
    return outcome
