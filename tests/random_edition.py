"""A seeded edition in which everything occurs: all kinds, states and dates, revisions, refits, suspects, things not known."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import duckdb
import numpy as np
from small_edition import VEHICLES, edition, with_families

ITEMS = [
    {"item_id": name, "label": name.replace("-", " "), "group": group, "datasheet_kg": kg}
    for name, group, kg in (
        ("fridge", "fridge", 22.0), ("pantry", "pantry", 21.0), ("kitchen-gas", "kitchen", 30.0), ("kitchen-slim", "kitchen", 20.0),
        ("sink", "kitchen", 6.0), ("drawer", "drawer", 18.0), ("battery", "power", 25.0), ("inverter", "power", None),
        ("tank", "water", 9.0), ("rack", "roof", 14.0), ("ladder", "outside", 20.0), ("lining", "lining", 8.0), ("lamp", "outside", 1.0),
    )
]  # fmt: skip
UPGRADES = [{"upgrade_id": "UP", "vehicle_id": "V-DUAL", "label": "plus 300", "gvm_kg": 3500.0}]
ZONES = ("left-front", "left-mid", "left-rear", "right-front", "right-mid", "right-rear", "middle-mid", "roof", "under-tray", None)


def random_edition(seed: int, jobs: int = 300) -> duckdb.DuckDBPyConnection:
    """The edition, families built."""
    rng = np.random.default_rng(seed)
    tables: dict[str, list[dict[str, Any]]] = {"jobs": [], "bodies": [], "fitout": []}
    for number in range(jobs):
        revisions = ["A", "B", "AA"][: int(rng.choice([1, 1, 1, 2, 3]))] if rng.random() < 0.4 else [""]
        job = _job(rng, f"R{number:05d}")
        kinds = [("canopy",), ("tray",), ("canopy", "tray"), ("canopy", "canopy-2"), ("box",)][rng.choice(5, p=[0.5, 0.2, 0.2, 0.05, 0.05])]
        for revision in revisions:
            tables["jobs"].append({**job, "revision": revision, "price": _maybe(rng, float(rng.integers(8000, 30000)), 0.9)})
            for body in kinds:
                key = {"job_id": job["job_id"], "revision": revision, "body": body}
                tables["bodies"].append({**key, **_body(rng)})
                for _ in range(int(rng.integers(0, 8))):
                    item = str(rng.choice([entry["item_id"] for entry in ITEMS]))
                    tables["fitout"].append(
                        {**key, "item_id": item, "qty": float(rng.choice([1, 1, 2])), "zone": rng.choice(np.array(ZONES, object))}
                    )
    return with_families(edition(VEHICLES, upgrades=UPGRADES, items=ITEMS, **tables))


def _maybe(rng: np.random.Generator, value: Any, known: float) -> Any:
    return value if rng.random() < known else None


def _job(rng: np.random.Generator, job_id: str) -> dict[str, Any]:
    status = str(rng.choice(["delivered", "ordered", "quoted", "lost", "cancelled"], p=[0.5, 0.1, 0.15, 0.2, 0.05]))
    quoted = date(2023, 1, 1) + timedelta(days=int(rng.integers(0, 1300)))
    ordered = quoted + timedelta(days=int(rng.integers(-2, 120)))
    sold = status in ("delivered", "ordered")
    vehicle = str(rng.choice([entry["vehicle_id"] for entry in VEHICLES]))
    return {
        "job_id": job_id,
        "branch": _maybe(rng, str(rng.choice(["north", "south", "coast"])), 0.95),
        "vehicle_id": vehicle,
        "upgrade_id": "UP" if vehicle == "V-DUAL" and rng.random() < 0.4 else None,
        "status": status,
        "quoted_on": _maybe(rng, quoted, 0.95),
        "ordered_on": _maybe(rng, ordered, 0.9) if sold else None,
        "delivered_on": ordered + timedelta(days=int(rng.integers(20, 90))) if status == "delivered" else None,
        "lost_on": _maybe(rng, quoted + timedelta(days=30), 0.7) if status == "lost" else None,
        "lost_why": _maybe(rng, str(rng.choice(["price", "mass", "lead-time"])), 0.8) if status == "lost" else None,
        "cost": _maybe(rng, float(rng.integers(6000, 20000)), 0.5),
        "quoted_h": _maybe(rng, float(rng.integers(40, 150)), 0.6),
        "labour_h": _maybe(rng, float(rng.integers(40, 180)), 0.6) if sold else None,
        "note": _maybe(rng, str(rng.choice(["Beach trips", "dog and 2 KIDS", "100% off-road_build"])), 0.5),
    }


def _body(rng: np.random.Generator) -> dict[str, Any]:
    return {
        "length_mm": float(rng.integers(1000, 2900)),
        "width_mm": 1800.0,
        "weighed_kg": _maybe(rng, float(rng.integers(150, 600)), 0.4),
        "cad_kg": _maybe(rng, float(rng.integers(150, 600)), 0.4),
        "origin": _maybe(rng, str(rng.choice(["new", "repeat", "refit", "other-maker"], p=[0.7, 0.1, 0.1, 0.1])), 0.8),
    }
