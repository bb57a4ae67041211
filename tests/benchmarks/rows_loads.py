"""Margins of many drafts, and what gives one of them its margins back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from measure import Figure, Setup, alone, beside, run_process, tarebook, timed
from rows_mass import draft_frames, small_model

from pipeline.frames import take

SAMPLE = Path(__file__).resolve().parents[2] / "sample_data"
OVER = "D26-02"
"""A draft of the demo that is over its ratings."""


def _work(drafts: Any) -> Any:
    from pipeline.loads.cases import Work

    return Work(**{name: getattr(drafts, name) for name in Work.__dataclass_fields__})


def check_many(setup: Setup) -> list[Figure]:
    """Every limit of as many drafts as bodies, with its probability, against their mass estimates."""
    from pipeline.loads.cases import Assessed
    from pipeline.loads.check import Terms, check
    from pipeline.mass.estimate import estimate
    from pipeline.settings import Settings

    model, drafts, settings = small_model(setup), draft_frames(setup, setup.bodies), Settings()
    found = estimate(model, drafts.bodies, drafts.fitout)
    masses = Assessed(found.estimate_kg, found.com_x_mm, found.com_y_mm, found.cov, found.source)
    terms = Terms(settings.vehicles, settings.limits)

    def ours() -> float:
        # ids are looked up once a Work; each run gets its own
        return timed(lambda: check(_work(drafts), masses, settings.travel, terms))

    def floor() -> float:
        return timed(lambda: estimate(model, drafts.bodies, drafts.fitout))

    return [beside(f"check {setup.bodies:,} drafts", "their mass estimates", ours, floor, 1.5, setup.repeat)]


def levers_of_one(setup: Setup) -> list[Figure]:
    """The smallest changes for one draft that is over, the demo's history behind it."""
    from pipeline.answers.drafts import read_drafts
    from pipeline.answers.levers import levers_of_drafts
    from pipeline.mass.model import Model
    from pipeline.store import Store

    store = Store(setup.work / "demo-store")
    if not store.exists():
        run_process(tarebook("load", SAMPLE / "records", "--store", store.root))
        run_process(tarebook("fit", "--store", store.root))
    edition, settings = store.live(), store.settings()
    model, drafts = Model.from_json(edition.model_text()), _only(read_drafts(SAMPLE / "drafts", edition, settings), OVER)

    def ours() -> float:
        return 1e3 * timed(lambda: levers_of_drafts(edition, model, drafts, settings, settings.travel))

    ours()
    figure = alone("levers, one draft", ours, 300.0, max(setup.repeat, 5), "ms")
    edition.close()
    return [figure]


def _only(drafts: Any, job_id: str) -> Any:
    """The drafts of one job."""
    bodies = np.flatnonzero(drafts.bodies["job_id"] == job_id)
    place = np.full(len(drafts.bodies["job_id"]), -1)
    place[bodies] = np.arange(len(bodies))
    lines = np.flatnonzero(place[drafts.fitout["body_row"]] >= 0)
    fitout = take(drafts.fitout, lines)
    fitout["body_row"] = place[fitout["body_row"]]
    of_job = {name: take(getattr(drafts, name), getattr(drafts, name)["job_id"] == job_id) for name in ("jobs", "on_vehicle", "weighings")}
    return replace(drafts, bodies=take(drafts.bodies, bodies), fitout=fitout, rejects=(), **of_job)


ROWS = {"check-many": check_many, "levers": levers_of_one}
