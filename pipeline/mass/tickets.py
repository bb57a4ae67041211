"""Whole-vehicle tickets on one footing: what the vehicle weighs without us, and what our bodies weigh by the difference.

Formula: bodies = finished − bare (or − arrived + tub), both without fuel, people, water and other load, less the upgrade
and the things put on the vehicle in between. Noise of a reading is division² / 12, of a difference the sum.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from pipeline.frames import Columns, height
from pipeline.mass.bodies import NO_ITEM, codes, dates, numbers, texts
from pipeline.settings_loads import VehicleSettings
from pipeline.settings_mass import MassSettings

USUAL_TANK_L = 80.0
"""Tank of a vehicle whose record does not say; only the difference between two known levels hangs on it."""


class Tables(Protocol):
    """The frames read here (a history has them)."""

    @property
    def bodies(self) -> Columns: ...
    @property
    def jobs(self) -> Columns: ...
    @property
    def vehicles(self) -> Columns: ...
    @property
    def upgrades(self) -> Columns: ...
    @property
    def on_vehicle(self) -> Columns: ...
    @property
    def weighings(self) -> Columns: ...


@dataclass(frozen=True)
class Readings:
    """What tickets say about bodies that were never weighed by themselves; a row a job.

    Attributes:
        kg, var: (k,) mass of those bodies together, and the variance of that reading, kg².
        bodies: k arrays of positions in the history's bodies.
        moment_kg_mm, moment_var: (k,) first moment about the front axle, NaN where no axle tickets or places.
        years: (k,) against the newest record.
        key: (k,) `job_id/ticket`.
        weighed_too: k arrays of positions of weighed bodies on the same tickets, whose mass was taken off.
        wheelbase_mm, headboard_mm: (k,) of the vehicle (wheelbase with the upgrade's addition).
    """

    kg: np.ndarray
    var: np.ndarray
    bodies: list[np.ndarray]
    moment_kg_mm: np.ndarray
    moment_var: np.ndarray
    years: np.ndarray
    key: np.ndarray
    weighed_too: list[np.ndarray]
    wheelbase_mm: np.ndarray
    headboard_mm: np.ndarray

    def __len__(self) -> int:
        return len(self.kg)


@dataclass(frozen=True)
class Footing:
    """Each ticket brought to the empty vehicle, dry: fuel, people, water, other load taken off.

    Attributes: all (t,): `job` position among jobs, `kg` and `var`, `moment` and `moment_var` about the front axle
        (NaN where unknown), `vehicle` position among vehicles or NO_ITEM.
    """

    job: np.ndarray
    vehicle: np.ndarray
    kg: np.ndarray
    var: np.ndarray
    moment: np.ndarray
    moment_var: np.ndarray


def no_readings() -> Readings:
    """A history without tickets."""
    none = np.zeros(0)
    return Readings(none, none, [], none, none, none, np.zeros(0, dtype=object), [], none, none)


@dataclass(frozen=True)
class Fleet:
    """The vehicles' records as numbers, gaps filled by common practice; shapes (vehicles,)."""

    ids: list[str]
    wheelbase_mm: np.ndarray
    headboard_mm: np.ndarray
    tank_kg: np.ndarray
    tank_mm: np.ndarray
    seat_mm: np.ndarray
    tub_kg: np.ndarray
    tub_mm: np.ndarray
    dry_kg: np.ndarray


def fleet(vehicles: Columns, usual: VehicleSettings) -> Fleet:
    """Read the vehicles' table; what it does not say is as `usual` has it."""
    wheelbase = numbers(vehicles, "wheelbase_mm")
    litres = numbers(vehicles, "fuel_l")
    per_l = np.where(texts(vehicles, "fuel") == "petrol", usual.petrol_kg_per_l, usual.diesel_kg_per_l)
    basis = texts(vehicles, "empty_basis")
    aboard = np.where(basis == "tare", usual.tare_fuel_l, np.where(basis == "running-order", usual.running_order_fuel, 1.0) * litres)
    driver = np.where(basis == "running-order", usual.driver_kg, 0.0)
    known_basis = np.isin(basis, ["kerb", "tare", "running-order"])
    dry = np.where(known_basis, numbers(vehicles, "empty_kg") - np.nan_to_num(aboard) * per_l - driver, np.nan)
    return Fleet(
        ids=texts(vehicles, "vehicle_id").tolist(),
        wheelbase_mm=wheelbase,
        headboard_mm=numbers(vehicles, "headboard_to_rear_axle_mm"),
        tank_kg=_or(litres, USUAL_TANK_L) * per_l,
        tank_mm=_or(numbers(vehicles, "tank_mm"), usual.tank_share * wheelbase),
        seat_mm=_or(numbers(vehicles, "front_seat_mm"), usual.front_seat_share * wheelbase),
        tub_kg=numbers(vehicles, "tub_kg"),
        tub_mm=_or(numbers(vehicles, "tub_x_mm"), wheelbase),
        dry_kg=dry,
    )


def _or(values: np.ndarray, other: np.ndarray | float) -> np.ndarray:
    return np.where(np.isnan(values), other, values)


def footing(weighings: Columns, job_ids: list[str], job_vehicle: np.ndarray, cars: Fleet, usual: VehicleSettings) -> Footing:
    """Bring each ticket of `weighings` to the dry vehicle with nobody and nothing loaded."""
    job = codes(texts(weighings, "job_id"), job_ids)
    vehicle = np.where(job == NO_ITEM, NO_ITEM, job_vehicle[job]) if len(job_vehicle) else job
    here = np.maximum(vehicle, 0)
    fuel = numbers(weighings, "fuel_fraction")
    tank = cars.tank_kg[here]
    fuel_kg = _or(fuel, usual.ticket_fuel_fraction) * tank
    # any level is as likely as any other where a ticket is silent
    fuel_var = np.where(np.isnan(fuel), tank**2 / 12, 0.0)
    people, water, other = (np.nan_to_num(numbers(weighings, name)) for name in ("people_kg", "water_l", "other_kg"))
    step = _or(numbers(weighings, "scale_step_kg"), usual.ticket_step_kg)
    total, rear = numbers(weighings, "total_kg"), numbers(weighings, "rear_kg")
    placed = (water == 0) & (other == 0) & ~np.isnan(rear)
    wheelbase = cars.wheelbase_mm[here]
    moment = np.where(placed, rear * wheelbase - fuel_kg * cars.tank_mm[here] - people * cars.seat_mm[here], np.nan)
    moment_var = step**2 / 12 * wheelbase**2 + fuel_var * cars.tank_mm[here] ** 2
    return Footing(job, vehicle, total - fuel_kg - people - water - other, step**2 / 12 + fuel_var, moment, moment_var)


def _mean(rows: np.ndarray, job: np.ndarray, values: np.ndarray, var: np.ndarray, jobs: int) -> tuple[np.ndarray, np.ndarray]:
    """Mean of the readings of each job and the variance of that mean; NaN where a job has none."""
    count = np.bincount(job[rows], minlength=jobs)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(job[rows], weights=values[rows], minlength=jobs) / count
        spread = np.bincount(job[rows], weights=var[rows], minlength=jobs) / count.astype(float) ** 2
    return mean, spread


@dataclass(frozen=True)
class Ledger:
    """Things that came onto a job's vehicle, by job: kg and kg × mm, before the first ticket and in between."""

    before_kg: np.ndarray
    between_kg: np.ndarray
    between_moment: np.ndarray


def put_on(jobs: Columns, upgrades: Columns, on_vehicle: Columns, job_ids: list[str], wheelbase: np.ndarray) -> Ledger:
    """Sum upgrades and things on the vehicle; what is not said came with the dealer or customer before, by the workshop in between."""
    count = len(job_ids)
    at = codes(texts(jobs, "upgrade_id"), texts(upgrades, "upgrade_id").tolist())
    added = np.append(np.nan_to_num(numbers(upgrades, "added_kg")), 0.0)[at]
    place = np.append(numbers(upgrades, "added_x_mm"), 0.0)[at]
    between, moment = added.copy(), added * _or(place, wheelbase)
    before = np.zeros(count)
    if height(on_vehicle):
        job = codes(texts(on_vehicle, "job_id"), job_ids)
        kg, x = np.nan_to_num(numbers(on_vehicle, "kg")), numbers(on_vehicle, "x_mm")
        told = numbers(on_vehicle, "on_first_ticket")
        by = texts(on_vehicle, "put_on_by")
        first = np.where(np.isnan(told), (by == "dealer") | (by == "customer"), told == 1)
        known = job != NO_ITEM
        early, late = known & first.astype(bool), known & ~first.astype(bool)
        before += np.bincount(job[early], weights=kg[early], minlength=count)
        between += np.bincount(job[late], weights=kg[late], minlength=count)
        moment += np.bincount(job[late], weights=(kg * x)[late], minlength=count)
    return Ledger(before, between, moment)


def read_tickets(
    history: Tables, body_years: np.ndarray, allowed: np.ndarray, settings: MassSettings, usual: VehicleSettings, wrong: set[str]
) -> Readings:
    """Differences of tickets for jobs of which at least one body was never weighed by itself.

    Args:
        body_years: (n,) dates of the history's bodies against the newest record.
        allowed: (n,) bodies that may speak at all; a job with one that may not gives no reading.
        usual: what stands in for what a vehicle or a ticket does not say.
        wrong: keys (`job_id/ticket`) that a person settled as wrong.
    """
    bodies, jobs, vehicles, weighings = history.bodies, history.jobs, history.vehicles, history.weighings
    if not height(weighings) or not height(jobs) or not height(vehicles):
        return no_readings()
    job_ids = texts(jobs, "job_id").tolist()
    cars = fleet(vehicles, usual)
    job_vehicle = codes(texts(jobs, "vehicle_id"), cars.ids)
    foot = footing(weighings, job_ids, job_vehicle, cars, usual)
    keys = _ticket_keys(weighings)
    state = texts(weighings, "state")
    usable = (foot.job != NO_ITEM) & (foot.vehicle != NO_ITEM) & ~np.isnan(foot.kg)
    if wrong:
        usable &= ~np.array([key in wrong for key in keys.tolist()], dtype=bool)
    wheelbase = np.where(job_vehicle == NO_ITEM, np.nan, cars.wheelbase_mm[np.maximum(job_vehicle, 0)])
    ledger = put_on(jobs, history.upgrades, history.on_vehicle, job_ids, wheelbase)
    count = len(job_ids)
    means = {
        name: (_mean(usable & (state == name), foot.job, foot.kg, foot.var, count),
               _mean(usable & (state == name), foot.job, foot.moment, foot.moment_var, count))
        for name in ("arrived", "bare", "finished")
    }  # fmt: skip
    here = np.maximum(job_vehicle, 0)
    tub_kg, tub_mm = np.nan_to_num(cars.tub_kg[here]), cars.tub_mm[here]
    has_bare = ~np.isnan(means["bare"][0][0])
    first_kg = np.where(has_bare, means["bare"][0][0], means["arrived"][0][0] - tub_kg)
    first_var = np.where(has_bare, means["bare"][0][1], means["arrived"][0][1])
    first_moment = np.where(has_bare, means["bare"][1][0], means["arrived"][1][0] - tub_kg * tub_mm)
    first_moment_var = np.where(has_bare, means["bare"][1][1], means["arrived"][1][1])
    kg = means["finished"][0][0] - first_kg - ledger.between_kg
    moment = means["finished"][1][0] - first_moment - ledger.between_moment
    moment_var = means["finished"][1][1] + first_moment_var
    return _per_job(
        bodies, body_years, allowed, job_ids, kg, means["finished"][0][1] + first_var, moment, moment_var, wheelbase,
        cars.headboard_mm[here], _last_key(keys, foot.job, usable & (state == "finished"), count), settings,
    )  # fmt: skip


def _ticket_keys(weighings: Columns) -> np.ndarray:
    jobs, numbered = texts(weighings, "job_id").tolist(), texts(weighings, "ticket").tolist()
    days, states = dates(weighings, "weighed_on"), texts(weighings, "state").tolist()
    keys = np.empty(len(jobs), dtype=object)
    named = zip(jobs, numbered, days, states, strict=True)
    keys[:] = [f"{job}/{ticket}" if ticket else f"{job}/{day} {state}" for job, ticket, day, state in named]
    return keys


def _last_key(keys: np.ndarray, job: np.ndarray, rows: np.ndarray, count: int) -> np.ndarray:
    last = np.empty(count, dtype=object)
    last[job[rows]] = keys[rows]
    return last


def _per_job(
    bodies: Columns, body_years: np.ndarray, allowed: np.ndarray, job_ids: list[str], kg: np.ndarray, var: np.ndarray, moment: np.ndarray,
    moment_var: np.ndarray, wheelbase: np.ndarray, headboard: np.ndarray, keys: np.ndarray, settings: MassSettings,
) -> Readings:  # fmt: skip
    """Take weighed bodies off, and keep jobs where the rest is one or more bodies that were never weighed."""
    job = codes(texts(bodies, "job_id"), job_ids)
    order = np.argsort(job, kind="stable")
    order = order[job[order] != NO_ITEM]
    weighed = numbers(bodies, "weighed_kg")
    step = _or(numbers(bodies, "scale_step_kg"), settings.unknown_step_kg)
    kept: list[tuple[int, np.ndarray, np.ndarray]] = []
    for rows in np.split(order, np.flatnonzero(np.diff(job[order])) + 1):
        place = int(job[rows[0]]) if len(rows) else NO_ITEM
        if place == NO_ITEM or np.isnan(kg[place]) or not allowed[rows].all():
            continue
        scaled = ~np.isnan(weighed[rows])
        if not scaled.all():
            kept.append((place, rows[~scaled], rows[scaled]))
    if not kept:
        return no_readings()
    at = np.array([place for place, _rest, _scaled in kept])
    rest_kg = kg[at] - np.array([weighed[scaled].sum() for _place, _rest, scaled in kept])
    rest_var = var[at] + np.array([(step[scaled] ** 2).sum() / 12 for _place, _rest, scaled in kept])
    good = rest_kg > 0
    chosen = [entry for entry, right in zip(kept, good, strict=True) if right]
    at = at[good]
    return Readings(
        kg=rest_kg[good], var=rest_var[good], bodies=[rest for _place, rest, _scaled in chosen], moment_kg_mm=moment[at],
        moment_var=moment_var[at], years=np.array([body_years[rest[0]] for _place, rest, _scaled in chosen]), key=keys[at],
        weighed_too=[scaled for _place, _rest, scaled in chosen], wheelbase_mm=wheelbase[at], headboard_mm=headboard[at],
    )  # fmt: skip
