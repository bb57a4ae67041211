"""Vehicles against their makers' figures: what tickets say of each variant's empty mass, for the margins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.frames import height
from pipeline.mass.bodies import NO_ITEM, codes, texts
from pipeline.mass.evidence import History
from pipeline.mass.tickets import fleet, footing, put_on
from pipeline.settings_loads import VehicleSettings

BELIEVED_TICKETS = 2.0
"""How many tickets the believed spread is worth."""


@dataclass(frozen=True)
class VehicleOffset:
    """Ticket minus maker's figure of one variant.

    Attributes:
        tickets: vehicles with a ticket of their own.
        mean_kg: mean, shrunk toward nothing; sd_kg: spread of one vehicle about it, its own uncertainty included.
    """

    vehicle_id: str
    label: str
    tickets: int
    mean_kg: float
    sd_kg: float


def vehicle_offsets(history: History, usual: VehicleSettings) -> list[VehicleOffset]:
    """Offsets of all variants with a maker's figure; one without tickets has mean 0 and the believed spread."""
    if not height(history.vehicles):
        return []
    cars = fleet(history.vehicles, usual)
    labels = texts(history.vehicles, "label").tolist()
    vehicle, difference, var = _differences(history, usual)
    found = []
    for place, vehicle_id in enumerate(cars.ids):
        if np.isnan(cars.dry_kg[place]):
            continue
        here = vehicle == place
        mean, sd = _shrunk(difference[here], var[here], usual.empty_sd_kg)
        found.append(VehicleOffset(vehicle_id, labels[place] or vehicle_id, int(here.sum()), mean, sd))
    return found


def _differences(history: History, usual: VehicleSettings) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vehicle, difference to the maker's figure (kg) and reading's variance of each job with a first ticket."""
    nothing = (np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0))
    if not height(history.weighings) or not height(history.jobs):
        return nothing
    job_ids = texts(history.jobs, "job_id").tolist()
    cars = fleet(history.vehicles, usual)
    job_vehicle = codes(texts(history.jobs, "vehicle_id"), cars.ids)
    foot = footing(history.weighings, job_ids, job_vehicle, cars, usual)
    wheelbase = np.where(job_vehicle == NO_ITEM, np.nan, cars.wheelbase_mm[np.maximum(job_vehicle, 0)])
    before = put_on(history.jobs, history.upgrades, history.on_vehicle, job_ids, wheelbase).before_kg
    state = texts(history.weighings, "state")
    first = ((state == "arrived") | (state == "bare")) & (foot.job != NO_ITEM) & (foot.vehicle != NO_ITEM) & ~np.isnan(foot.kg)
    job, vehicle = foot.job[first], foot.vehicle[first]
    tub = np.where(state[first] == "bare", np.nan_to_num(cars.tub_kg[vehicle]), 0.0)
    difference = foot.kg[first] + tub - before[job] - cars.dry_kg[vehicle]
    kept = ~np.isnan(difference)
    # one vehicle stands on the scale once: of several first tickets of a job the first on record speaks
    _jobs, lead = np.unique(job[kept], return_index=True)
    return vehicle[kept][lead], difference[kept][lead], foot.var[first][kept][lead]


def _shrunk(difference: np.ndarray, var: np.ndarray, believed_sd: float) -> tuple[float, float]:
    count = len(difference)
    if not count:
        return 0.0, believed_sd
    robust = np.clip(difference, *(np.median(difference) + np.array([-3.0, 3.0]) * max(believed_sd, 1.0)))
    between = max((float(np.sum((robust - robust.mean()) ** 2)) - float(var.sum()) * (count - 1) / count), 0.0)
    spread2 = (between + BELIEVED_TICKETS * believed_sd**2) / (count - 1 + BELIEVED_TICKETS)
    of_mean = (spread2 + float(var.mean())) / count
    pull = believed_sd**2 / (believed_sd**2 + of_mean)
    return pull * float(robust.mean()), float(np.sqrt(spread2 + pull * of_mean))
