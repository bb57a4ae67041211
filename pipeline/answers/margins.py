"""Past jobs against the limits of their vehicles, as they left the workshop and with the travel load."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.answers.history import history_of
from pipeline.answers.vehicles import assessed_of, terms_by, with_tickets, work_of_history
from pipeline.frames import Columns, take
from pipeline.loads.cases import Assessed, Work, number, own_cases, rows_of, text
from pipeline.loads.check import Checked, Terms, check_cases
from pipeline.loads.margins import delivered, history_margins, ticket_check
from pipeline.loads.travel import brought
from pipeline.mass.evidence import History
from pipeline.mass.model import Model
from pipeline.settings import Settings
from pipeline.settings_loads import TravelLoad
from pipeline.store.editions import AnyEdition


@dataclass(frozen=True)
class PastJobs:
    """Delivered jobs.

    Attributes:
        assessed: the best known mass of each body.
        without_tickets: what would be known of it if no vehicle had ever been weighed.
        terms: on what terms they are reckoned.
    """

    work: Work
    assessed: Assessed
    without_tickets: Assessed
    terms: Terms


def past_jobs(edition: AnyEdition, settings: Settings, jobs: Sequence[str] | None = None) -> PastJobs:
    """Everything that margins of history are made from; read once for several questions.

    Without a model, bodies that were never measured are not known, and neither are their margins.

    Args:
        jobs: only these, which takes a moment however many there are.
    """
    cursor = edition.cursor()
    history = history_of(cursor, jobs)
    return past_of(history, model_of(edition), terms_by(cursor, work_of_history(history, settings), settings), settings)


def model_of(edition: AnyEdition) -> Model | None:
    """The edition's mass model, if it has one."""
    return Model.from_json(edition.model_text()) if edition.has_model else None


def past_of(history: History, model: Model | None, terms: Terms, settings: Settings) -> PastJobs:
    """The same of a history, or a part of one, that was read already; the terms are those of the whole."""
    whole = work_of_history(history, settings)
    alone = assessed_of(model, history.bodies, history.fitout, settings)
    work, known = delivered(whole, with_tickets(alone, history, settings))
    return PastJobs(work, known, delivered(whole, alone)[1], terms)


def margins(past: PastJobs, travel: TravelLoad) -> Columns:
    """Margins of every delivered job, twice: as delivered and with the travel load; the smallest margin first.

    Returns: the columns of the export `margins`, then low_kg, high_kg and p_over of the laden mass, laden_source, and
        dated_on, branch, size_class, kind, length_mm of the job (of its first canopy or box, else of its tray).
    """
    frame = history_margins(past.work, past.assessed, travel, past.terms)
    return frame | _about(past.work, rows_of(frame["job_id"], past.work.jobs["job_id"]))


def _about(work: Work, job: np.ndarray) -> Columns:
    """What a page filters and groups by, for each job row."""
    rows = np.arange(len(work.job_of_body))
    tray = text(work.bodies, "kind") == "tray"
    # assigned from the last to the first, trays before the others, so that the first canopy or box stands
    main = np.full(len(work.jobs["job_id"]), -1)
    for some in (rows[tray][::-1], rows[~tray][::-1]):
        main[work.job_of_body[some]] = some
    body = main[job]
    jobs = take(work.jobs, job)
    kind = np.append(text(work.bodies, "kind"), np.array([None], dtype=object))[body]
    return {
        **{name: jobs[name] for name in ("dated_on", "branch", "size_class")},
        "kind": kind,
        "length_mm": np.append(number(work.bodies, "length_mm"), np.nan)[body],
    }


def open_job(past: PastJobs, job_id: str, travel: TravelLoad) -> Checked | None:
    """One past job with the travel load: what is on it, and each limit; None where there is no such delivered job."""
    job = np.flatnonzero(past.work.jobs["job_id"] == job_id)
    if not len(job):
        return None
    return check_cases(past.work, own_cases(past.work).rows(job), past.assessed, brought(travel), past.terms)


def jobs_with_tickets(edition: AnyEdition) -> list[str]:
    """Jobs of which a finished or loaded vehicle was weighed: all that `tickets_beside` needs to be told of."""
    found = edition.cursor().execute("SELECT DISTINCT job_id FROM weighings WHERE state IN ('finished', 'loaded') ORDER BY job_id")
    return [job_id for (job_id,) in found.fetchall()]


def tickets_beside(past: PastJobs) -> Columns:
    """Tickets of finished and loaded vehicles beside what was added up without them (loads.margins.ticket_check)."""
    return ticket_check(past.work, past.without_tickets, past.terms)
