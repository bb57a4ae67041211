"""A disk that fills up at every moment of a load and a fit: a sentence, the old edition live, and with room made it goes through."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

from kills import forked, look, work_on
from outcome import Outcome, Skipped

from pipeline.answers.fitting import fit_store
from pipeline.errors import StoreUnwritable
from pipeline.store import Store
from pipeline.store.load import load

DISK_MB = 40


def run(trials: int, scratch: Path, start_with: list[Path], then: list[Path]) -> Outcome:
    """Leave less and less room, `trials` times for a load and as often for a fit."""
    outcome, place, start = Outcome("a disk filling up"), scratch / "disk", scratch / "start"
    place.mkdir()
    tried = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={DISK_MB}m", "tmpfs", str(place)], capture_output=True, text=True, check=False
    )
    if tried.returncode:
        raise Skipped(f"no small tmpfs may be mounted here ({tried.stderr.strip()})")
    try:
        forked(lambda: (load(start_with, Store(start)), fit_store(Store(start)))[0].edition.number)
        before = look(start)
        for turn in range(2 * trials):
            _trial(outcome, "load" if turn % 2 else "fit", turn // 2 / trials, place, start, then, before)
    finally:
        subprocess.run(["umount", str(place)], check=True)
    return outcome


def _trial(outcome: Outcome, kind: str, share: float, place: Path, start: Path, then: list[Path], before: dict[str, Any]) -> None:
    def work() -> str:
        try:
            work_on(kind, Store(place / "store"), then)
        except StoreUnwritable as error:
            return str(error)
        return ""

    shutil.copytree(start, place / "store")
    room = os.statvfs(place)
    size = sum(path.stat().st_size for path in Store(start).live().path.iterdir())
    # A load writes the database anew and some more beside it.
    free = int(share * 2.5 * size)
    with (place / "filler").open("wb") as filler:
        os.posix_fallocate(filler.fileno(), 0, max(1, room.f_bavail * room.f_frsize - free))
    outcome.tried += 1
    where = f"{kind} with {free // 1024} kB of room"
    try:
        status, said = forked(work)
        if status:
            outcome.lost.append(f"{where}: ended without a sentence")
        outcome.seen["told in a sentence" if said else "went through"] += 1
        found = look(place / "store")
        if said and found["digests"] != before["digests"]:
            outcome.lost.append(f"{where}: the old edition is not live")
        if not found["true"]:
            outcome.lost.append(f"{where}: rows and manifest of the live edition differ")
        (place / "filler").unlink()
        status, said = forked(work)
        if status or said:
            outcome.lost.append(f"{where}: does not go through with room made")
    except (RuntimeError, TimeoutError) as error:
        outcome.lost.append(f"{where}: {error}")
    (place / "filler").unlink(missing_ok=True)
    shutil.rmtree(place / "store")
