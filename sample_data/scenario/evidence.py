"""What people wrote down of a body or a vehicle once it stood there, with their scales' steps and their slips."""

from __future__ import annotations

import random
from datetime import date, timedelta

from .catalogue import UPGRADES, VEHICLES
from .draw import NEWEST
from .job import Body, Job
from .mass import DRAWING_LEAVES_OUT

KG_PER_LB = 0.45359237
DIESEL_KG_PER_L, PETROL_KG_PER_L = 0.835, 0.745
WEIGHED = {"eastport": 0.52, "millrace": 0.16, "northgap": 0.68}
DRAWN = {"eastport": 0.45, "millrace": 0.72, "northgap": 0.12}
TICKETS = {"eastport": 0.40, "millrace": 0.10, "northgap": 0.30}
STEP_KG = {"eastport": 5.0, "millrace": 5.0, "northgap": 10 * KG_PER_LB}
BRIDGE_STEP_KG = {"eastport": 20.0, "millrace": 20.0, "northgap": 20 * KG_PER_LB}
GROSS = 0.016
UNLISTED = 0.035


def write_down(rng: random.Random, jobs: list[Job]) -> None:
    """Readings, tickets and short lists of all jobs; a drawing has one reading of cad_kg, whoever repeats it."""
    drawings: dict[str, float] = {}
    heavier = {vehicle_id: rng.gauss(24, 11) for vehicle_id in VEHICLES}
    for job in jobs:
        for revision in job.revisions:
            for body in revision.bodies:
                _draw_reading(rng, job, body, drawings)
        for body in job.last.bodies:
            _scale_reading(rng, job, body)
            _list(rng, job, body)
        if job.status == "delivered" and rng.random() < TICKETS[job.branch]:
            _tickets(rng, job, heavier[job.vehicle_id])


def _draw_reading(rng: random.Random, job: Job, body: Body, drawings: dict[str, float]) -> None:
    if body.origin in ("refit", "other-maker") or not body.drawing:
        return
    key = f"{body.drawing}/{len(body.lines)}"
    if key not in drawings and rng.random() < DRAWN[job.branch]:
        drawings[key] = round(body.true_kg * (1 - DRAWING_LEAVES_OUT) * rng.gauss(1, 0.018), 1)
    body.cad_kg = drawings.get(key)
    if body.cad_kg and rng.random() < 0.6:
        body.com_mm = (round(body.true_com_mm[0] + rng.gauss(0, 12)), round(body.true_com_mm[1] + rng.gauss(0, 7)))


def _scale_reading(rng: random.Random, job: Job, body: Body) -> None:
    if not job.built or rng.random() >= WEIGHED[job.branch] or body.origin == "other-maker":
        return
    step = STEP_KG[job.branch]
    body.weighed_kg = round(body.true_kg / step) * step
    if rng.random() < GROSS:
        body.gross = rng.choice(("tray along", "digit") if body.kind == "canopy" else ("digit",))
        if job.branch == "eastport" and rng.random() < 0.5:
            body.gross = "pounds"
        slip = {"tray along": 185.0, "digit": 100.0, "pounds": 0.0}[body.gross]
        body.weighed_kg = round(body.weighed_kg / KG_PER_LB) if body.gross == "pounds" else body.weighed_kg + slip
    if rng.random() < 0.4:
        body.com_mm = (round(body.true_com_mm[0] + rng.gauss(0, 14)), round(body.true_com_mm[1] + rng.gauss(0, 7)))


def _list(rng: random.Random, job: Job, body: Body) -> None:
    checked = job.status == "delivered" and body.lines and body.origin in ("new", "repeat")
    body.list_whole = bool(
        checked and rng.random() < (0.6 if job.branch == "eastport" and job.last.quoted_on > date(2023, 12, 1) else 0.05)
    )
    body.length_approximate = job.branch == "millrace" and not body.list_whole and rng.random() < 0.03
    if not body.list_whole:
        for line in body.lines:
            line.listed = rng.random() >= UNLISTED


def _tickets(rng: random.Random, job: Job, heavier_kg: float) -> None:
    vehicle = VEHICLES[job.vehicle_id]
    wheelbase = float(vehicle["wheelbase_mm"])
    first = "arrived" if job.branch == "eastport" and float(vehicle["tub_kg"]) else "bare"
    empty = float(vehicle["empty_kg"]) + heavier_kg + rng.gauss(0, 8)
    empty_mm = wheelbase * float(vehicle["empty_rear_kg"]) / float(vehicle["empty_kg"])
    bare = [(empty + _to_full_kg(vehicle), empty_mm)]
    bare += [(float(str(line["kg"])), float(str(line["x_mm"]))) for line in job.on_vehicle if line["on_first_ticket"] == "yes"]
    off = (-float(vehicle["tub_kg"]), wheelbase)
    done = [off, *((float(str(line["kg"])), float(str(line["x_mm"]))) for line in job.on_vehicle if line["on_first_ticket"] == "no")]
    if job.upgrade_id:
        upgrade = UPGRADES[job.upgrade_id]
        done.append((float(upgrade["added_kg"]), float(upgrade["added_x_mm"])))
    stretched = wheelbase + float(UPGRADES.get(job.upgrade_id, {}).get("wheelbase_added_mm") or 0)
    headboard = stretched - float(vehicle["headboard_to_rear_axle_mm"])
    done += [(body.true_kg, headboard + body.offset_mm + body.true_com_mm[0]) for body in job.last.bodies]
    handed = job.delivered_on or NEWEST
    _ticket(rng, job, first, bare if first == "arrived" else [*bare, off], wheelbase, handed - timedelta(days=rng.randrange(18, 40)))
    _ticket(rng, job, "finished", bare + done, stretched, handed - timedelta(days=rng.randrange(0, 4)))
    if job.branch == "eastport" and rng.random() < 0.2:
        family = [(rng.choice((140.0, 160.0, 240.0)), 0.45 * wheelbase), (rng.randrange(40, 220), headboard + 500.0)]
        _ticket(rng, job, "loaded", bare + done + family, stretched, min(NEWEST, handed + timedelta(days=rng.randrange(5, 60))), family)


def _fuel_kg_per_l(vehicle: dict[str, str]) -> float:
    return DIESEL_KG_PER_L if vehicle["fuel"] == "diesel" else PETROL_KG_PER_L


def _to_full_kg(vehicle: dict[str, str]) -> float:
    """From the maker's basis to a full tank and nobody on board."""
    density, tank = _fuel_kg_per_l(vehicle), float(vehicle["fuel_l"])
    return {"kerb": 0.0, "tare": density * (tank - 10), "running-order": 0.1 * density * tank - 75}[vehicle["empty_basis"]]


def _ticket(
    rng: random.Random,
    job: Job,
    state: str,
    loads: list[tuple[float, float]],
    wheelbase: float,
    on: date,
    aboard: list[tuple[float, float]] | None = None,
) -> None:
    vehicle, step = VEHICLES[job.vehicle_id], BRIDGE_STEP_KG[job.branch]
    fraction = rng.choice((0.25, 0.5, 0.75, 1.0))
    driver = rng.choice((0, 0, 85)) if state != "loaded" else 0
    fuel = (fraction - 1) * float(vehicle["fuel_l"]) * _fuel_kg_per_l(vehicle)
    carried = [*loads, (fuel, 0.62 * wheelbase), (driver, 0.45 * wheelbase)]
    total, rear = sum(kg for kg, _ in carried), sum(kg * x for kg, x in carried) / wheelbase
    row: dict[str, object] = {
        "ticket": str(40000 + rng.randrange(50000)),
        "weighed_on": on,
        "state": state,
        "total_kg": round(total / step) * step,
        "front_kg": round((total - rear) / step) * step,
        "rear_kg": round(rear / step) * step,
        "scale_step_kg": step,
        "fuel_fraction": fraction if rng.random() < 0.9 else None,
        "people_kg": aboard[0][0] if aboard else driver,
        "other_kg": aboard[1][0] if aboard else None,
    }
    if rng.random() < 0.3 and state == "finished":
        across = sum(body.true_kg * body.true_com_mm[1] for body in job.last.bodies) / 1560
        row["left_kg"], row["right_kg"] = round((total / 2 - across) / step) * step, round((total / 2 + across) / step) * step
    job.weighings.append(row)
