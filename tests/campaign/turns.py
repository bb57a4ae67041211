"""Loaders that all come at once: one at a time, the others say so, and one that dies with the lock keeps nobody out."""

from __future__ import annotations

import os
import random
import shutil
import signal
import time
from pathlib import Path

from kills import forked, look
from outcome import Outcome

from pipeline.errors import StoreBusy
from pipeline.store import Store
from pipeline.store.load import load


def run(loaders: int, seed: int, scratch: Path, start_with: list[Path]) -> Outcome:
    """Let `loaders` processes load a hand-in of their own, each until it gets its turn; every fourth is killed and starts again."""
    outcome, root, dice = Outcome("loaders in turns"), scratch / "store", random.Random(seed)
    if forked(lambda: load(start_with, Store(root)).edition.number)[0]:
        raise RuntimeError("no store to begin with")
    before = len(look(root)["digests"])
    children = [_loader(root, _hand_in(scratch, at), scratch / f"waited-{at}") for at in range(loaders)]
    for at in range(0, loaders, 4):
        time.sleep(dice.uniform(0.1, 1.0))
        os.kill(children[at], signal.SIGKILL)
        outcome.seen["killed and started again"] += 1
        os.waitpid(children[at], 0)
        children[at] = _loader(root, scratch / f"hand-in-{at}", scratch / f"waited-{at}")
    for child in children:
        outcome.tried += 1
        if os.waitpid(child, 0)[1]:
            outcome.lost.append("a loader ended badly")
    outcome.seen["times somebody was told to wait"] += sum(len(path.read_bytes()) for path in scratch.glob("waited-*"))
    found = look(root)
    items = found["digests"]["items"].partition(":")[0]
    if int(items) != 3 + loaders or len(found["digests"]) != before or not found["true"]:
        outcome.lost.append(f"{items} items are in, of {3 + loaders}")
    shutil.rmtree(root)
    return outcome


def _hand_in(scratch: Path, at: int) -> Path:
    folder = scratch / f"hand-in-{at}"
    folder.mkdir()
    (folder / "items.csv").write_text(f"item_id,label,group\nof-{at},of loader {at},drawer\n")
    return folder


def _loader(root: Path, folder: Path, waited: Path) -> int:
    child = os.fork()
    if child:
        return child
    status = 70
    try:
        while True:
            try:
                load([folder], Store(root))
                status = 0
                break
            except StoreBusy:
                with waited.open("ab") as file:
                    file.write(b".")
                time.sleep(0.05)
    finally:
        os._exit(status)
