"""How a figure is taken: ours beside a floor of the same run, again and again in turn, medians of both."""

from __future__ import annotations

import gc
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import NamedTuple


@dataclass(frozen=True)
class Figure:
    """One line of the table.

    Attributes:
        ours, floor: medians, in `unit`; `floor` is NaN where `reach` is no ratio but a figure.
        value: what is held against `reach`: the ratio to the floor, or ours where there is no floor.
    """

    what: str
    against: str
    ours: float
    floor: float
    unit: str
    reach: float
    runs: int

    @property
    def value(self) -> float:
        return self.ours if math.isnan(self.floor) else self.ours / self.floor

    @property
    def reached(self) -> bool:
        return self.value <= self.reach

    def as_json(self) -> dict[str, object]:
        floor = None if math.isnan(self.floor) else self.floor
        return asdict(self) | {"floor": floor, "value": round(self.value, 4), "reached": self.reached}


@dataclass(frozen=True)
class Setup:
    """Where a run works, how large and how often, and how many seconds users stay for the row on memory."""

    work: Path
    bodies: int
    repeat: int
    seconds: float = 600.0


class Spent(NamedTuple):
    """What a process took: seconds on the clock, its peak in MiB, and seconds of processors, which others at work hardly change."""

    seconds: float
    mebibytes: float
    processor_s: float


def run_process(argv: Sequence[str], **environment: str) -> Spent:
    """Run one process to its end. Raises: RuntimeError: it failed (an exit code over 1)."""
    with tempfile.TemporaryFile() as talk:
        began = time.perf_counter()
        process = subprocess.Popen(argv, stdout=subprocess.DEVNULL, stderr=talk, env={**os.environ, **environment})
        _, status, usage = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - began
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode not in (0, 1):
            talk.seek(0)
            raise RuntimeError(f"{' '.join(argv)}: exit {process.returncode}\n{talk.read().decode(errors='replace')}")
    return Spent(seconds, usage.ru_maxrss / 1024, usage.ru_utime + usage.ru_stime)


def tarebook(*words: str | Path) -> list[str]:
    """The command, in this interpreter."""
    return [sys.executable, "-c", "from pipeline.cli import command; command()", *map(str, words)]


def timed(work: Callable[[], object]) -> float:
    """Seconds of one call, garbage of earlier ones out of the way."""
    gc.collect()
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def beside(
    what: str, against: str, ours: Callable[[], float], floor: Callable[[], float], reach: float, runs: int, unit: str = "s"
) -> Figure:
    """Measure ours and the floor in turn, so that a busy machine slows both."""
    own, other = [], []
    for _ in range(runs):
        other.append(floor())
        own.append(ours())
    return Figure(what, against, statistics.median(own), statistics.median(other), unit, reach, runs)


def alone(what: str, ours: Callable[[], float], reach: float, runs: int, unit: str = "s") -> Figure:
    """A figure that is held against a number, not against a floor."""
    return Figure(what, "-", statistics.median(ours() for _ in range(runs)), math.nan, unit, reach, runs)
