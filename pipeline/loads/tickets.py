"""Weighbridge tickets brought to one footing: nobody and nothing on board, fuel named. They come before any maker's figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.frames import height
from pipeline.loads.cases import Cases, Work, children, number, rows_of, text, with_upgrade
from pipeline.loads.geometry import Geometry, fuel_density, places
from pipeline.loads.marks import Mark, marks_at
from pipeline.settings_loads import VehicleSettings

NO_TICKET, BARE, ARRIVED, FINISHED, LOADED = 0, 1, 2, 3, 4
STATES = {"bare": BARE, "arrived": ARRIVED, "finished": FINISHED, "loaded": LOADED}


@dataclass(frozen=True)
class Tickets:
    """One reading a row, or one job a row where several readings of a day were brought together.

    Attributes, all (n,):
        job: row in `jobs`.
        state: one of the constants above.
        day: datetime64[D], NaT where it is not known.
        kg: without people, water, other and ball mass, with the fuel that was in it.
        rear_kg: the same on the rear axle; NaN: axles not read.
        litres: fuel in it; `litres_var` its variance where the ticket does not say.
        var_kg, var_rear_kg, cov_kg: reading noise (division² / 12 a reading) of total, rear axle and both.
        left_share: share on the left wheels; NaN: not read.
        label: ticket and day, for people.
        marks: what was assumed.
    """

    job: np.ndarray
    state: np.ndarray
    day: np.ndarray
    kg: np.ndarray
    rear_kg: np.ndarray
    litres: np.ndarray
    litres_var: np.ndarray
    var_kg: np.ndarray
    var_rear_kg: np.ndarray
    cov_kg: np.ndarray
    left_share: np.ndarray
    label: np.ndarray
    marks: np.ndarray

    def __len__(self) -> int:
        return len(self.job)

    def rows(self, index: np.ndarray) -> Tickets:
        """The readings at `index` (positions or a mask)."""
        return Tickets(**{name: getattr(self, name)[index] for name in self.__dataclass_fields__})


@dataclass(frozen=True)
class Spreads:
    """How tickets of a variant stood against its maker's figure, by row of `vehicles`.

    Attributes:
        count: (v,) jobs with a ticket.
        mean: (v, 2) of ticket − figure, total and rear axle, kg; 0 where there are too few.
        cov: (v, 2, 2) of one further vehicle about that, kg².
    """

    count: np.ndarray
    mean: np.ndarray
    cov: np.ndarray


def readings(work: Work, settings: VehicleSettings) -> Tickets:
    """Every ticket on its own, brought to nobody and nothing on board. Tickets of unknown jobs are left out."""
    tickets = work.weighings
    job = rows_of(text(tickets, "job_id"), text(work.jobs, "job_id"))
    known = np.flatnonzero((job >= 0) & np.isin(text(tickets, "state"), list(STATES)))
    job = job[known]
    cases = with_upgrade(work, job, np.full(len(job), -1))
    spots = places(cases, settings)
    value = {name: number(tickets, name)[known] for name in _NUMBERS}
    aboard = {name: np.nan_to_num(value[name]) for name in ("people_kg", "water_l", "other_kg", "ball_kg")}
    off = aboard["people_kg"] + aboard["water_l"] + aboard["other_kg"] + aboard["ball_kg"]
    rear, extra = _rear(value)
    rear = rear - _rear_of_load(aboard, spots)
    litres, litres_var, fuel_marks = _fuel(value["fuel_fraction"], cases["fuel_l"], settings)
    step = np.where(np.isnan(value["scale_step_kg"]), settings.ticket_step_kg, value["scale_step_kg"])
    noise = step**2 / 12
    day = tickets["weighed_on"][known].astype("datetime64[D]") if "weighed_on" in tickets else np.full(len(job), np.datetime64("NaT", "D"))
    placed = (aboard["water_l"] != 0) | (aboard["other_kg"] != 0)
    return Tickets(
        job=job,
        state=np.array([STATES[one] for one in text(tickets, "state")[known]], dtype=np.int64),
        day=day,
        kg=value["total_kg"] - off,
        rear_kg=rear,
        litres=litres,
        litres_var=litres_var,
        var_kg=noise,
        var_rear_kg=noise * np.where(extra, 2, 1),
        cov_kg=np.where(extra, noise, 0.0),
        left_share=value["left_kg"] / (value["left_kg"] + value["right_kg"]),
        label=_labels(text(tickets, "ticket")[known], day),
        marks=fuel_marks | marks_at(placed, Mark.TICKET_PLACES, len(job)),
    )


_NUMBERS = (
    "total_kg", "front_kg", "rear_kg", "left_kg", "right_kg", "scale_step_kg", "fuel_fraction", "people_kg", "water_l", "other_kg",
    "ball_kg",
)  # fmt: skip


def _rear(value: dict[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Rear axle so that both axles add up to the total, and whether it had to be taken as total less front."""
    total, front, rear = value["total_kg"], value["front_kg"], value["rear_kg"]
    both = total * rear / (front + rear)
    lone = np.where(np.isnan(rear), total - front, rear)
    return np.where(np.isnan(both), lone, both), np.isnan(rear) & ~np.isnan(front)


def _rear_of_load(aboard: dict[str, np.ndarray], spots: Geometry) -> np.ndarray:
    people = _moment(aboard["people_kg"], spots.front_seat / spots.rear_axle)
    ball = _moment(aboard["ball_kg"], spots.ball / spots.rear_axle)
    return people + ball + aboard["water_l"] + aboard["other_kg"]


def _moment(kg: np.ndarray, place: np.ndarray) -> np.ndarray:
    return np.where(kg == 0, 0.0, kg * place)


def _fuel(fraction: np.ndarray, tank: np.ndarray, settings: VehicleSettings) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    unknown = np.isnan(fraction)
    litres = np.where(unknown, settings.ticket_fuel_fraction, fraction) * tank
    return litres, np.where(unknown, np.nan_to_num(tank) ** 2 / 12, 0.0), marks_at(unknown, Mark.TICKET_FUEL, len(tank))


def _labels(ticket: np.ndarray, day: np.ndarray) -> np.ndarray:
    found = np.empty(len(ticket), dtype=object)
    found[:] = [f"{one} of {when}" if one else str(when) for one, when in zip(ticket.tolist(), day.tolist(), strict=True)]
    return found


def newest(work: Work, every: Tickets, states: Sequence[int]) -> Tickets:
    """One row a job: the readings of the newest day, of the first of `states` that the job has; several of a day are averaged.

    Returns: rows in the order of `jobs`, `state` NO_TICKET where there is none.
    """
    size = height(work.jobs)
    rank = {state: place for place, state in enumerate(states)}
    wanted = np.flatnonzero(np.isin(every.state, list(states)))
    picked = every.rows(wanted)
    day = picked.day.astype(np.int64)
    key = np.array([rank[state] for state in picked.state.tolist()], dtype=np.int64)
    order = np.lexsort((-day, key, picked.job))
    first = np.ones(len(order), bool)
    first[1:] = np.diff(picked.job[order]) != 0
    head = order[np.maximum.accumulate(np.where(first, np.arange(len(order)), 0))]
    same = order[(key[order] == key[head]) & (day[order] == day[head])]
    return _averaged(picked.rows(same), size)


def _averaged(tickets: Tickets, size: int) -> Tickets:
    def total(values: np.ndarray) -> np.ndarray:
        return np.bincount(tickets.job, weights=values, minlength=size)

    def mean(values: np.ndarray) -> np.ndarray:
        good = ~np.isnan(values)
        with np.errstate(invalid="ignore"):
            return total(np.where(good, values, 0.0)) / total(good.astype(float))

    count = total(np.ones(len(tickets)))
    axles = total((~np.isnan(tickets.rear_kg)).astype(float))
    share = mean(tickets.rear_kg / tickets.kg)
    kg = mean(tickets.kg)
    label, marks, state = np.full(size, None, dtype=object), np.zeros(size, np.int64), np.zeros(size, np.int64)
    day = np.full(size, np.datetime64("NaT", "D"))
    label[tickets.job], state[tickets.job], day[tickets.job] = tickets.label, tickets.state, tickets.day
    np.bitwise_or.at(marks, tickets.job, tickets.marks)
    with np.errstate(invalid="ignore", divide="ignore"):
        return Tickets(
            job=np.arange(size), state=state, day=day, kg=kg, rear_kg=share * kg, litres=mean(tickets.litres),
            litres_var=mean(tickets.litres_var),
            var_kg=mean(tickets.var_kg) / count, var_rear_kg=mean(tickets.var_rear_kg) / np.maximum(axles, 1),
            cov_kg=mean(tickets.cov_kg) / count, left_share=mean(tickets.left_share), label=label, marks=marks,
        )  # fmt: skip


def basis_litres(cases: Cases, settings: VehicleSettings) -> np.ndarray:
    """Fuel that the maker's figure has in it: kerb a full tank, tare 10 l, running order 90 %; NaN where the tank is not known."""
    tank, basis = cases["fuel_l"], cases["empty_basis"]
    inside = np.where(basis == "running-order", settings.running_order_fuel * tank, tank)
    return np.where(basis == "tare", settings.tare_fuel_l + 0 * tank, inside)


def rear_share(cases: Cases, settings: VehicleSettings) -> tuple[np.ndarray, np.ndarray]:
    """Share of the maker's empty mass on the rear axle, and whether it had to be assumed; (n,) both."""
    share = cases["empty_rear_kg"] / (cases["empty_front_kg"] + cases["empty_rear_kg"])
    unknown = np.isnan(share)
    return np.where(unknown, 1 - settings.front_share, share), unknown


def on_first(work: Work) -> tuple[np.ndarray, np.ndarray]:
    """Whether each on_vehicle line was on the first ticket, and whether that had to be assumed by who put it on."""
    said = number(work.on_vehicle, "on_first_ticket")
    by = text(work.on_vehicle, "put_on_by")
    return np.where(np.isnan(said), (by == "dealer") | (by == "customer"), said > 0.5), np.isnan(said)


def variant_spreads(work: Work, first: Tickets, settings: VehicleSettings) -> Spreads:
    """Mean and spread of (own ticket − maker's figure) of each variant.

    Args:
        first: `newest(…, (BARE, ARRIVED))` of history, a row a job.
    """
    cases = with_upgrade(work, np.arange(height(work.jobs)), np.full(height(work.jobs), -1))
    kg, rear = _figure_at(work, cases, first, settings)
    off = np.column_stack([first.kg - kg, first.rear_kg - rear])
    share, _ = rear_share(cases, settings)
    off[:, 1] = np.where(np.isnan(off[:, 1]), off[:, 0] * share, off[:, 1])
    size = height(work.vehicles)
    good = (cases.vehicle >= 0) & ~np.isnan(off).any(axis=1)
    vehicle, off = cases.vehicle[good], off[good]
    count = np.bincount(vehicle, minlength=size)
    enough = count >= settings.variant_tickets
    safe = np.maximum(count, 1)[:, None]
    mean = np.column_stack([np.bincount(vehicle, weights=off[:, axis], minlength=size) for axis in (0, 1)]) / safe
    apart = off - mean[vehicle]
    cov = np.zeros((size, 2, 2))
    np.add.at(cov, vehicle, apart[:, :, None] * apart[:, None, :])
    # one further vehicle differs from the mean of n by the spread and by the error of that mean
    cov *= ((1 + 1 / safe[:, 0]) / np.maximum(count - 1, 1))[:, None, None]
    return Spreads(count, np.where(enough[:, None], mean, 0.0), np.where(enough[:, None, None], cov, np.nan))


def _figure_at(work: Work, cases: Cases, first: Tickets, settings: VehicleSettings) -> tuple[np.ndarray, np.ndarray]:
    """What the maker's figure says of each vehicle in the state of its ticket: total and rear axle."""
    spots = places(cases, settings)
    density, _ = fuel_density(cases, settings)
    share, _ = rear_share(cases, settings)
    fuel = np.nan_to_num((first.litres - basis_litres(cases, settings)) * density)
    driver = np.where(cases["empty_basis"] == "running-order", settings.driver_kg, 0.0)
    tub = np.where(first.state == BARE, np.nan_to_num(cases["tub_kg"]), 0.0)
    was_on, _ = on_first(work)
    line, job = children(np.where(was_on, work.job_of_part, -1), np.arange(len(cases)))
    line_kg, line_x = number(work.on_vehicle, "kg")[line], number(work.on_vehicle, "x_mm")[line]
    line_x = np.where(np.isnan(line_x), spots.rear_axle[job], line_x)
    lines = np.bincount(job, weights=line_kg, minlength=len(cases))
    lines_rear = np.bincount(job, weights=line_kg * line_x / spots.rear_axle[job], minlength=len(cases))
    kg = cases["empty_kg"] + fuel - driver - tub + lines
    along = fuel * spots.tank - _moment(driver, spots.front_seat) - _moment(tub, spots.tub)
    return kg, cases["empty_kg"] * share + along / spots.rear_axle + lines_rear
