"""Bodies of known layouts, half of them mirrored, with things moved, left out and added at random."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

GROUPS = {
    "fridge": "fridge", "pantry": "pantry", "cooker": "kitchen", "sink": "kitchen", "drawer": "drawer", "battery": "power",
    "tank": "water", "shelf": "storage", "ladder": "outside", "rack": "roof", "box": "under-tray", "hatch": "door",
}  # fmt: skip
ITEMS = [{"item_id": item, "label": item, "group": group, "datasheet_kg": 12.0} for item, group in GROUPS.items()]
LAYOUTS = (
    (2100, "fridge left-rear, cooker left-mid, sink left-mid, drawer right-mid, battery right-front, rack roof"),
    (1500, "drawer left-mid, shelf right-mid, hatch middle-rear"),
    (1750, "pantry left-rear, cooker right-rear, tank middle-front, battery left-front, ladder middle-rear"),
    (1750, "shelf left-front, box under-tray, rack roof, ladder left-rear, hatch right-rear"),
    (2400, "fridge right-front, pantry right-mid, drawer left-front, tank under-tray, battery middle-front, shelf left-rear"),
    (1250, "box left-mid, ladder middle-rear"),
)
ZONES = (
    "left-front",
    "left-mid",
    "left-rear",
    "right-front",
    "right-mid",
    "right-rear",
    "middle-front",
    "middle-rear",
    "roof",
    "under-tray",
)
_OTHER = {"left": "right", "right": "left"}


@dataclass
class Known:
    """Rows for an edition, and the layout number of each body by job_id."""

    jobs: list[dict]
    bodies: list[dict]
    fitout: list[dict]
    truth: dict[str, int]


def known(
    count: int, noise: float, seed: int, weights: tuple[float, ...] | None = None, first: int = 0, month: date = date(2026, 1, 1)
) -> Known:
    """`count` delivered canopies; each line is moved, left out or joined by another with probability `noise`."""
    rng = np.random.default_rng(seed)
    found = Known([], [], [], {})
    for number in range(first, first + count):
        layout = int(rng.choice(len(LAYOUTS), p=weights))
        job_id = f"K{number:06d}"
        length_mm, text = LAYOUTS[layout]
        places = dict(entry.split() for entry in text.split(", "))
        found.truth[job_id] = layout
        found.jobs.append(
            {"job_id": job_id, "quoted_on": month, "ordered_on": month.replace(day=10), "delivered_on": month.replace(day=20)}
        )
        found.bodies.append(
            {"job_id": job_id, "body": "canopy", "length_mm": float(length_mm + rng.integers(-100, 100)), "width_mm": 1800.0}
        )
        turned = rng.random() < 0.5
        for item, zone in _disturbed(places, noise, rng):
            found.fitout.append({"job_id": job_id, "body": "canopy", "item_id": item, "zone": mirrored(zone) if turned else zone})
    return found


def mirrored(zone: str) -> str:
    side, dash, place = zone.partition("-")
    return f"{_OTHER.get(side, side)}{dash}{place}"


def _disturbed(places: dict[str, str], noise: float, rng: np.random.Generator) -> list[tuple[str, str]]:
    lines = []
    for item, zone in places.items():
        if rng.random() >= noise:
            lines.append((item, zone))
            continue
        what = rng.integers(3)
        if what == 0:
            continue
        lines.append((item, str(rng.choice(ZONES)) if what == 1 else zone))
        if what == 2:
            lines.append((str(rng.choice(list(GROUPS))), str(rng.choice(ZONES))))
    return lines
