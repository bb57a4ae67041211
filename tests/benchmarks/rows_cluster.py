"""Spark on several worker processes of this machine, against DuckDB in one process: the same questions, the same fit.

Needs the extra `cluster` and Java; `--only cluster`. What the two must agree in is tested in tests/cluster, and compared
here at the run's own size. One thing after the other, so that ten million bodies need no more than the fit of them does:
some 12 GB, or 10 GB beside the workers.
"""

from __future__ import annotations

import json
import math
import shutil
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
from measure import Figure, Setup, timed
from rows_mass import fitted
from same_rows import TOLERANCE, different

MASTER = "local-cluster[2,1,1024]"
WHAT = ("accounts", "families", "trends", "conversion", "pairs")
FEW = 100_000
"""Bodies up to which margins are compared: they are reckoned where it is asked on either engine, two rows a job."""


def on_a_cluster(setup: Setup) -> list[Figure]:
    """Every figure once: a run takes minutes. Ours is Spark's, the floor is the embedded engine's, in the same run."""
    from pipeline.store import Store

    edition = Store(fitted(setup)).live()
    lake = _lake(setup, edition)
    return [*_questions(setup, edition, lake), *_fits(setup, edition)]


def _questions(setup: Setup, edition: Any, lake: Path) -> list[Figure]:
    from pipeline.answers.access import Role
    from pipeline.answers.exports import export
    from pipeline.cluster.lake import LakeEdition
    from pipeline.cluster.session import spark_session
    from pipeline.settings import Settings

    settings, figures = Settings(), []
    with spark_session(MASTER) as spark:
        far = LakeEdition(spark, str(lake))
        figures.append(_told(_figure("opening the lake", timed(far.cursor), math.nan)))
        for what in (*WHAT, *(("margins",) if setup.bodies <= FEW else ())):
            before, answers = _shuffled(spark), []
            ask = lambda on, what=what, kept=answers: kept.append(export(on, what, settings, Role.MANAGER))  # noqa: E731 - of both
            pair = timed(lambda a=ask: a(far)), timed(lambda a=ask: a(edition))
            figures.append(_told(_figure(f"export {what}, {setup.bodies:,} bodies", *pair)))
            figures.append(_told(_figure("  shuffled between the workers", (_shuffled(spark) - before) / 2**20, math.nan, "MiB")))
            apart = different(answers[1], answers[0])
            said = f"  of {len(answers[1].rows):,} rows, cells apart by over {TOLERANCE:g}"
            figures.append(_told(_figure(said, len(apart), math.nan, ""), *apart[:5]))
    return figures


def _fits(setup: Setup, edition: Any) -> list[Figure]:
    from pipeline.answers.history import history_to_fit
    from pipeline.cluster.blocks import SparkBlocks
    from pipeline.cluster.session import spark_session
    from pipeline.mass.fit import fit, fit_spread
    from pipeline.settings import Settings

    settings = Settings()
    edition.close()
    # as the fit opens it: sorting the lines of ten million bodies must not take all of the machine
    limits = {"memory_limit": "1GB", "threads": 2, "temp_directory": str(setup.work / "scratch")}
    with duckdb.connect(str(edition.database), read_only=True, config=limits) as con:
        history = history_to_fit(con)
    found: dict[str, Any] = {}
    sent: list[int] = []

    class Counted(SparkBlocks):
        """Blocks that say how much was sent out."""

        def __init__(self, context: Any, packages: Any, unpack: Callable[..., Any]) -> None:
            kept = list(packages)
            sent.append(sum(map(len, kept)))
            super().__init__(context, kept, unpack)

    def near() -> None:
        found["near"] = fit(history, settings.mass, settings.vehicles)

    def far() -> None:
        found["far"] = fit_spread(history, settings.mass, settings.vehicles, partial(Counted, spark.sparkContext))[0]

    embedded = timed(near)
    with spark_session(MASTER) as spark:
        spread = timed(far)
    return [
        _told(_figure(f"fit, {setup.bodies:,} bodies", spread, embedded)),
        _told(_figure("  sent to the workers, once", sent[0] / 2**20, math.nan, "MiB")),
        _told(_figure("  coefficients apart by at most", float(np.abs(found["far"].coef - found["near"].coef).max()), math.nan, "kg")),
    ]


def _told(figure: Figure, *more: object) -> Figure:
    """Tell a figure as it comes: the next one may take minutes."""
    print(figure, *more, file=sys.stderr, flush=True)
    return figure


def _figure(what: str, ours: float, floor: float, unit: str = "s") -> Figure:
    return Figure(what, "-" if math.isnan(floor) else "DuckDB, embedded", ours, floor, unit, math.inf, 1)


def _lake(setup: Setup, edition: Any) -> Path:
    """The edition as a lake, written once for each edition."""
    from pipeline.store.lake import export_lake

    lake = setup.work / "lake"
    manifest = lake / "manifest.json"
    if not manifest.exists() or json.loads(manifest.read_text("utf-8"))["edition"] != edition.number:
        shutil.rmtree(lake, ignore_errors=True)
        export_lake(edition, str(lake))
    return lake


def _shuffled(spark: Any) -> int:
    """Bytes that the workers have written for each other so far."""
    executors = spark.sparkContext._jsc.sc().statusStore().executorList(False)
    return sum(executors.apply(place).totalShuffleWrite() for place in range(executors.size()))


ROWS = {"cluster": on_a_cluster}
