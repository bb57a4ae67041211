"""One call for many drafts or past jobs: own tickets, what is on board, every limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.frames import height
from pipeline.loads.cases import Assessed, Cases, Work, all_cases, children, number, own_cases
from pipeline.loads.limits import Limits, judge, worse_of
from pipeline.loads.on_board import OnBoard, no_spreads, put_on_board
from pipeline.loads.tickets import ARRIVED, BARE, Spreads, Tickets, newest, readings, variant_spreads
from pipeline.loads.travel import Brought, brought
from pipeline.settings_loads import LimitSettings, TravelLoad, VehicleSettings


@dataclass(frozen=True)
class Checked:
    """Cases, what is on each vehicle, and its limits."""

    cases: Cases
    board: OnBoard
    limits: Limits


@dataclass(frozen=True)
class Terms:
    """On what terms loads are reckoned: the settings, the country of the rules, and tickets against makers' figures of history.

    `spreads` is by row of the `vehicles` frame of the work that is checked.
    """

    vehicle: VehicleSettings
    limits: LimitSettings
    country: str = ""
    spreads: Spreads | None = None


def check(work: Work, assessed: Assessed, travel: TravelLoad, terms: Terms, every_upgrade: bool = False) -> Checked:
    """Check each job of `work` with a travel load.

    Args:
        assessed: masses of `work.bodies`, row by row.
        every_upgrade: each upgrade that can be had, and none, in place of the job's own.
    Returns: cases in the order of `work.jobs`. Where a body lifts off, each limit is the worse of with and without it.
    """
    return check_cases(work, all_cases(work) if every_upgrade else own_cases(work), assessed, brought(travel), terms)


def check_cases(work: Work, cases: Cases, assessed: Assessed, load: Brought, terms: Terms, first: Tickets | None = None) -> Checked:
    """Check given cases with a given load; `first` are the tickets to start from, a row a job (default: the own first ones)."""
    if first is None:
        first = first_tickets(work, terms.vehicle)
    spreads = terms.spreads if terms.spreads is not None else no_spreads(work)
    board = put_on_board(work, cases, assessed, load, terms.vehicle, first, spreads)
    limits = judge(work, cases, board, terms.limits, terms.vehicle, terms.country)
    lifts = _lifting(work, cases)
    if lifts.any():
        off = put_on_board(work, cases, assessed, load, terms.vehicle, first, spreads, without_lift_off=True)
        limits = worse_of(limits, judge(work, cases, off, terms.limits, terms.vehicle, terms.country), lifts)
    return Checked(cases, board, limits)


def first_tickets(work: Work, settings: VehicleSettings) -> Tickets:
    """Own first ticket of each job, bare before arrived; a row a job."""
    return newest(work, readings(work, settings), (BARE, ARRIVED))


def spreads_of_history(work: Work, settings: VehicleSettings) -> Spreads:
    """Tickets of history against makers' figures, by row of `work.vehicles`."""
    return variant_spreads(work, first_tickets(work, settings), settings) if height(work.weighings) else no_spreads(work)


def _lifting(work: Work, cases: Cases) -> np.ndarray:
    _, case = children(np.where(number(work.bodies, "lift_off") > 0.5, work.job_of_body, -1), cases.job)
    return np.bincount(case, minlength=len(cases)) > 0
