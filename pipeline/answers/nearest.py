"""The nearest weighed builds of drafts, by name: the evidence that a person can check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from pipeline.answers.history import history_of
from pipeline.frames import Columns, height
from pipeline.mass.model import Model
from pipeline.mass.nearest import Builds, index_builds, nearest
from pipeline.store import Edition


@dataclass(frozen=True)
class NearBuild:
    """A weighed build beside a draft: distance in kilograms of differing parts, its own mass, and what it has more or less."""

    job_id: str
    body: str
    distance_kg: float
    mass_kg: float
    length_mm: float
    differs: tuple[str, ...]


def nearest_builds(edition: Edition, bodies: Columns, fitout: Columns, count: int) -> list[list[NearBuild]]:
    """The `count` nearest weighed builds of each draft, nearest first.

    Raises: NoModel: distances are in kilograms of the model's parts.
    """
    model, builds, names = _index(edition)
    return [
        [
            NearBuild(*names[near.row], near.distance_kg, near.mass_kg, near.length_mm, near.differs)
            for near in nearest(model, builds, bodies, fitout, row, count)
        ]
        for row in range(height(bodies))
    ]


@lru_cache(maxsize=2)
def _index(edition: Edition) -> tuple[Model, Builds, Sequence[tuple[str, str]]]:
    model = Model.from_json(edition.model_text())
    history = history_of(edition.cursor())
    names = list(zip(history.bodies["job_id"].tolist(), history.bodies["body"].tolist(), strict=True))
    return model, index_builds(model, history.bodies, history.fitout), names
