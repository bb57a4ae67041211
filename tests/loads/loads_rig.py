"""Small vehicles, bodies and drafts for the tests of loads; every default is a round number that can be reckoned by hand."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.contract import TABLES
from pipeline.frames import Columns, from_rows
from pipeline.loads.cases import Assessed, Work
from pipeline.loads.check import Checked, Terms, check
from pipeline.loads.travel import travel_from
from pipeline.settings_loads import LimitSettings, TravelLoad, VehicleSettings

NOBODY: dict[str, Any] = {"people": [], "luggage_kg": 0.0}
VEHICLE: dict[str, Any] = {
    "vehicle_id": "V1", "label": "test pickup", "size_class": "midsize", "cab": "dual", "seats": 5, "wheelbase_mm": 3220,
    "headboard_to_rear_axle_mm": 760, "rear_axle_to_ball_mm": 1250, "empty_kg": 2200, "empty_basis": "kerb", "empty_front_kg": 1240,
    "empty_rear_kg": 960, "tub_kg": 125, "gvm_kg": 3200, "gcm_kg": 6000, "front_limit_kg": 1480, "rear_limit_kg": 1900, "fuel_l": 80,
    "fuel": "diesel", "tow_limit_kg": 3500, "ball_limit_kg": 350,
}  # fmt: skip


def frame(table: str, *records: dict[str, Any], **kinds: str) -> Columns:
    """A frame of a contract table from row dicts; further columns by `kinds`."""
    known = {}
    for column in TABLES[table].columns:
        numeric = column.kind in ("number", "integer", "yes_no")
        known[column.name] = "number" if numeric else "date" if column.kind == "date" else "text"
    for name in {key for record in records for key in record} - set(known):
        known[name] = "number"
    return from_rows(records, known | kinds)


def work(
    vehicle: dict[str, Any] | None = None,
    bodies: list[dict[str, Any]] | None = None,
    jobs: list[dict[str, Any]] | None = None,
    upgrades: list[dict[str, Any]] | None = None,
    fitout: list[dict[str, Any]] | None = None,
    items: list[dict[str, Any]] | None = None,
    on_vehicle: list[dict[str, Any]] | None = None,
    weighings: list[dict[str, Any]] | None = None,
) -> tuple[Work, Assessed]:
    """A job `J1` on `VEHICLE`, with bodies whose kg, com_x_mm, com_y_mm and cov stand in their rows."""
    bodies = bodies or []
    jobs = jobs if jobs is not None else [{"job_id": "J1", "vehicle_id": "V1"}]
    rows = [
        {"job_id": "J1", "body": "canopy", "length_mm": 1600, "width_mm": 1800, "height_mm": 900, "offset_mm": 0, **body} for body in bodies
    ]
    lines = [{"job_id": rows[line.get("body_row", 0)]["job_id"], "body_row": 0, "qty": 1, **line} for line in fitout or []]
    table = frame("bodies", *[{key: value for key, value in row.items() if key not in ("kg", "cov", "outside")} for row in rows])
    lined = frame("fitout", *lines)
    lined["body_row"] = np.array([line["body_row"] for line in lines], dtype=np.int64)
    made = Work(
        frame("jobs", *jobs),
        frame("vehicles", VEHICLE | (vehicle or {})),
        frame("upgrades", *[{"vehicle_id": "V1", "label": "more", **one} for one in upgrades or []]),
        table,
        lined,
        frame("items", *(items or [])),
        frame("on_vehicle", *[{"job_id": "J1", **one} for one in on_vehicle or []]),
        frame("weighings", *[{"job_id": "J1", **one} for one in weighings or []]),
    )
    source = np.empty(len(rows), dtype=object)
    source[:] = "estimate"
    return made, Assessed(
        np.array([row.get("kg", 300.0) for row in rows], float),
        np.array([row.get("com_x_mm", row["length_mm"] / 2) for row in rows], float),
        np.array([row.get("com_y_mm", 0.0) for row in rows], float),
        np.array([row.get("cov", np.zeros((3, 3))) for row in rows], float).reshape(-1, 3, 3),
        source,
        np.array([row.get("outside", False) for row in rows], bool),
    )


def terms(country: str = "", **changes: Any) -> Terms:
    """Terms without spread of the vehicle, unless asked for, so that sums come out to the gram."""
    vehicle = {"empty_sd_kg": 0.0} | {key: value for key, value in changes.items() if key in VehicleSettings.__struct_fields__}
    limits = {key: value for key, value in changes.items() if key in LimitSettings.__struct_fields__}
    return Terms(VehicleSettings(**vehicle), LimitSettings(**limits), country)


def checked(made: tuple[Work, Assessed], on: Terms | None = None, every_upgrade: bool = False, **travel: Any) -> Checked:
    """Check with a travel load of the given keys over the default."""
    return check(*made, travel_from(travel, TravelLoad()), on or terms(), every_upgrade)


def cell(result: Checked, limit: str, name: str = "value", case: int = 0) -> float:
    """One figure of one limit."""
    return float(getattr(result.limits, name)[case, result.limits.of(limit)])
