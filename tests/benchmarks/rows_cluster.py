"""Spark on several worker processes of this machine, against DuckDB in one process: the same questions, the same fit.

Needs the extra `cluster` and Java; `--only cluster`. What the two must agree in is tested in
tests/cluster, and compared here at the run's own size.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from measure import Figure, Setup, timed
from rows_load import loaded
from same_rows import TOLERANCE, different

MASTER = "local-cluster[2,1,1024]"
WHAT = ("accounts", "trends", "conversion", "pairs")


def on_a_cluster(setup: Setup) -> list[Figure]:
    """Every figure once: a run takes minutes. Ours is Spark's, the floor is the embedded engine's, in the same run."""
    from pipeline.answers.access import Role
    from pipeline.answers.exports import export
    from pipeline.cluster.lake import LakeEdition
    from pipeline.cluster.session import spark_session
    from pipeline.settings import Settings
    from pipeline.store import Store

    edition, settings = Store(loaded(setup)).live(), Settings()
    lake, figures = _lake(setup, edition), []
    with spark_session(MASTER) as spark:
        far = LakeEdition(spark, str(lake))
        began = timed(far.cursor)
        figures.append(_figure("opening the lake", began, math.nan))
        for what in WHAT:
            before, answers = _shuffled(spark), []
            ask = lambda on, what=what, kept=answers: kept.append(export(on, what, settings, Role.MANAGER))  # noqa: E731 - of both
            figures.append(_figure(f"export {what}, {setup.bodies:,} bodies", timed(lambda a=ask: a(far)), timed(lambda a=ask: a(edition))))
            figures.append(_figure("  shuffled between the workers", (_shuffled(spark) - before) / 2**20, math.nan, "MiB"))
            apart = different(answers[1], answers[0])
            figures.append(_figure(f"  of {len(answers[1].rows):,} rows, cells apart by over {TOLERANCE:g}", len(apart), math.nan, ""))
            print(*figures[-3:], apart[:5], file=sys.stderr)
        figures += _fits(setup, spark, edition)
    return figures


def _fits(setup: Setup, spark: Any, edition: Any) -> list[Figure]:
    from pipeline.answers.history import history_of
    from pipeline.cluster.blocks import SparkBlocks
    from pipeline.mass.fit import fit, fit_spread
    from pipeline.settings import Settings

    settings, history = Settings(), history_of(edition.cursor())
    found: dict[str, Any] = {}
    sent: list[int] = []

    class Counted(SparkBlocks):
        """Blocks that say how much was sent out."""

        def __init__(self, context: Any, packages: Any, unpack: Callable[..., Any]) -> None:
            kept = list(packages)
            sent.append(sum(map(len, kept)))
            super().__init__(context, kept, unpack)

    def far() -> None:
        found["far"] = fit_spread(history, settings.mass, settings.vehicles, partial(Counted, spark.sparkContext))[0]

    def near() -> None:
        found["near"] = fit(history, settings.mass, settings.vehicles)

    pair = _figure(f"fit, {setup.bodies:,} bodies", timed(far), timed(near))
    apart = float(np.abs(found["far"].coef - found["near"].coef).max())
    figures = [
        pair,
        _figure("  sent to the workers, once", sent[0] / 2**20, math.nan, "MiB"),
        _figure("  coefficients apart by at most", apart, math.nan, "kg"),
    ]
    print(*figures, file=sys.stderr)
    return figures


def _figure(what: str, ours: float, floor: float, unit: str = "s") -> Figure:
    return Figure(what, "-" if math.isnan(floor) else "DuckDB, embedded", ours, floor, unit, math.inf, 1)


def _lake(setup: Setup, edition: Any) -> Path:
    from pipeline.store.lake import export_lake

    lake = setup.work / "lake"
    if not (lake / "manifest.json").exists():
        export_lake(edition, str(lake))
    return lake


def _shuffled(spark: Any) -> int:
    """Bytes that the workers have written for each other so far."""
    executors = spark.sparkContext._jsc.sc().statusStore().executorList(False)
    return sum(executors.apply(place).totalShuffleWrite() for place in range(executors.size()))


ROWS = {"cluster": on_a_cluster}
