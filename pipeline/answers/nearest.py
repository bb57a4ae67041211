"""The nearest weighed builds of drafts, by name: the evidence that a person can check."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pipeline.frames import Columns, from_sql, height
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


# Bodies with the same list share its number: a million builds are some ten thousand lists, and their lines are read once.
_LISTS = "lists AS (SELECT list, row_number() OVER (ORDER BY list) AS place FROM (SELECT DISTINCT list FROM list_lines))"
_BODIES = f"""
WITH {_LISTS}
SELECT b.job_id, b.body, b.kind, b.length_mm, b.width_mm, b.height_mm, b.sheet_mm, b.floor_mm, b.doors, b.painted, b.material, b.size_class,
       b.dated_on, b.origin, b.suspect, b.weighed_kg, coalesce(l.place, 0) AS place
FROM current_bodies AS b
JOIN body_facts AS f ON f.job_id = b.job_id AND f.body = b.body
LEFT JOIN lists AS l ON l.list = f.list
WHERE b.weighed_kg IS NOT NULL
ORDER BY b.job_id, b.body"""
_LINES = f"WITH {_LISTS} SELECT l.place AS body_row, i.item_id, i.qty FROM list_lines AS i JOIN lists AS l ON l.list = i.list"


def nearest_builds(edition: Edition, bodies: Columns, fitout: Columns, count: int) -> list[list[NearBuild]]:
    """The `count` nearest weighed builds of each draft, nearest first.

    Raises: NoModel: distances are in kilograms of the model's parts.
    """
    model, builds, weighed = _index(edition)
    return [
        [
            NearBuild(weighed["job_id"][near.row], weighed["body"][near.row], near.distance_kg, near.mass_kg, near.length_mm, near.differs)
            for near in nearest(model, builds, bodies, fitout, row, count)
        ]
        for row in range(height(bodies))
    ]


@lru_cache(maxsize=2)
def _index(edition: Edition) -> tuple[Model, Builds, Columns]:
    model, cursor = Model.from_json(edition.model_text()), edition.cursor()
    bodies = from_sql(cursor, _BODIES)
    builds = index_builds(model, bodies, from_sql(cursor, _LINES), bodies["place"].astype(np.int64))
    return model, builds, {name: bodies[name] for name in ("job_id", "body")}
