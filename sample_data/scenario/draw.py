"""Draw six years of enquiries: what was quoted, changed, won, lost, built and left unanswered."""

from __future__ import annotations

import copy
import math
import random
from datetime import date, timedelta

from .body import draw_body
from .catalogue import BOLTED_ON, HOLDS_L, STYLES, UPGRADES, VEHICLE_SHARES, VEHICLES, Style
from .job import Body, Job, Revision
from .mass import settle_mass
from .money import hours_of, price_of

FIRST, NEWEST = date(2020, 11, 2), date(2026, 10, 30)
_BRANCHES = {"eastport": ("E", 50, FIRST), "millrace": ("M", 30, FIRST), "northgap": ("N", 24, date(2022, 3, 1))}
_DAYS = (NEWEST - FIRST).days


def draw_jobs(rng: random.Random, enquiries: int) -> list[Job]:
    """The jobs of all branches in the order of their first quote."""
    jobs: list[Job] = []
    numbers = dict.fromkeys(_BRANCHES, 0)
    for day in sorted(_quote_day(rng) for _ in range(enquiries)):
        quoted_on = FIRST + timedelta(days=day)
        branch = _branch(rng, quoted_on)
        numbers[branch] += 1
        job = _draw_job(rng, jobs, f"{_BRANCHES[branch][0]}{quoted_on:%y}-{numbers[branch]:04d}", branch, quoted_on)
        jobs.append(job)
    return jobs


def years_ago(day: date) -> float:
    """Years before the newest record of the scenario."""
    return (NEWEST - day).days / 365.25


def _quote_day(rng: random.Random) -> int:
    """More enquiries each year, and more in spring (the southern one)."""
    while True:
        day = rng.random() * _DAYS
        month = (FIRST + timedelta(days=day)).month
        if rng.random() < (0.6 + 0.3 * day / _DAYS) * (1.1 if month in (8, 9, 10) else 0.8 if month in (1, 6) else 1.0):
            return int(day)


def _branch(rng: random.Random, day: date) -> str:
    open_now = [name for name, (_, _, since) in _BRANCHES.items() if day >= since]
    return rng.choices(open_now, [_BRANCHES[name][1] for name in open_now])[0]


def _draw_job(rng: random.Random, past: list[Job], job_id: str, branch: str, quoted_on: date) -> Job:
    vehicle_id = _vehicle(rng, quoted_on)
    job = Job(job_id, branch, vehicle_id, "", [], customer=f"K-{rng.randrange(1000, 2600)}" if rng.random() < 0.8 else "")
    lot = rng.random()
    model = _earlier(rng, past, job, built_only=lot >= 0.10) if lot < 0.13 else None
    if model and lot < 0.10:
        job.vehicle_id = model.vehicle_id
        bodies = _repeated(model)
    elif model:
        job.vehicle_id, job.customer = model.vehicle_id, model.customer
        bodies = _refit(rng, model)
    else:
        bodies = _new_bodies(rng, job, quoted_on)
    bolt_on(rng, job)
    _revise(rng, job, bodies, quoted_on)
    _settle(rng, job)
    return job


def _vehicle(rng: random.Random, day: date) -> str:
    shares = dict(VEHICLE_SHARES)
    if day < date(2022, 4, 1):
        shares["SED-D1"] += shares.pop("SED-D")
    elif day > date(2023, 6, 1):
        del shares["SED-D1"]
    if day > date(2024, 1, 1):
        shares["BRA-C"] *= 2
    return rng.choices(list(shares), list(shares.values()))[0]


def _earlier(rng: random.Random, past: list[Job], job: Job, built_only: bool) -> Job | None:
    known = [old for old in past[-500:] if old.branch == job.branch and (old.status == "delivered" or not built_only)]
    known = [old for old in known if all(body.origin == "new" for body in old.last.bodies) and old.status in ("ordered", "delivered")]
    return rng.choice(known) if known else None


def _repeated(model: Job) -> list[Body]:
    bodies = [copy.deepcopy(body) for body in model.last.bodies]
    for body in bodies:
        body.origin = "repeat"
        body.cad_kg = body.weighed_kg = body.com_mm = None
    return bodies


def _refit(rng: random.Random, model: Job) -> list[Body]:
    body = copy.deepcopy(rng.choice(model.last.bodies))
    body.origin, body.same_as = "refit", f"{model.job_id}/{body.body}"
    body.cad_kg = body.weighed_kg = body.com_mm = None
    return [body]


def _new_bodies(rng: random.Random, job: Job, day: date) -> list[Body]:
    vehicle = VEHICLES[job.vehicle_id]
    if vehicle["size_class"] == "truck":
        kinds = ["box"] if rng.random() < 0.68 else ["tray"]
    else:
        kinds = rng.choices((["canopy", "tray"], ["canopy"], ["tray"]), (60, 25, 15))[0]
    if kinds == ["canopy", "tray"] and vehicle["cab"] == "single" and rng.random() < 0.25:
        kinds = ["canopy", "canopy-2", "tray"]
    if job.branch == "millrace" and day < date(2022, 1, 1):
        kinds = kinds[:1]  # the branch's old list had room for one body a job
    bodies = [draw_body(rng, kind, _style(rng, kind, day), vehicle, kinds, f"{job.job_id}-{kind[0].upper()}", day) for kind in kinds]
    if "tray" in kinds and len(kinds) > 1 and rng.random() < 0.05:
        tray = bodies[-1]
        tray.origin, tray.lines, tray.drawing = "other-maker", [], ""
    return bodies


def _style(rng: random.Random, kind: str, day: date) -> Style:
    part = (day - FIRST).days / _DAYS
    styles = [style for style in STYLES if style.kind == kind.split("-")[0]]
    # induction came slowly, then all at once
    weights = [style.first + (style.last - style.first) * (part**2.2 if "induction" in style.name else part) for style in styles]
    return rng.choices(styles, weights)[0]


def bolt_on(rng: random.Random, job: Job) -> None:
    """What is bolted to the chassis, by whoever did it."""
    vehicle = VEHICLES[job.vehicle_id]
    for label, kg, place, by, share in BOLTED_ON:
        if rng.random() >= share:
            continue
        x_mm = float(vehicle["wheelbase_mm"]) + float(vehicle["rear_axle_to_ball_mm"]) - 180 if place == "ball" else place
        first = "no" if by == "workshop" else "yes"
        line = {"label": label, "kg": kg, "x_mm": x_mm, "y_mm": 0, "holds_l": HOLDS_L.get(label), "put_on_by": by, "on_first_ticket": first}
        job.on_vehicle.append(line)
        job.towbar |= label == "Tow bar"
    if float(vehicle["tub_kg"]) and rng.random() < 0.08:
        for label, sign, x_mm in (("Spare wheel from under the tub", -1, 4050), ("Spare wheel behind the headboard", 1, 2450)):
            job.on_vehicle.append(
                {"label": label, "kg": sign * 33, "x_mm": x_mm, "y_mm": 0, "put_on_by": "workshop", "on_first_ticket": "no"}
            )


def _revise(rng: random.Random, job: Job, bodies: list[Body], quoted_on: date) -> None:
    versions = rng.choices((1, 2, 3), (80, 15, 5))[0]
    day = quoted_on
    for number in range(versions):
        if number:
            bodies = [copy.deepcopy(body) for body in bodies]
            _change(rng, bodies)
            day = min(NEWEST, day + timedelta(days=rng.randrange(3, 26)))
        for body in bodies:
            settle_mass(body, VEHICLES[job.vehicle_id]["size_class"], years_ago(day), rng)
        letter = "ABC"[number] if versions > 1 else ""
        job.revisions.append(Revision(letter, day, price_of(rng, bodies, day), hours_of(rng, bodies), bodies))
    _choose_upgrade(rng, job)


def _change(rng: random.Random, bodies: list[Body]) -> None:
    """What customers change once they see price and mass: mostly they take things out."""
    body = max(bodies, key=lambda each: len(each.lines))
    for _ in range(rng.randrange(1, 3)):
        if len(body.lines) > 2 and body.origin != "repeat":
            body.lines.remove(max(rng.sample(body.lines, 2), key=lambda line: line.qty))
    if rng.random() < 0.3 and body.origin == "new":
        body.colour = "white"


def laden_margin_kg(job: Job) -> float:
    """Roughly what is left of the rating with two people and luggage on board; the demo's own yardstick, no check."""
    vehicle, upgrade = VEHICLES[job.vehicle_id], UPGRADES.get(job.upgrade_id, {})
    gvm = float(upgrade.get("gvm_kg", vehicle["gvm_kg"]))
    fuel = 0.835 * float(vehicle["fuel_l"])
    to_full = {"kerb": 0.0, "tare": fuel - 8.35, "running-order": 0.1 * fuel - 75}[vehicle["empty_basis"]]
    bodies = sum(body.true_kg for body in job.last.bodies)
    bolted = sum(float(str(line["kg"])) for line in job.on_vehicle)
    added = float(upgrade.get("added_kg", 0))
    return gvm - (float(vehicle["empty_kg"]) + to_full - float(vehicle["tub_kg"]) + bodies + bolted + added + 190)


def _choose_upgrade(rng: random.Random, job: Job) -> None:
    offered = [entry["upgrade_id"] for entry in UPGRADES.values() if entry["vehicle_id"] == job.vehicle_id]
    margin = laden_margin_kg(job)
    if offered and rng.random() < (0.7 if margin < 0 else 0.4 if margin < 150 else 0.08):
        job.upgrade_id = rng.choice(offered)


def _settle(rng: random.Random, job: Job) -> None:
    """Won, lost, cancelled or still open, with dates; what lies after the newest record has not happened."""
    margin, quoted_on = laden_margin_kg(job), job.last.quoted_on
    odds = 0.68 - 0.25 * (margin < 0) - 0.07 * (job.last.price > 30000) + 0.2 * (job.last.bodies[0].origin != "new")
    if rng.random() < odds:
        job.ordered_on = quoted_on + timedelta(days=int(rng.lognormvariate(math.log(16), 0.75)))
        if rng.random() < 0.012 and job.ordered_on > FIRST + timedelta(days=60):
            job.ordered_on = quoted_on - timedelta(days=rng.randrange(2, 20))
            job.note = "stock body, sold before the quote was written"
        waits = {"eastport": 46, "millrace": 58, "northgap": 38}[job.branch]
        job.delivered_on = job.ordered_on + timedelta(days=int(waits * rng.lognormvariate(0, 0.28)))
        job.status = "delivered" if job.delivered_on <= NEWEST else "ordered" if job.ordered_on <= NEWEST else "quoted"
        if job.status == "delivered" and rng.random() < 0.015:
            job.status, job.delivered_on, job.note = "cancelled", None, "customer sold the vehicle"
    elif rng.random() > 0.34:
        job.lost_on = quoted_on + timedelta(days=int(rng.lognormvariate(math.log(45), 0.7)))
        job.status = "lost" if job.lost_on <= NEWEST else "quoted"
        job.lost_why = _why(rng, margin, job.last.price) if job.status == "lost" else ""
    job.delivered_on = job.delivered_on if job.status == "delivered" else None
    job.ordered_on = job.ordered_on if job.status in ("ordered", "delivered", "cancelled") else None
    job.lost_on = job.lost_on if job.status == "lost" else None
    if job.status == "delivered":
        job.labour_h = round(job.last.quoted_h * rng.lognormvariate(0.05, 0.14), 1)
        job.cost = round(job.last.price * rng.gauss(0.70, 0.05))


def _why(rng: random.Random, margin: float, price: int) -> str:
    weights = {
        "price": 30 + 20 * (price > 28000),
        "lead-time": 18,
        "mass": 3 + 40 * (margin < 0),
        "elsewhere": 16,
        "no-answer": 18,
        "other": 5,
    }
    return rng.choices(list(weights), list(weights.values()))[0]
