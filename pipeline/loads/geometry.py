"""Where things sit on a vehicle, behind its front axle, with what had to be assumed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.loads.cases import Cases, lacks, per_class
from pipeline.loads.marks import Mark, marks_at
from pipeline.settings_loads import VehicleSettings


@dataclass(frozen=True)
class Geometry:
    """Places behind the front axle in mm, all (n,); NaN: not known. `marks` says what was assumed, where it is used.

    `rear_axle` is the wheelbase, upgrade's addition included; `headboard` the plane just behind the cab.
    """

    rear_axle: np.ndarray
    headboard: np.ndarray
    ball: np.ndarray
    tub: np.ndarray
    tank: np.ndarray
    front_seat: np.ndarray
    rear_seat: np.ndarray
    upgrade: np.ndarray
    track: np.ndarray
    marks: dict[str, np.ndarray]


def places(cases: Cases, settings: VehicleSettings) -> Geometry:
    """Place of everything that may sit on the vehicle of each case. Defaults are common practice, and settings."""
    size = len(cases)
    wheelbase = cases["wheelbase_mm"]
    headboard = wheelbase - cases["headboard_to_rear_axle_mm"]
    single, extra = cases["cab"] == "single", cases["cab"] == "extra"
    front_default = settings.front_seat_share * wheelbase
    front_seat = _filled(cases["front_seat_mm"], front_default)
    rear_default = headboard - np.where(extra, settings.rear_seat_gap_extra_mm, settings.rear_seat_gap_mm)
    rear_seat = np.where(single, front_seat, _filled(cases["rear_seat_mm"], rear_default))
    track = per_class(settings.track_mm, cases["size_class"])
    marks = {
        "tub": marks_at(np.isnan(cases["tub_x_mm"]), Mark.TUB_PLACE, size),
        "tank": marks_at(np.isnan(cases["tank_mm"]), Mark.TANK_PLACE, size),
        "front_seat": marks_at(np.isnan(cases["front_seat_mm"]), Mark.FRONT_SEAT, size),
        "rear_seat": np.where(
            single,
            marks_at(np.isnan(cases["front_seat_mm"]), Mark.FRONT_SEAT, size),
            marks_at(np.isnan(cases["rear_seat_mm"]), Mark.REAR_SEAT, size),
        ),
        "upgrade": marks_at(np.isnan(cases["added_x_mm"]), Mark.UPGRADE_PLACE, size),
    }
    return Geometry(
        rear_axle=wheelbase,
        headboard=headboard,
        ball=wheelbase + cases["rear_axle_to_ball_mm"],
        tub=_filled(cases["tub_x_mm"], wheelbase),
        tank=_filled(cases["tank_mm"], settings.tank_share * wheelbase),
        front_seat=front_seat,
        rear_seat=rear_seat,
        upgrade=_filled(cases["added_x_mm"], wheelbase),
        track=track,
        marks=marks,
    )


def fuel_density(cases: Cases, settings: VehicleSettings) -> tuple[np.ndarray, np.ndarray]:
    """kg a litre of each vehicle's fuel, and the mark where diesel was assumed; (n,) both."""
    petrol = cases["fuel"] == "petrol"
    unknown = lacks(cases["fuel"])
    return np.where(petrol, settings.petrol_kg_per_l, settings.diesel_kg_per_l), marks_at(unknown, Mark.FUEL_KIND, len(cases))


def _filled(values: np.ndarray, default: np.ndarray) -> np.ndarray:
    return np.where(np.isnan(values), default, values)
