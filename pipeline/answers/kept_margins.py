"""Margins of past jobs as a table: kept in the edition by its fit, reckoned anew where the settings are others by now.

The manifest holds a mark of the settings that the table was made under, and only of the edition that the fit has built: a
load brings other records and leaves the table out. So no number of other settings, records or another model can be shown.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np
import polars as pl

from pipeline.answers.files import Rows
from pipeline.answers.history import histories
from pipeline.answers.margins import PastJobs, margins, model_of, past_of
from pipeline.answers.vehicles import terms_by, work_of_history
from pipeline.loads.margins import COLUMNS
from pipeline.settings import Settings
from pipeline.store.editions import SCHEMA_VERSION, AnyEdition
from pipeline.store.schema import PAST_MARGINS

SHOWN = (*COLUMNS, "low_kg", "high_kg", "p_over", "laden_source", "dated_on", "branch", "size_class", "kind", "length_mm")
MARK = "margins"
"""Entry of the manifest."""
_RECKONED = "reckoned_margins"
_TEXTS = ("job_id", "vehicle_id", "upgrade_id", "load", "body_source", "laden_source", "branch", "size_class", "kind")
_TENTHS = tuple(name for name in COLUMNS if name.endswith("_kg"))
_SMALLEST = "least(margin_kg, rear_margin_kg) NULLS LAST, job_id, load"


@dataclass(frozen=True)
class PastMargins:
    """SHOWN and `alone, sold_on, family`: every delivered job, twice: as delivered and with the travel load.

    Attributes:
        reckoned: an Arrow table; None: the one kept in the edition holds.
    """

    reckoned: Any = None

    def on(self, con: Any) -> str:
        """What a query by this cursor of the edition selects them from."""
        if self.reckoned is None:
            return PAST_MARGINS
        con.register(_RECKONED, self.reckoned)
        return _RECKONED


def past_margins(edition: AnyEdition, settings: Settings) -> PastMargins:
    """The margins of an edition under these settings: the kept ones where they hold, else reckoned now."""
    if _are_kept(edition, settings):
        return PastMargins()
    return PastMargins(with_bodies(edition.cursor(), _reckoned(edition, settings)))


def with_bodies(con: Any, reckoned: Any) -> Any:
    """An Arrow table of margins with what `beside_bodies` adds to them, as a cursor of the edition knows it."""
    con.register(_RECKONED, reckoned)
    return con.sql(beside_bodies(_RECKONED)).to_arrow_table()


def beside_bodies(margins: str) -> str:
    """What selects a table of margins, and beside each what its job's body is filtered by where the job has one alone.

    Nearly all have, and a page then need not look for their bodies.
    """
    return f"""
        SELECT m.*, f.job_id IS NOT NULL AS alone, f.sold_on, f.family
        FROM {margins} AS m LEFT JOIN body_facts AS f ON f.job_id = m.job_id AND f.alone AND f.counted"""


def _are_kept(edition: AnyEdition, settings: Settings) -> bool:
    return bool(edition.manifest.get(MARK) == mark_of(settings))


def _reckoned(edition: AnyEdition, settings: Settings) -> Any:
    model, cursor = model_of(edition), edition.cursor()
    terms = None
    frames = []
    for history in histories(cursor):
        terms = terms or terms_by(cursor, work_of_history(history, settings), settings)
        frames.append(margins_frame(past_of(history, model, terms, settings), settings))
    return pl.concat(frames).to_arrow()


def mark_of(settings: Settings) -> str:
    """A digest of the table's format and of everything that is set about margins."""
    told = (SCHEMA_VERSION, settings.travel, settings.vehicles, settings.limits, settings.mass, settings.workshop.country)
    return hashlib.sha256(msgspec.json.encode(told, order="deterministic")).hexdigest()


def margins_table(edition: AnyEdition, settings: Settings) -> Rows:
    """The export `margins`, kg to a tenth, the smallest margin first."""
    if _are_kept(edition, settings):
        return _export(edition.cursor(), PastMargins())
    import duckdb

    # an edition that lies in a lake is asked in another engine, which knows no frame of ours
    return _export(duckdb.connect(), PastMargins(_reckoned(edition, settings)))


def _export(con: Any, found: PastMargins) -> Rows:
    told = ", ".join(f"round_even({name} * 10, 0) / 10 AS {name}" if name in _TENTHS else name for name in COLUMNS)
    return Rows.query(con, f"SELECT {told} FROM {found.on(con)} ORDER BY {_SMALLEST}")


def margins_frame(past: PastJobs, settings: Settings) -> pl.DataFrame:
    """Margins as SHOWN has them."""
    found = margins(past, settings.travel)
    return pl.DataFrame([_series(name, found[name]) for name in SHOWN])


def _series(name: str, values: np.ndarray) -> pl.Series:
    if name == "dated_on":
        return pl.Series(name, values.astype("datetime64[D]"), dtype=pl.Date)
    if name in _TEXTS:
        return pl.Series(name, values.tolist(), dtype=pl.String)
    return pl.Series(name, values.astype(np.float64), nan_to_null=True)
