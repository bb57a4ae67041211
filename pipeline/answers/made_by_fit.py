"""What follows from a fitted model for all of history, kept in the edition: estimates of its bodies, margins of its jobs.

History is gone through in parts, so that it takes the memory of one part however long it is.
"""

from __future__ import annotations

from typing import Any

import polars as pl

from pipeline.answers.history import histories
from pipeline.answers.kept_margins import beside_bodies, margins_frame, mark_of
from pipeline.answers.margins import past_of
from pipeline.answers.vehicles import terms_by, work_of_history
from pipeline.mass.estimate import estimate
from pipeline.mass.evidence import History
from pipeline.mass.model import Model
from pipeline.settings import Settings
from pipeline.store.schema import PAST_MARGINS, create_views, keep_facts

_ESTIMATES, _RECKONED, _PART = "body_estimates", "reckoned", "made_of_a_part"


def keep_what_follows(con: Any, model: Model, settings: Settings) -> str:
    """Write both tables, and what pages count by, into the edition under construction.

    Returns: the mark of the margins, for its manifest.
    """
    con.execute(f"DELETE FROM {_ESTIMATES}")
    terms = None
    for history in histories(con):
        _add(con, _ESTIMATES, _estimates(model, history))
        if terms is None:
            terms = terms_by(con, work_of_history(history, settings), settings)
            con.register(_PART, margins_frame(past_of(history, model, terms, settings), settings).to_arrow())
            con.execute(f"CREATE TEMP TABLE {_RECKONED} AS FROM {_PART}")
        else:
            _add(con, _RECKONED, margins_frame(past_of(history, model, terms, settings), settings))
    create_views(con)
    keep_facts(con)
    # by job, so that its ids take little room; by load first, since a page asks for one of them
    con.execute(f"CREATE OR REPLACE TABLE {PAST_MARGINS} AS {beside_bodies(_RECKONED)} ORDER BY load, job_id")
    con.execute(f"DROP TABLE {_RECKONED}")
    return mark_of(settings)


def _add(con: Any, table: str, made: pl.DataFrame) -> None:
    con.register(_PART, made.to_arrow())
    con.execute(f"INSERT INTO {table} BY NAME FROM {_PART}")
    con.unregister(_PART)


def _estimates(model: Model, history: History) -> pl.DataFrame:
    """What the model says of every body, for whoever looks for bodies by their standing."""
    bodies = history.bodies
    found = estimate(model, bodies, history.fitout)
    return pl.DataFrame({
        "job_id": bodies["job_id"].tolist(), "body": bodies["body"].tolist(), "estimate_kg": found.estimate_kg,
        "low_kg": found.low_kg, "high_kg": found.high_kg, "standing": found.standing.tolist(), "why": found.why.tolist(),
    }, schema_overrides={"job_id": pl.String, "body": pl.String, "standing": pl.String, "why": pl.String})  # fmt: skip
