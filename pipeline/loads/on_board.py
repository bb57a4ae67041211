"""What is on a vehicle, part by part: what stays, what comes off, what we build, what people bring; each with its basis.

All cases at once: a part is an array of masses at places, with the case each belongs to.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.frames import height
from pipeline.loads.cases import Assessed, Cases, Work, children, number, pick_text, text
from pipeline.loads.geometry import Geometry, places
from pipeline.loads.loading import COMES_OFF, GROUPS, PEOPLE_BRING, STAYS, WE_BUILD, Loading, Part, objects
from pipeline.loads.marks import Mark, marks_at
from pipeline.loads.statics import shifted
from pipeline.loads.tickets import FINISHED, Spreads, Tickets
from pipeline.loads.travel import Brought
from pipeline.loads.vehicle_parts import fuel, lines_on_vehicle, upgrade, vehicle, what_comes_off
from pipeline.settings_loads import VehicleSettings

WATER_KG_PER_L = 1.0
_SOURCES = {"weighed": Mark.BODY_WEIGHED, "tickets": Mark.BODY_TICKETS, "cad": Mark.BODY_DRAWN, "estimate": Mark.BODY_ESTIMATED}


@dataclass(frozen=True)
class OnBoard:
    """Everything on each of n vehicles.

    Attributes:
        parts: in the order they are shown.
        kg, moment_x, moment_y: (n,) sums; kg and kg·mm. NaN: something is not known.
        cov: (n, 3, 3) of those three.
        bodies_kg, bodies_var: (n,) of the bodies alone.
        rear_end_mm: (n,) rearmost point of any body behind the front axle; NaN: no body, or its place is not known.
        marks: (n,) bases, assumptions and gaps.
        brought, geometry: what the check assumed, and where things sit.
    """

    parts: tuple[Part, ...]
    kg: np.ndarray
    moment_x: np.ndarray
    moment_y: np.ndarray
    cov: np.ndarray
    bodies_kg: np.ndarray
    bodies_var: np.ndarray
    rear_end_mm: np.ndarray
    marks: np.ndarray
    brought: Brought
    geometry: Geometry

    def lines(self, case: int) -> list[dict[str, Any]]:
        """What is on one vehicle, in the order it is shown: group, label, kg, x_mm, y_mm, basis. They add up to the total."""
        found = []
        for part in self.parts:
            for row in np.flatnonzero((part.case == case) & (part.kg != 0)):
                found.append(
                    {
                        "group": COMES_OFF if part.kg[row] < 0 and part.group in (STAYS, WE_BUILD) else part.group,
                        "label": part.label[row], "kg": float(part.kg[row]),
                        "x_mm": float(part.x_mm[row]), "y_mm": float(part.y_mm[row]), "basis": part.basis[row],
                    }
                )  # fmt: skip
        return sorted(found, key=lambda line: GROUPS.index(line["group"]))


def put_on_board(
    work: Work,
    cases: Cases,
    assessed: Assessed,
    load: Brought,
    settings: VehicleSettings,
    first: Tickets,
    spreads: Spreads,
    without_lift_off: bool = False,
) -> OnBoard:
    """Load every case's vehicle.

    Args:
        assessed: masses and centres of `work.bodies`, row by row.
        first: own ticket of each job in `work.jobs` (tickets.newest), state NO_TICKET where it has none. A FINISHED one stands
            for vehicle, upgrade, lines and bodies together.
        spreads: tickets against makers' figures, by row of `work.vehicles`.
        without_lift_off: leave the bodies off that lift off, with their water.
    """
    spots = places(cases, settings)
    deck = Loading(len(cases))
    own = first.rows(cases.job)
    vehicle(deck, cases, spots, own, spreads, settings)
    lines_on_vehicle(deck, work, cases, spots, own)
    what_comes_off(deck, cases, spots, own, settings)
    upgrade(deck, work, cases, spots, own)
    bodies = _bodies(deck, work, cases, spots, assessed, own, without_lift_off)
    fuel(deck, cases, spots, own, load, settings)
    _water(deck, work, cases, spots, load, bodies)
    _people_and_things(deck, cases, spots, load, settings)
    return OnBoard(
        parts=tuple(deck.parts), kg=deck.total(), moment_x=deck.total("x_mm"), moment_y=deck.total("y_mm"), cov=deck.cov,
        bodies_kg=bodies.sum_kg, bodies_var=bodies.sum_var, rear_end_mm=bodies.rear_end_mm, marks=deck.marks, brought=load, geometry=spots,
    )  # fmt: skip


@dataclass(frozen=True)
class _Bodies:
    """Bodies of the cases: their rows, and what limits ask of them together."""

    row: np.ndarray
    case: np.ndarray
    front_mm: np.ndarray
    stays_off: np.ndarray
    sum_kg: np.ndarray
    sum_var: np.ndarray
    rear_end_mm: np.ndarray


def _bodies(deck: Loading, work: Work, cases: Cases, spots: Geometry, assessed: Assessed, own: Tickets, without_lift_off: bool) -> _Bodies:
    row, case = children(work.job_of_body, cases.job)
    off = (number(work.bodies, "lift_off")[row] > 0.5) if without_lift_off else np.zeros(len(row), bool)
    row_on, case_on = row[~off], case[~off]
    offset = number(work.bodies, "offset_mm")
    front = spots.headboard[case] + np.nan_to_num(offset)[row]
    length = number(work.bodies, "length_mm")
    centre = assessed.com_x_mm[row_on]
    unplaced = np.isnan(centre)
    centre = np.where(unplaced, length[row_on] / 2, centre)
    x_mm, y_mm = front[~off] + centre, np.nan_to_num(assessed.com_y_mm)[row_on]
    weighed = (own.state == FINISHED)[case_on]
    kg = np.where(weighed, 0.0, assessed.kg[row_on])
    deck.mark(marks_at(np.isnan(offset)[row_on], Mark.OFFSET, len(row_on)), case_on)
    deck.mark(marks_at(unplaced & ~weighed, Mark.BODY_CENTRE, len(row_on)), case_on)
    for source, mark in _SOURCES.items():
        deck.mark(marks_at((assessed.source[row_on] == source) & ~weighed, mark, len(row_on)), case_on)
    if assessed.outside is not None:
        deck.mark(marks_at(assessed.outside[row_on] & ~weighed, Mark.BODY_OUTSIDE, len(row_on)), case_on)
    deck.mark(marks_at(np.isnan(kg), Mark.NO_BODY_KG, len(row_on)), case_on)
    deck.mark(marks_at(np.isnan(front[~off]), Mark.NO_HEADBOARD, len(row_on)), case_on)
    deck.some(WE_BUILD, case_on, kg, x_mm, y_mm, text(work.bodies, "body")[row_on], assessed.source[row_on])
    cov = shifted(assessed.cov[row_on], np.nan_to_num(front[~off]))
    np.add.at(deck.cov, case_on[~weighed], cov[~weighed])
    end = front[~off] + length[row_on] + np.nan_to_num(number(work.bodies, "sticks_out_mm"))[row_on]
    rear_end = np.full(deck.size, -np.inf)
    # a body whose place is not known leaves the whole not known
    with np.errstate(invalid="ignore"):
        np.maximum.at(rear_end, case_on, end)
    rear_end[np.isinf(rear_end)] = np.nan
    return _Bodies(
        row, case, front, off,
        np.bincount(case_on, weights=assessed.kg[row_on], minlength=deck.size),
        np.bincount(case_on, weights=assessed.cov[row_on, 0, 0], minlength=deck.size),
        rear_end,
    )  # fmt: skip


def _water(deck: Loading, work: Work, cases: Cases, spots: Geometry, load: Brought, bodies: _Bodies) -> None:
    wanted = np.broadcast_to(np.asarray(load.water_l, float), (len(cases),)) * WATER_KG_PER_L
    if not wanted.any():
        return
    holds = _holders(work, cases, spots, bodies)
    capacity = np.bincount(holds.case, weights=holds.litres, minlength=len(cases))
    with np.errstate(invalid="ignore", divide="ignore"):
        filled = np.where(capacity > 0, np.minimum(1.0, wanted / capacity), 0.0)
    kg = filled[holds.case] * holds.litres * WATER_KG_PER_L
    kg = np.where(holds.off, 0.0, kg)
    deck.mark(marks_at(np.isnan(holds.x_mm) & (kg != 0), Mark.WATER_PLACE, len(kg)), holds.case)
    middle = _under_tray_middle(work, spots, bodies, len(cases))
    x_mm = np.where(np.isnan(holds.x_mm), middle[holds.case], holds.x_mm)
    deck.some(PEOPLE_BRING, holds.case, kg, x_mm, holds.y_mm, holds.label, "by the travel load")
    rest = wanted - filled * capacity * WATER_KG_PER_L
    rest = np.where(np.abs(rest) < 1e-9, 0.0, rest)
    deck.mark(marks_at(rest != 0, Mark.WATER_PLACE, len(cases)))
    deck.every(PEOPLE_BRING, rest, middle, "water beyond what the tanks hold", "by the travel load")


@dataclass(frozen=True)
class _Holders:
    """What holds water, row by row."""

    case: np.ndarray
    litres: np.ndarray
    x_mm: np.ndarray
    y_mm: np.ndarray
    label: np.ndarray
    off: np.ndarray


def _holders(work: Work, cases: Cases, spots: Geometry, bodies: _Bodies) -> _Holders:
    item = work.item_of_line
    qty = number(work.fitout, "qty")
    each = np.append(np.nan_to_num(number(work.items, "holds_l")), 0.0)[item] * np.where(np.isnan(qty), 1.0, qty)
    line, at = children(np.where(each > 0, work.body_of_line, -1), bodies.row)
    labels = pick_text(_water_in(text(work.items, "label")), item[line])
    holds = np.nan_to_num(number(work.on_vehicle, "holds_l"))
    part, case = children(np.where(holds > 0, work.job_of_part, -1), cases.job)
    part_x = number(work.on_vehicle, "x_mm")[part]
    return _Holders(
        np.concatenate([bodies.case[at], case]),
        np.concatenate([each[line], holds[part]]),
        np.concatenate(
            [bodies.front_mm[at] + number(work.fitout, "x_mm")[line], np.where(np.isnan(part_x), spots.rear_axle[case], part_x)]
        ),
        np.nan_to_num(np.concatenate([number(work.fitout, "y_mm")[line], number(work.on_vehicle, "y_mm")[part]])),
        np.concatenate([labels, _water_in(text(work.on_vehicle, "label"))[part]]),
        np.concatenate([bodies.stays_off[at], np.zeros(len(part), bool)]),
    )


def _water_in(labels: np.ndarray) -> np.ndarray:
    return objects([f"water in {one}" for one in labels.tolist()], len(labels))


def _under_tray_middle(work: Work, spots: Geometry, bodies: _Bodies, size: int) -> np.ndarray:
    """Middle of the tray, else of the first body, else over the rear axle; (size,) mm behind the front axle."""
    middle = bodies.front_mm + number(work.bodies, "length_mm")[bodies.row] / 2
    tray = np.isin(text(work.bodies, "body"), ["tray", "tray-2"])[bodies.row]
    found = spots.rear_axle.copy()
    # assigned from the last to the first, trays after the others, so that the first tray stands
    for chosen in (np.flatnonzero(~tray)[::-1], np.flatnonzero(tray)[::-1]):
        found[bodies.case[chosen]] = middle[chosen]
    return found


def _people_and_things(deck: Loading, cases: Cases, spots: Geometry, load: Brought, settings: VehicleSettings) -> None:
    single = cases["cab"] == "single"
    sides = {"left": -settings.seat_side_mm, "right": settings.seat_side_mm, "middle": 0.0}
    seats = {"front": spots.front_seat, "rear": spots.rear_seat}
    for kg, seat, side in load.people:
        some = np.asarray(kg) != 0
        deck.mark(np.where(some, spots.marks[f"{seat}_seat"], 0))
        deck.mark(marks_at(some & single & (seat == "rear"), Mark.NO_REAR_SEAT, len(cases)))
        deck.every(PEOPLE_BRING, kg, seats[seat], f"person, {seat} {side}", "by the travel load", sides[side])
    deck.mark(np.where(np.asarray(load.luggage) != 0, spots.marks["rear_seat"], 0))
    deck.every(PEOPLE_BRING, load.luggage, spots.rear_seat, "luggage", "by the travel load")
    for extra in load.extra:
        lost = extra.x_mm is None
        place = spots.rear_axle if extra.x_mm is None else spots.headboard + extra.x_mm
        deck.mark(marks_at(np.array(lost and extra.kg != 0), Mark.EXTRA_PLACE, len(cases)))
        deck.mark(marks_at(np.isnan(place) & (not lost), Mark.NO_HEADBOARD, len(cases)))
        deck.every(PEOPLE_BRING, extra.kg, place, extra.label, "by the travel load", extra.y_mm)
    deck.every(PEOPLE_BRING, load.other, spots.rear_axle, "other things on the ticket", "as weighed")
    deck.mark(marks_at((np.asarray(load.ball) != 0) & np.isnan(spots.ball), Mark.NO_BALL_PLACE, len(cases)))
    deck.every(PEOPLE_BRING, load.ball, spots.ball, "mass on the ball", "by the travel load")


def no_spreads(work: Work) -> Spreads:
    """Spreads of a history without tickets: the common one stands for every variant."""
    size = height(work.vehicles)
    return Spreads(np.zeros(size, np.int64), np.zeros((size, 2)), np.full((size, 2, 2), np.nan))
