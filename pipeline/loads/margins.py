"""History against its limits: each job as it left the workshop and with the travel load, measured before estimated.

Where a job has a ticket of the finished vehicle, what is on it is taken from there; else it is added up from its parts.
The same tickets, and those of the loaded vehicle, are laid beside what was added up, as a check of the reckoning.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.frames import Columns, height, take
from pipeline.loads.cases import Assessed, Cases, Work, own_cases, text, with_upgrade
from pipeline.loads.check import Terms, check_cases, first_tickets
from pipeline.loads.marks import Mark
from pipeline.loads.on_board import OnBoard
from pipeline.loads.tickets import FINISHED, LOADED, NO_TICKET, Tickets, newest, readings
from pipeline.loads.travel import Brought, brought, nothing_loaded
from pipeline.settings_loads import TravelLoad

DELIVERED, TRAVEL = "delivered", "travel"
BY_TICKET, BY_PARTS = "finished ticket", "parts"
SOURCES = ("weighed", "tickets", "cad", "estimate")
COLUMNS = (
    "job_id", "vehicle_id", "upgrade_id", "load", "body_kg", "body_source", "laden_kg", "gvm_kg", "margin_kg", "rear_kg", "rear_limit_kg",
    "rear_margin_kg",
)  # fmt: skip


def history_margins(work: Work, assessed: Assessed, travel: TravelLoad, terms: Terms) -> Columns:
    """Margins of every job of `work`, a row a job and load, the smallest margin first.

    Args:
        work: delivered jobs alone.
        assessed: the best known mass of each body, with its source.
    Returns: COLUMNS, and `low_kg`, `high_kg`, `p_over` of the laden mass against GVM, `laden_source`.
    """
    cases = own_cases(work)
    first = first_tickets(work, terms.vehicle)
    finished = newest(work, readings(work, terms.vehicle), (FINISHED,))
    frames = []
    for name, load in ((DELIVERED, nothing_loaded(terms.vehicle)), (TRAVEL, brought(travel))):
        frames.append(_margins(work, cases, assessed, load, terms, first, finished) | {"load": _all(name, len(cases))})
    both = {name: np.concatenate([frame[name] for frame in frames]) for name in frames[0]}
    smallest = np.fmin(both["margin_kg"], both["rear_margin_kg"])
    order = np.lexsort((both["load"] == TRAVEL, both["job_id"].astype(str), np.nan_to_num(smallest, nan=np.inf)))
    ordered = take(both, order)
    return {name: ordered[name] for name in (*COLUMNS, *(other for other in ordered if other not in COLUMNS))}


def _margins(work: Work, cases: Cases, assessed: Assessed, load: Brought, terms: Terms, first: Tickets, finished: Tickets) -> Columns:
    by_parts = check_cases(work, cases, assessed, load, terms, first)
    by_ticket = check_cases(work, cases, assessed, load, terms, _either(finished, first))
    has = finished.state != NO_TICKET
    has_axles = has & ~np.isnan(finished.rear_kg)
    at, rear_at = by_parts.limits.of("gvm"), by_parts.limits.of("rear_axle")
    kg = np.where(has, by_ticket.board.kg, by_parts.board.kg)
    rear, guessed = (np.where(has_axles, one, other) for one, other in zip(_rear(by_ticket.board), _rear(by_parts.board), strict=True))
    parts, ticket = by_parts.limits, by_ticket.limits
    rating, rear_rating = parts.rating[:, at], np.where(guessed, np.nan, parts.rating[:, rear_at])
    return {
        "job_id": cases["job_id"],
        "vehicle_id": cases["vehicle_id"],
        "upgrade_id": cases["upgrade_id"],
        "body_kg": by_parts.board.bodies_kg,
        "body_source": _sources(work, cases, assessed),
        "laden_kg": kg,
        "gvm_kg": rating,
        "margin_kg": rating - kg,
        "rear_kg": rear,
        "rear_limit_kg": parts.rating[:, rear_at],
        "rear_margin_kg": rear_rating - rear,
        "low_kg": np.where(has, ticket.low[:, at], parts.low[:, at]),
        "high_kg": np.where(has, ticket.high[:, at], parts.high[:, at]),
        "p_over": np.where(has, ticket.p_over[:, at], parts.p_over[:, at]),
        "laden_source": np.where(has, _all(BY_TICKET, len(has)), _all(BY_PARTS, len(has))),
    }


def _all(word: str, size: int) -> np.ndarray:
    return np.full(size, word, dtype=object)


def _either(one: Tickets, other: Tickets) -> Tickets:
    """Each job's ticket of `one`, else of `other`."""
    has = one.state != NO_TICKET
    return Tickets(**{name: np.where(has, getattr(one, name), getattr(other, name)) for name in Tickets.__dataclass_fields__})


def _rear(board: OnBoard) -> tuple[np.ndarray, np.ndarray]:
    return board.moment_x / board.geometry.rear_axle, (board.marks & int(Mark.SPLIT)) != 0


def _sources(work: Work, cases: Cases, assessed: Assessed) -> np.ndarray:
    """Sources of each job's bodies, the surest first, joined by plus signs; None where it has no body."""
    job = work.job_of_body
    has = np.zeros((height(work.jobs), len(SOURCES)), bool)
    for place, source in enumerate(SOURCES):
        has[job[(assessed.source == source) & (job >= 0)], place] = True
    codes = has @ (1 << np.arange(len(SOURCES)))
    said = np.empty(1 << len(SOURCES), dtype=object)
    said[:] = ["+".join(name for place, name in enumerate(SOURCES) if code >> place & 1) or None for code in range(len(said))]
    return said[codes][cases.job]


def ticket_check(work: Work, assessed: Assessed, terms: Terms) -> Columns:
    """Tickets of finished and loaded vehicles beside what was added up for the same state, in the order of `weighings`.

    People, water and other load on a ticket are taken off it; fuel is put on as the ticket says.
    Returns: job_id, ticket, state, ticket_kg, reckoned_kg, apart_kg, sd_kg, and ticket_rear_kg, reckoned_rear_kg, rear_apart_kg.
    """
    every = readings(work, terms.vehicle)
    seen = every.rows(np.isin(every.state, [FINISHED, LOADED]))
    cases = with_upgrade(work, seen.job, work.upgrade_of_job[seen.job])
    filled = seen.litres / cases["fuel_l"]
    checked = check_cases(work, cases, assessed, Brought(fuel_fraction=filled), terms, first_tickets(work, terms.vehicle))
    rear = checked.board.moment_x / checked.board.geometry.rear_axle
    fuel_var = seen.litres_var * terms.vehicle.diesel_kg_per_l**2
    states = np.array(["", "bare", "arrived", "finished", "loaded"], dtype=object)
    return {
        "job_id": cases["job_id"],
        "ticket": seen.label,
        "state": states[seen.state],
        "ticket_kg": seen.kg,
        "reckoned_kg": checked.board.kg,
        "apart_kg": seen.kg - checked.board.kg,
        "sd_kg": np.sqrt(checked.board.cov[:, 0, 0] + seen.var_kg + fuel_var),
        "ticket_rear_kg": seen.rear_kg,
        "reckoned_rear_kg": rear,
        "rear_apart_kg": seen.rear_kg - rear,
    }


def delivered(work: Work, assessed: Assessed) -> tuple[Work, Assessed]:
    """The delivered jobs alone, with their bodies and lines."""
    jobs = np.flatnonzero(text(work.jobs, "status") == "delivered")
    wanted = np.zeros(height(work.jobs) + 1, bool)
    wanted[jobs] = True
    bodies = np.flatnonzero(wanted[work.job_of_body])
    renumber = np.full(height(work.bodies) + 1, -1)
    renumber[bodies] = np.arange(len(bodies))
    lines = np.flatnonzero(renumber[work.body_of_line] >= 0)
    fitout = take(work.fitout, lines)
    fitout["body_row"] = renumber[work.body_of_line[lines]]
    kept = replace(work, jobs=take(work.jobs, jobs), bodies=take(work.bodies, bodies), fitout=fitout)
    return kept, assessed.rows(bodies)
