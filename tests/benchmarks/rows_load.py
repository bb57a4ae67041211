"""Loading: against the database's own reader, against the usual script, in memory, in small additions, in growth."""

from __future__ import annotations

import math
import shutil
import statistics
import sys
from pathlib import Path

import numpy as np
from make_history import write_history
from measure import Figure, Setup, Spent, beside, run_process, tarebook, timed

FLOORS = Path(__file__).with_name("floors.py")
SMALLEST = 10_000
"""Where growth begins to be looked at: below, a load is its start alone."""


def history(setup: Setup, bodies: int) -> Path:
    """The hand-in of that many bodies, written once."""
    folder = setup.work / f"history-{bodies}"
    if not (folder / "fitout.csv").exists():
        write_history(folder, bodies)
    return folder


def loaded(setup: Setup) -> Path:
    """A store with the history in it, made once."""
    store = setup.work / "store"
    if not store.exists():
        run_process(tarebook("load", history(setup, setup.bodies), "--store", store))
    return store


def load_against_duckdb(setup: Setup) -> list[Figure]:
    """All rules, ledger, originals and the edition, against typed tables without any of it."""
    folder, runs = history(setup, setup.bodies), setup.repeat
    own: list[Spent] = []
    other: list[Spent] = []

    def seconds(kept: list[Spent], spent: Spent) -> float:
        kept.append(spent)
        return spent.seconds

    against = "DuckDB, typed, no rules"
    clock = beside(
        f"load {setup.bodies:,} bodies", against,
        lambda: seconds(own, _load(setup, folder)), lambda: seconds(other, _floor(setup, folder, "duckdb")), 3.0, runs,
    )  # fmt: skip
    processors = [statistics.median(spent.processor_s for spent in taken) for taken in (own, other)]
    return [
        clock,
        Figure("processor time of that load", against, *processors, "s", 3.0, runs),
        Figure("memory of that load", "-", max(spent.mebibytes for spent in own), math.nan, "MiB", 2048.0, runs),
    ]


def load_against_pandas(setup: Setup) -> list[Figure]:
    """The same against the script that people write."""
    folder = history(setup, setup.bodies)
    return [
        beside(
            f"load {setup.bodies:,} bodies", "pandas: read, merge, masks",
            lambda: _load(setup, folder).seconds, lambda: _floor(setup, folder, "pandas").seconds, 1.0, setup.repeat,
        )
    ]  # fmt: skip


def add_a_thousand(setup: Setup) -> list[Figure]:
    """1,000 bodies more, in process, flushed to the disk, against the full load."""
    from pipeline.store import Store
    from pipeline.store.load import load

    whole = _load(setup, history(setup, setup.bodies)).seconds
    store = Store(loaded(setup))

    def ours() -> float:
        # by the edition, since a store that was added to before has seen those of an earlier run
        number = store.live().number
        folder = setup.work / f"more-{number}"
        write_history(folder, 1000, seed=number, job_prefix=f"C{number}")
        seconds = timed(lambda: load([folder], store))
        if store.live().number == number:
            raise RuntimeError(f"nothing was added from {folder}")
        return seconds

    return [beside(f"add 1,000 bodies to {setup.bodies:,}", "the full load", ours, lambda: whole, 1 / 20, setup.repeat)]


def growth_of_load(setup: Setup) -> list[Figure]:
    """The exponent from the smallest size to the largest, every tenfold between them counted, and of the last tenfold; 1 is linear."""
    sizes = [setup.bodies // 10**tens for tens in reversed(range(len(str(setup.bodies))))]
    sizes = [size for size in sizes if size >= SMALLEST] or [setup.bodies // 10, setup.bodies]
    taken = [_load(setup, history(setup, size)) for size in sizes]
    time_log, size_log = (np.log10(values) for values in ([spent.seconds for spent in taken], sizes))
    exponent = float(np.polyfit(size_log, time_log, 1)[0])
    last = float(np.diff(time_log)[-1] / np.diff(size_log)[-1])
    return [
        Figure(f"growth of load, {sizes[0]:,} to {sizes[-1]:,}", "linear", exponent, 1.0, "exponent", 1.05, 1),
        Figure(f"of it from {sizes[-2]:,}", "linear", last, 1.0, "exponent", math.inf, 1),
        Figure(f"memory, {sizes[-1]:,} against {sizes[-2]:,}", "flat", taken[-1].mebibytes, taken[-2].mebibytes, "MiB", math.inf, 1),
    ]


def _load(setup: Setup, folder: Path) -> Spent:
    store = setup.work / "fresh"
    shutil.rmtree(store, ignore_errors=True)
    taken = run_process(tarebook("load", folder, "--store", store))
    shutil.rmtree(store, ignore_errors=True)
    return taken


def _floor(setup: Setup, folder: Path, which: str) -> Spent:
    database = setup.work / f"{which}.duckdb"
    database.unlink(missing_ok=True)
    spent = run_process([sys.executable, str(FLOORS), which, str(folder), str(database)])
    database.unlink()
    return spent


ROWS = {"load": load_against_duckdb, "load-pandas": load_against_pandas, "add": add_a_thousand, "growth": growth_of_load}
