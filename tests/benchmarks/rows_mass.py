"""The mass model: fit, one estimate, a million of them."""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import Any

import numpy as np
from measure import Figure, Setup, alone, beside, run_process, tarebook, timed
from rows_load import history, loaded

SMALL = 2_000


def _fit_frames(store: Path) -> Any:
    """History of a store's live edition, as the fit takes it."""
    from pipeline.answers.history import history_to_fit
    from pipeline.store import Store

    edition = Store(store).live()
    try:
        return history_to_fit(edition.cursor())
    finally:
        edition.close()


def _small_store(setup: Setup) -> Path:
    """A workshop's usual size, fitted."""
    store = setup.work / "small-store"
    if not store.exists():
        run_process(tarebook("load", history(setup, SMALL), "--store", store))
        run_process(tarebook("fit", "--store", store))
    return store


def fitted(setup: Setup) -> Path:
    """The large store with its model and layout families."""
    store, mark = loaded(setup), setup.work / "store-is-fitted"
    if not mark.exists():
        run_process(tarebook("fit", "--store", store))
        mark.touch()
    return store


def _drafts(setup: Setup, bodies: int) -> Path:
    """A folder of drafts: other bodies than history's, without masses."""
    import polars as pl
    from make_history import write_history

    folder = setup.work / f"drafts-{bodies}"
    if not folder.exists():
        write_history(folder, bodies, seed=77, job_prefix="D")
        masses = ["cad_kg", "weighed_kg", "scale_step_kg", "com_x_mm", "com_y_mm"]
        pl.scan_csv(folder / "bodies.csv").drop(masses).sink_csv(folder / "without.csv")
        (folder / "without.csv").replace(folder / "bodies.csv")
        for name in ("vehicles", "upgrades", "items"):
            (folder / f"{name}.csv").unlink()
    return folder


def small_model(setup: Setup) -> Any:
    """The model of the workshop of usual size."""
    from pipeline.mass.model import Model
    from pipeline.store import Store

    return Model.from_json(Store(_small_store(setup)).live().model_text())


def draft_frames(setup: Setup, bodies: int) -> Any:
    """That many drafts as frames, read as a command reads them."""
    from pipeline.answers.drafts import read_drafts
    from pipeline.store import Store

    store = Store(_small_store(setup))
    return read_drafts(_drafts(setup, bodies), store.live(), store.settings())


def fit_small(setup: Setup) -> list[Figure]:
    """A workshop of 2,000 bodies, in process."""
    from pipeline.mass.fit import fit_fully
    from pipeline.settings import Settings

    frames = _fit_frames(_small_store(setup))
    fit_fully(frames, Settings().mass)
    return [alone(f"fit and calibrate, {SMALL:,} bodies", lambda: timed(lambda: fit_fully(frames, Settings().mass)), 1.0, setup.repeat)]


def fit_large(setup: Setup) -> list[Figure]:
    """The large history, against one least-squares solution of the same matrix."""
    from pipeline.mass.evidence import gather
    from pipeline.mass.fit import fit_fully, prepare
    from pipeline.settings import Settings

    settings = Settings().mass
    frames = _fit_frames(loaded(setup))

    def floor() -> float:
        rows = gather(*prepare(frames, settings), settings)
        return timed(lambda: np.linalg.lstsq(rows.x, rows.y_kg, rcond=None))

    ours = lambda: timed(lambda: fit_fully(frames, settings))  # noqa: E731 - the pair reads better side by side
    return [beside(f"fit and calibrate, {setup.bodies:,} bodies", "one lstsq of the same matrix", ours, floor, 5.0, setup.repeat)]


def fit_process(setup: Setup) -> list[Figure]:
    """The command on the large store: the fit, layout families, estimates of all bodies, margins of all jobs, the edition published."""
    spent = run_process(tarebook("fit", "--store", loaded(setup)))
    (setup.work / "store-is-fitted").touch()
    what = f"`tarebook fit` of {setup.bodies:,} bodies"
    return [
        Figure(f"{what}, whole process", "-", spent.seconds, math.nan, "s", math.inf, 1),
        Figure("  processor time of it", "-", spent.processor_s, math.nan, "s", math.inf, 1),
        Figure("  memory of it", "-", spent.mebibytes, math.nan, "MiB", 2048.0 if setup.bodies <= 1_000_000 else 14_336.0, 1),
    ]


def estimate_process(setup: Setup) -> list[Figure]:
    """One draft from the command line, against a Python that only imports numpy."""
    command = tarebook("estimate", _drafts(setup, 1), "--store", _small_store(setup))
    bare = [sys.executable, "-c", "import numpy"]
    runs = max(setup.repeat, 7)
    return [
        beside(
            "estimate, one draft, whole process", "import numpy", lambda: run_process(command)[0], lambda: run_process(bare)[0], 4.0, runs
        )
    ]


def estimate_in_process(setup: Setup) -> list[Figure]:
    """One draft with its interval and explanation, the model in memory."""
    from pipeline.mass.estimate import given_or_estimated
    from pipeline.mass.explain import explain

    model, drafts = small_model(setup), draft_frames(setup, 1)

    def once() -> None:
        given_or_estimated(model, drafts.bodies, drafts.fitout)
        explain(model, drafts.bodies, drafts.fitout, 0)

    once()
    return [alone("estimate, one draft, in process, explained", lambda: 1e3 * timed(once), 2.0, 50, "ms")]


def estimate_many(setup: Setup) -> list[Figure]:
    """A folder's worth of drafts as frames, against the matrix and one product."""
    from pipeline.mass.estimate import BLOCK, estimate, read_drafts
    from pipeline.mass.features import count_items, matrix

    model, drafts = small_model(setup), draft_frames(setup, setup.bodies)
    count = len(drafts.bodies["job_id"])

    def product() -> None:
        plain = read_drafts(model, drafts.bodies, drafts.fitout)
        for first in range(0, count, BLOCK):
            last = min(count, first + BLOCK)
            part, lines = plain.bodies.rows(slice(first, last)), plain.lines.between(first, last)
            matrix(model.design, part, count_items(model.design, part, lines)) @ model.coef

    ours = lambda: timed(lambda: estimate(model, drafts.bodies, drafts.fitout))  # noqa: E731 - as above
    return [beside(f"estimate {setup.bodies:,} drafts", "matrix and one product", ours, lambda: timed(product), 2.0, setup.repeat)]


def nearest_of_many(setup: Setup) -> list[Figure]:
    """The five nearest builds of the large history for one draft, the edition open."""
    from pipeline.answers.drafts import read_drafts
    from pipeline.answers.nearest import nearest_builds
    from pipeline.store import Store

    store = Store(fitted(setup))
    edition = store.live()
    drafts = read_drafts(_drafts(setup, 1), edition, store.settings())

    def ours() -> float:
        return 1e3 * timed(lambda: nearest_builds(edition, drafts.bodies, drafts.fitout, 5))

    first = ours()
    found = alone(f"nearest five of {setup.bodies:,} builds", ours, 100.0, max(setup.repeat, 7), "ms")
    edition.close()
    return [found, Figure("the same, the first time in an edition", "-", first, math.nan, "ms", math.inf, 1)]


ROWS = {
    "fit-small": fit_small,
    "fit": fit_large,
    "fit-process": fit_process,
    "estimate-process": estimate_process,
    "estimate-one": estimate_in_process,
    "estimate-many": estimate_many,
    "nearest": nearest_of_many,
}
