"""Margins of many drafts."""

from __future__ import annotations

from typing import Any

from measure import Figure, Setup, beside, timed
from rows_mass import draft_frames, small_model


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
    terms = Terms(settings.vehicle, settings.limits)

    def ours() -> float:
        # ids are looked up once a Work; each run gets its own
        return timed(lambda: check(_work(drafts), masses, settings.travel, terms))

    def floor() -> float:
        return timed(lambda: estimate(model, drafts.bodies, drafts.fitout))

    return [beside(f"check {setup.bodies:,} drafts", "their mass estimates", ours, floor, 1.5, setup.repeat)]


ROWS = {"check-many": check_many}
