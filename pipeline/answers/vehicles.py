"""Bodies on vehicles: frames of history or drafts joined with what the mass model knows, ready for the room of loads."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist
from typing import Any

import numpy as np

from pipeline.answers.drafts import Drafts
from pipeline.frames import Columns, from_sql, height, take
from pipeline.loads.cases import Assessed, Work, number, text
from pipeline.loads.check import Terms, first_tickets
from pipeline.loads.on_board import no_spreads
from pipeline.loads.statics import shifted
from pipeline.loads.tickets import Spreads, variant_spreads
from pipeline.mass.bodies import zone_fractions
from pipeline.mass.estimate import Estimates, given_or_estimated
from pipeline.mass.evidence import History
from pipeline.mass.model import Model
from pipeline.mass.tickets import read_tickets
from pipeline.settings import Settings
from pipeline.store.editions import AnyEdition

_SOURCES = {"weighed": "weighed", "drawn": "cad", "estimate": "estimate"}
_FIRST = "SELECT DISTINCT job_id FROM weighings WHERE state IN ('arrived', 'bare')"


def work_of_drafts(drafts: Drafts, settings: Settings) -> Work:
    """Drafts as loads reads them: the last revision of each job, a job for every body, every line placed."""
    jobs = _last_revisions(drafts.jobs)
    named = dict(zip(jobs["job_id"].tolist(), text(jobs, "revision").tolist(), strict=True))
    known = [
        named.get(job, revision) == revision for job, revision in zip(drafts.bodies["job_id"], text(drafts.bodies, "revision"), strict=True)
    ]
    bodies, fitout = _kept(drafts.bodies, drafts.fitout, np.array(known, dtype=bool))
    jobs = _with_lone_bodies(jobs, bodies)
    return Work(
        jobs, drafts.vehicles, drafts.upgrades, bodies, placed(bodies, fitout, settings), drafts.items, drafts.on_vehicle, drafts.weighings,
    )  # fmt: skip


def _last_revisions(jobs: Columns) -> Columns:
    revisions = text(jobs, "revision").tolist()
    order = sorted(range(height(jobs)), key=lambda row: (len(revisions[row] or ""), revisions[row] or ""))
    last = {jobs["job_id"][row]: row for row in order}
    return take(jobs, np.array(sorted(last.values()), dtype=np.int64))


def _kept(bodies: Columns, fitout: Columns, known: np.ndarray) -> tuple[Columns, Columns]:
    if known.all():
        return bodies, fitout
    renumber = np.where(known, np.cumsum(known) - 1, -1)
    lines = take(fitout, np.flatnonzero(known[fitout["body_row"]]))
    lines["body_row"] = renumber[lines["body_row"]]
    return take(bodies, np.flatnonzero(known)), lines


def _with_lone_bodies(jobs: Columns, bodies: Columns) -> Columns:
    """A job for each body that came without one, so that it is told that nothing is known of its vehicle."""
    there = set(jobs["job_id"].tolist())
    lone = list(dict.fromkeys(job for job in bodies["job_id"].tolist() if job not in there))
    if not lone:
        return jobs
    more = {name: np.concatenate([values, _unknown(values, len(lone))]) for name, values in jobs.items()}
    more["job_id"][-len(lone) :] = lone
    return more


def _unknown(values: np.ndarray, count: int) -> np.ndarray:
    if values.dtype.kind == "f":
        return np.full(count, np.nan)
    if values.dtype.kind == "M":
        return np.full(count, np.datetime64("NaT"), dtype=values.dtype)
    return np.full(count, None if values.dtype.kind == "O" else 0, dtype=values.dtype)


def placed(bodies: Columns, fitout: Columns, settings: Settings) -> Columns:
    """Fit-out lines with a place each: as given, else the middle of the zone."""
    x_mm, y_mm = places_of(bodies, fitout, settings)
    return fitout | {"x_mm": x_mm, "y_mm": y_mm}


def places_of(bodies: Columns, fitout: Columns, settings: Settings) -> tuple[np.ndarray, np.ndarray]:
    """x and y of each fit-out line in its body's frame, mm."""
    along, across = zone_fractions(text(fitout, "zone"), settings.mass.place_fractions, settings.mass.side_fraction)
    row = fitout["body_row"]
    x_mm, y_mm = number(fitout, "x_mm"), number(fitout, "y_mm")
    x_mm = np.where(np.isnan(x_mm), along * number(bodies, "length_mm")[row], x_mm)
    return x_mm, np.where(np.isnan(y_mm), across * number(bodies, "width_mm")[row], y_mm)


def assessed_of(model: Model | None, bodies: Columns, fitout: Columns, settings: Settings) -> Assessed:
    """Best known mass and centre of each body: given ones, else by the model; without a model only given ones are known."""
    if model is None:
        return _given_alone(bodies, settings)
    found = given_or_estimated(model, bodies, fitout, settings.limits.level)
    source = np.array([_SOURCES[one] for one in found.source.tolist()], dtype=object)
    return assessed_from(found, model, source, settings)


def assessed_from(found: Estimates, model: Model, source: np.ndarray, settings: Settings) -> Assessed:
    """Estimates as loads reads them.

    A normal spread stands for the calibrated interval: it is widened so that both reach as far at the level of the limits.
    """
    level = settings.limits.level
    wider = model.reach(min(level, 0.99)) / NormalDist().inv_cdf(0.5 + min(level, 0.99) / 2)
    cov = found.cov * np.where(source == "estimate", wider**2, 1.0)[:, None, None]
    outside = (found.standing == "outside") & (source == "estimate")
    return Assessed(found.estimate_kg, found.com_x_mm, found.com_y_mm, cov, source, outside)


def _given_alone(bodies: Columns, settings: Settings) -> Assessed:
    weighed, drawn, step = (number(bodies, name) for name in ("weighed_kg", "cad_kg", "scale_step_kg"))
    on_scale = ~np.isnan(weighed)
    kg = np.where(on_scale, weighed, drawn)
    division = np.where(np.isnan(step), settings.mass.unknown_step_kg, step)
    sd = np.where(on_scale, division / np.sqrt(12.0), settings.mass.drawing_noise * np.nan_to_num(drawn))
    com_x, com_y = number(bodies, "com_x_mm"), number(bodies, "com_y_mm")
    com_x = np.where(np.isnan(com_x), number(bodies, "length_mm") / 2, com_x)
    spread = np.hypot(settings.mass.shell_place_spread_mm, settings.mass.place_noise_mm)
    cov = _cov(sd**2, com_x, np.nan_to_num(com_y), np.nan_to_num(kg) * spread[0], np.nan_to_num(kg) * spread[1])
    source = np.select([on_scale, ~np.isnan(drawn)], ["weighed", "cad"], "estimate").astype(object)
    return Assessed(kg, com_x, com_y, cov, source, np.zeros(len(kg), bool))


def _cov(var: np.ndarray, x_mm: np.ndarray, y_mm: np.ndarray, moment_x: np.ndarray, moment_y: np.ndarray) -> np.ndarray:
    """(n, 3, 3) of a mass at its centre, and of moments of their own spread."""
    own = np.zeros((len(var), 3, 3))
    own[:, 0, 0] = var
    own = shifted(own, x_mm, y_mm)
    own[:, 1, 1] += moment_x**2
    own[:, 2, 2] += moment_y**2
    return own


def work_of_history(history: History, settings: Settings) -> Work:
    """History as loads reads it."""
    return Work(
        history.jobs, history.vehicles, history.upgrades, history.bodies, placed(history.bodies, history.fitout, settings), history.items,
        history.on_vehicle, history.weighings,
    )  # fmt: skip


def with_tickets(known: Assessed, history: History, settings: Settings) -> Assessed:
    """Masses of past bodies that no scale has seen, by the difference of their vehicles' tickets: before drawing and estimate."""
    readings = read_tickets(history, np.zeros(len(known.kg)), np.ones(len(known.kg), bool), settings.mass, settings.vehicles, set())
    kg, cov, source = known.kg.copy(), known.cov.copy(), known.source.copy()
    outside = np.zeros(len(kg), bool) if known.outside is None else known.outside.copy()
    for total, var, rows in zip(readings.kg, readings.var, readings.bodies, strict=True):
        # bodies that nobody has thought of yet share by their lengths
        weights = number(history.bodies, "length_mm")[rows] if np.isnan(kg[rows]).any() else kg[rows]
        share = weights / weights.sum()
        kg[rows] = total * share
        arm = np.stack([np.ones(len(rows)), known.com_x_mm[rows], np.nan_to_num(known.com_y_mm[rows])], axis=1)
        about_centre = cov[rows] - cov[rows, 0, 0][:, None, None] * arm[:, :, None] * arm[:, None, :]
        cov[rows] = about_centre + (var * share)[:, None, None] * arm[:, :, None] * arm[:, None, :]
        source[rows], outside[rows] = "tickets", False
    return Assessed(kg, known.com_x_mm, known.com_y_mm, cov, source, outside)


def terms_for(edition: AnyEdition | None, work: Work, settings: Settings) -> Terms:
    """On what terms the vehicles of `work` are reckoned, with history's tickets against their makers' figures."""
    return terms_by(None if edition is None else edition.cursor(), work, settings)


def terms_by(cursor: Any, work: Work, settings: Settings) -> Terms:
    """The same by a cursor over the edition's tables; None: without a history."""
    spreads = no_spreads(work) if cursor is None else _spreads(cursor, work, settings)
    return Terms(settings.vehicles, settings.limits, settings.workshop.country, spreads)


def _spreads(cursor: Any, work: Work, settings: Settings) -> Spreads:
    weighings = from_sql(cursor, f"SELECT * FROM weighings WHERE job_id IN ({_FIRST}) ORDER BY ALL")
    if not height(weighings):
        return no_spreads(work)
    past = replace(
        work,
        jobs=from_sql(cursor, f"SELECT * FROM current_jobs WHERE job_id IN ({_FIRST}) ORDER BY job_id"),
        on_vehicle=from_sql(cursor, f"SELECT * FROM on_vehicle WHERE job_id IN ({_FIRST}) ORDER BY ALL"),
        weighings=weighings,
    )
    return variant_spreads(past, first_tickets(past, settings.vehicles), settings.vehicles)


def with_unknown(drafts: Drafts, work: Work, assessed: Assessed) -> Assessed:
    """Bodies whose draft names an item that nobody knows are outside as well."""
    lost = {reject.key for reject in drafts.rejects if reject.table == "fitout"}
    rows = zip(work.bodies["job_id"], text(work.bodies, "revision"), work.bodies["body"], strict=True)
    unknown = np.array(["/".join(part for part in key if part) in lost for key in rows], dtype=bool)
    estimated = assessed.source == "estimate"
    outside = unknown & estimated if assessed.outside is None else assessed.outside | (unknown & estimated)
    return replace(assessed, outside=outside)
