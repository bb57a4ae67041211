"""`kill -9` at every named step of a load and a fit, and at random moments: the old edition is live or the new one, never half.

The parent never opens a database; every trial and every look at it is a child forked from it, so that nothing of a dead
loader lives on in the process that judges.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

from outcome import Outcome

import pipeline.answers.fitting
import pipeline.store.editions
import pipeline.store.load
import pipeline.store.rebuild
from pipeline.answers.fitting import fit_store
from pipeline.store import Store
from pipeline.store.audit import digests
from pipeline.store.load import load
from pipeline.store.rebuild import rebuild

_PLACES = (pipeline.store.load, pipeline.store.editions, pipeline.store.rebuild, pipeline.answers.fitting)
WORKS = ("load", "fit", "rebuild")


def forked(work: Callable[[], Any], seconds: float = 300.0, kill_after: float | None = None) -> tuple[int, Any]:
    """Run something in a child; its exit status as of `os.waitpid`, and what it returned (JSON).

    Raises: TimeoutError: it did not end in time.
    """
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        try:
            os.write(writer, json.dumps(work()).encode())
            os._exit(0)
        except BaseException:
            traceback.print_exc()
            os._exit(70)
    os.close(writer)
    began = time.monotonic()
    if kill_after is not None:
        time.sleep(kill_after)
        os.kill(child, signal.SIGKILL)
    with os.fdopen(reader, "rb") as pipe:
        os.set_blocking(reader, False)
        said = b""
        while True:
            ended, status = os.waitpid(child, os.WNOHANG)
            said += pipe.read() or b""
            if ended:
                return status, json.loads(said) if said and os.waitstatus_to_exitcode(status) == 0 else None
            if time.monotonic() - began > seconds:
                os.kill(child, signal.SIGKILL)
                os.waitpid(child, 0)
                raise TimeoutError(f"no end within {seconds:g} s")
            time.sleep(0.005)


def hook(act: Callable[[str], None]) -> None:
    """Let every room that reports a step report it to `act`."""
    for place in _PLACES:
        place.reached = act  # type: ignore[attr-defined]


def work_on(kind: str, store: Store, hand_ins: list[Path]) -> None:
    """Load, fit or rebuild."""
    if kind == "load":
        load(hand_ins, store)
    elif kind == "fit":
        fit_store(store)
    else:
        rebuild(store)


def steps_of(kind: str, start: Path, hand_ins: list[Path], scratch: Path) -> tuple[list[str], float]:
    """Names of the steps that a work goes through, and how long it takes."""

    def watch() -> list[str]:
        seen: list[str] = []
        hook(seen.append)
        work_on(kind, Store(start), hand_ins)
        return seen

    began = time.monotonic()
    shutil.copytree(start, scratch / "watched")
    start = scratch / "watched"
    status, steps = forked(watch)
    shutil.rmtree(start)
    if status:
        raise RuntimeError(f"{kind} does not work undisturbed")
    return steps, time.monotonic() - began


def state_of(root: Path) -> dict[str, Any]:
    """What a reader finds: the live edition's name and number, whether its rows are what its manifest says, the originals."""
    store = Store(root)
    live = store.live()
    found = digests(live.cursor())
    listed = {sha for entry in live.manifest["hand_ins"] for _, sha in entry["files"]}
    return {
        "live": live.name,
        "number": live.number,
        "editions": [edition.number for edition in store.editions()],
        "digests": found,
        "true": found == live.manifest["digests"],
        "originals": all((store.originals / sha).exists() for sha in listed),
        "model": live.has_model,
    }


def look(root: Path) -> dict[str, Any]:
    """`state_of` in a child of its own."""
    status, found = forked(lambda: state_of(root))
    if status:
        raise RuntimeError("the store does not open")
    return found


def run(kills: int, seed: int, scratch: Path, start_with: list[Path], then: list[Path], works: tuple[str, ...] = WORKS) -> Outcome:
    """Kill `kills` times, spread over works, steps and random moments; a third of them at random moments.

    Args:
        start_with: hand-ins of the store that each trial begins with, fitted.
        then: hand-ins that the disturbed load takes in.
    """
    outcome, dice = Outcome("kill -9"), random.Random(seed)
    start = scratch / "start"

    def begin() -> None:
        load(start_with, Store(start))
        fit_store(Store(start))

    if forked(begin)[0]:
        raise RuntimeError("no store to begin with")
    moments: list[tuple[str, str | float]] = []
    after: dict[str, dict[str, Any]] = {}
    for kind in works:
        steps, seconds = steps_of(kind, start, then, scratch)
        moments += [(kind, step) for step in steps]
        moments += [(kind, dice.uniform(0.0, seconds)) for _ in range(max(1, len(steps) // 2))]
        after[kind] = _undisturbed(kind, start, then, scratch)
    before = look(start)
    dice.shuffle(moments)
    for turn in range(kills):
        kind, moment = moments[turn % len(moments)]
        trial = scratch / f"trial-{turn}"
        shutil.copytree(start, trial)
        _trial(outcome, kind, moment if isinstance(moment, str) else moment * dice.uniform(0.8, 1.2), trial, then, before, after[kind])
        shutil.rmtree(trial)
    return outcome


def _undisturbed(kind: str, start: Path, then: list[Path], scratch: Path) -> dict[str, Any]:
    shutil.copytree(start, scratch / "whole")
    forked(lambda: work_on(kind, Store(scratch / "whole"), then))
    found = look(scratch / "whole")
    shutil.rmtree(scratch / "whole")
    return found


def _trial(
    outcome: Outcome, kind: str, moment: str | float, root: Path, then: list[Path], before: dict[str, Any], after: dict[str, Any]
) -> None:
    def die_there() -> None:
        if isinstance(moment, str):
            hook(lambda step: os.kill(os.getpid(), signal.SIGKILL) if step == moment else None)
        work_on(kind, Store(root), then)

    where = f"{kind} at {moment if isinstance(moment, str) else f'{moment:.3f} s'}"
    outcome.tried += 1
    try:
        status, _ = forked(die_there, kill_after=None if isinstance(moment, str) else moment)
        killed = os.WIFSIGNALED(status)
        outcome.seen["killed" if killed else "was done before"] += 1
        found = look(root)
        wanted = after if found["number"] > before["number"] else before
        outcome.seen["new edition live" if wanted is after else "old edition live"] += 1
        _judge(outcome, where, found, wanted)
        status, _ = forked(lambda: work_on(kind, Store(root), then))
        again = look(root)
        if status or again["digests"] != after["digests"] or again["model"] != after["model"] or not again["true"]:
            outcome.lost.append(f"{where}: done again, it does not come to what an undisturbed one does")
        if any(path.name.startswith(".") for path in (root / "editions").iterdir()) or list((root / "originals").glob(".*")):
            outcome.seen["left something half beside"] += 1
    except (RuntimeError, TimeoutError) as error:
        outcome.lost.append(f"{where}: {error}")


def _judge(outcome: Outcome, where: str, found: dict[str, Any], wanted: dict[str, Any]) -> None:
    if found["digests"] != wanted["digests"] or found["model"] != wanted["model"]:
        outcome.lost.append(f"{where}: what is live is neither the old edition nor the new one")
    if not found["true"]:
        outcome.lost.append(f"{where}: rows and manifest of the live edition differ")
    if not found["originals"]:
        outcome.lost.append(f"{where}: an original is gone")


if __name__ == "__main__":
    scratch_folder, number, chosen_seed = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    first, later, chosen = [Path(sys.argv[4])], [Path(sys.argv[5])], tuple(sys.argv[6:]) or WORKS
    told = run(number, chosen_seed, scratch_folder, first, later, chosen)
    print(json.dumps({"tried": told.tried, "lost": told.lost, "seen": told.seen}))
    sys.exit(bool(told.lost))
