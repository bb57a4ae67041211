"""What gets written down: readings of scale, drawing and weighbridge, with their noise and their mistakes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .bodies import Bodies, Jobs
from .catalogue import UPGRADES, VEHICLES
from .effects import Effects
from .truth import COM_NOISE_MM, DRAWING_BIAS, DRAWN_NOISE, SCALE_STEP_KG, Mass

BRIDGE_STEP_KG = 20.0
DIESEL_KG_PER_L = 0.835
TOW_BAR = ("Tow bar", 37.0)
BULL_BAR = ("Bull bar", 58.0)
BULL_BAR_MM = -720.0


@dataclass
class Readings:
    """(n_bodies,) arrays, NaN where nothing was read."""

    weighed_kg: np.ndarray
    scale_step_kg: np.ndarray
    cad_kg: np.ndarray
    com_x_mm: np.ndarray
    com_y_mm: np.ndarray
    gross: np.ndarray
    """Object array: None, or the kind of the gross error in weighed_kg."""


def read_bodies(rng: np.random.Generator, jobs: Jobs, bodies: Bodies, mass: Mass, actual_kg: np.ndarray, effects: Effects) -> Readings:
    """Scale and drawing readings of built bodies; drafts and unbuilt quotes have none."""
    n = len(bodies.job)
    built = np.isin(jobs.status[bodies.job], ("ordered", "delivered")) & ~jobs.draft[bodies.job]
    lot = rng.random(n)
    weighed = built & (lot < effects.weighed)
    drawn = built & (lot >= effects.weighed) & (lot < effects.weighed + effects.drawn)
    drawn |= weighed & (rng.random(n) < effects.drawn_too / max(effects.weighed, 1e-9))
    scale = np.where(weighed, np.maximum(SCALE_STEP_KG, np.round(actual_kg / SCALE_STEP_KG) * SCALE_STEP_KG), np.nan)
    gross = _gross_errors(rng, scale, bodies, effects)
    drawing = _drawings(rng, jobs, bodies, mass)
    centred = (weighed | drawn) & (rng.random(n) < effects.centred)
    com_x = np.where(centred, np.round(mass.com_x_mm + rng.normal(0, COM_NOISE_MM[0], n), 1), np.nan)
    com_y = np.where(centred, np.round(mass.com_y_mm + rng.normal(0, COM_NOISE_MM[1], n), 1), np.nan)
    return Readings(scale, np.where(weighed, SCALE_STEP_KG, np.nan), np.where(drawn, drawing, np.nan), com_x, com_y, gross)


def _drawings(rng: np.random.Generator, jobs: Jobs, bodies: Bodies, mass: Mass) -> np.ndarray:
    reading = np.round(mass.mu_kg * (1 - DRAWING_BIAS) * (1 + rng.normal(0, DRAWN_NOISE, len(bodies.job))), 1)
    first = np.searchsorted(bodies.job, np.arange(len(jobs.kinds)))
    for number in np.flatnonzero(jobs.repeat_of[bodies.job] >= 0):
        reading[number] = reading[first[jobs.repeat_of[bodies.job[number]]] + number - first[bodies.job[number]]]
    return reading


def _gross_errors(rng: np.random.Generator, scale: np.ndarray, bodies: Bodies, effects: Effects) -> np.ndarray:
    gross = np.full(len(scale), None, dtype=object)
    weighed = np.flatnonzero(~np.isnan(scale))
    chosen = rng.permutation(weighed)[: round(effects.gross * len(weighed))]
    for number in chosen:
        kinds = ["pounds", "digit"] + (["tray-along"] if bodies.kind[number] == "canopy" else [])
        gross[number] = str(rng.choice(kinds))
        if gross[number] == "pounds":
            scale[number] = round(scale[number] / 0.45359237)
        elif gross[number] == "digit":
            scale[number] += 100.0 if rng.random() < 0.5 or scale[number] <= 200 else -100.0
        else:
            scale[number] += 5.0 * rng.integers(36, 50)
    return gross


@dataclass
class Tickets:
    """Whole-vehicle tickets, and what was bolted to the vehicle: row dicts in the shape of the records."""

    weighings: list[dict[str, object]]
    on_vehicle: list[dict[str, object]]
    upgrade: np.ndarray
    """(n_jobs,) object array of upgrade_id or None."""
    vehicle_offset_kg: dict[str, float]
    """By vehicle_id: how much heavier than the maker's figure the variant really is."""


def read_tickets(
    rng: np.random.Generator,
    jobs: Jobs,
    bodies: Bodies,
    mass: Mass,
    actual_kg: np.ndarray,
    readings: Readings,
    job_id: np.ndarray,
    effects: Effects,
) -> Tickets:
    """Tickets for a share of the jobs with weighed bodies, whose own readings are taken away."""
    offset = {vehicle.vehicle_id: float(rng.normal(22, 14)) for vehicle in VEHICLES}
    upgrade_of = {entry[1]: entry for entry in UPGRADES}
    upgrade = np.full(len(jobs.kinds), None, dtype=object)
    tickets = Tickets([], [], upgrade, offset)
    for number in range(len(jobs.kinds)):
        vehicle = VEHICLES[jobs.vehicle[number]]
        upgraded = vehicle.vehicle_id in upgrade_of and rng.random() < 0.3
        if upgraded:
            upgrade[number] = upgrade_of[vehicle.vehicle_id][0]
        here = np.flatnonzero(bodies.job == number) if effects.tickets else np.empty(0, int)
        weighed = here[~np.isnan(readings.weighed_kg[here])]
        if not len(weighed) or rng.random() >= effects.tickets:
            continue
        readings.weighed_kg[here] = readings.scale_step_kg[here] = np.nan
        readings.gross[here] = None
        _ticket_pair(rng, tickets, jobs, number, job_id[number], [(actual_kg[row], mass.com_x_mm[row]) for row in here], upgraded)
    return tickets


def _ticket_pair(
    rng: np.random.Generator, tickets: Tickets, jobs: Jobs, number: int, job_id: str, parts: list[tuple[float, float]], upgraded: bool
) -> None:
    """A bare and a finished ticket of one job; `parts` are (kg, com_x_mm) of its bodies."""
    vehicle = VEHICLES[jobs.vehicle[number]]
    span = vehicle.wheelbase_mm
    bull_bar, tow_bar = rng.random() < 0.4, rng.random() < 0.5
    tow_bar_mm = span + vehicle.rear_axle_to_ball_mm - 190
    fuel_before, fuel_after = (float(value) for value in rng.choice([0.25, 0.5, 0.75, 1.0], 2))
    driver = 85.0 if rng.random() < 0.3 else 0.0
    empty = vehicle.empty_kg + tickets.vehicle_offset_kg[vehicle.vehicle_id] + rng.normal(0, 9)
    empty_mm = span * (1 - vehicle.empty_front_kg / vehicle.empty_kg)
    bare = [(empty, empty_mm), (-vehicle.tub_kg, span)]
    if bull_bar:
        bare.append((BULL_BAR[1], BULL_BAR_MM))
        tickets.on_vehicle.append(_bolted(job_id, BULL_BAR, BULL_BAR_MM, "dealer", 1.0))
    built = [
        (kg, span - vehicle.headboard_to_rear_axle_mm + offset + com_x)
        for (kg, com_x), offset in zip(parts, _offsets(len(parts)), strict=True)
    ]
    built += [(entry[6], entry[7]) for entry in UPGRADES if upgraded and entry[1] == vehicle.vehicle_id]
    if tow_bar:
        built.append((TOW_BAR[1], tow_bar_mm))
        tickets.on_vehicle.append(_bolted(job_id, TOW_BAR, tow_bar_mm, "workshop", 0.0))
    done = jobs.ordered_on[number] + 30 if np.isnat(jobs.delivered_on[number]) else jobs.delivered_on[number]
    for state, loads, fuel, people, on in (
        ("bare", bare, fuel_before, 0.0, done - 25),
        ("finished", bare + built, fuel_after, driver, done - 2),
    ):
        # the maker's figure is with a full tank
        carried = [*loads, ((fuel - 1) * vehicle.fuel_l * DIESEL_KG_PER_L, 0.62 * span), (people, 0.45 * span)]
        total, moment = sum(kg for kg, _ in carried), sum(kg * x for kg, x in carried)
        tickets.weighings.append(_ticket(job_id, state, total, moment / span, fuel, people, on, 40000 + len(tickets.weighings)))


def _offsets(bodies: int) -> tuple[float, ...]:
    """Gaps to the headboard, as the records have them: a canopy on a tray stands back a little."""
    return (30.0, 0.0) if bodies == 2 else (0.0,)


def _bolted(job_id: str, what: tuple[str, float], x_mm: float, by: str, on_first: float) -> dict[str, object]:
    return {"job_id": job_id, "label": what[0], "kg": what[1], "x_mm": x_mm, "y_mm": 0.0, "put_on_by": by, "on_first_ticket": on_first}


def _ticket(
    job_id: str, state: str, total: float, rear: float, fuel: float, people: float, on: np.datetime64, ticket: int
) -> dict[str, object]:
    def seen(kg: float) -> float:
        return float(np.round(kg / BRIDGE_STEP_KG) * BRIDGE_STEP_KG)

    return {
        "job_id": job_id,
        "ticket": str(ticket),
        "weighed_on": on,
        "state": state,
        "total_kg": seen(total),
        "front_kg": seen(total - rear),
        "rear_kg": seen(rear),
        "scale_step_kg": BRIDGE_STEP_KG,
        "fuel_fraction": fuel,
        "people_kg": people,
    }
