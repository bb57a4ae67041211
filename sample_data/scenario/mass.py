"""What the bodies of the scenario really weigh, and where. Nothing of this is in any file that is handed in."""

from __future__ import annotations

import random

from .catalogue import ITEMS, LATECOMER
from .job import Body

NOISE = 0.024
DRAWING_LEAVES_OUT = 0.04
POWER_LIGHTER_A_YEAR = 0.035
"""Batteries and inverters lose this part of their mass a year, counted back from the newest record."""


def settle_mass(body: Body, size_class: str, years_ago: float, rng: random.Random) -> None:
    """Give the body its true mass and centre of mass."""
    shell = _shell_kg(body, size_class)
    parts = [(_line_kg(line.item_id, line.qty, body.length_mm, years_ago), line.x_mm, line.y_mm) for line in body.lines]
    fitout = sum(kg for kg, _, _ in parts)
    extra = _couplings_kg(body) + 0.05 * max(fitout - 140, 0)
    mean = shell + extra + fitout
    body.true_kg = mean * (1 + rng.gauss(0, NOISE))
    body.true_com_mm = (
        (sum(kg * x for kg, x, _ in parts) + (shell + extra) * (0.5 * body.length_mm + 18)) / mean,
        sum(kg * y for kg, _, y in parts) / mean,
    )


def _line_kg(item_id: str, qty: int, length_mm: float, years_ago: float) -> float:
    item = ITEMS.get(item_id, LATECOMER)
    kg = (item.kg + item.kg_per_m * (length_mm / 1000 - 1.6)) * 1.06 + 0.5
    return qty * kg * (1 + POWER_LIGHTER_A_YEAR * years_ago * (item.group == "power"))


def _shell_kg(body: Body, size_class: str) -> float:
    length, width, height = body.length_mm / 1000, body.width_mm / 1000, (body.height_mm or 0) / 1000
    deck = length * width * body.floor_mm * 2.68
    by_class = {"midsize": 0.0, "fullsize": 4.0, "truck": 14.0}[size_class]
    if body.kind == "tray":
        sides = 0.25 * (2 * length + width) * 3 * 2.68
        return 48 + by_class + 1.04 * (deck + sides) + 16 * length + 1.7 * 2 * (length + width) + 0.4 * body.painted * length * width
    outside = 2 * length * height + 2 * width * height + length * width
    base = 26 if body.kind == "canopy" else 52
    sheet = outside * (body.sheet_mm or 0) * 2.68
    frame = 2.1 * 4 * (length + width + height)
    return base + by_class + 1.07 * (deck + sheet) + frame + 9.6 * (body.doors or 0) + 0.4 * body.painted * outside


def _couplings_kg(body: Body) -> float:
    has = {line.item_id for line in body.lines}
    drawers = any(item_id.startswith("drawer") for item_id in has)
    return (
        4.2 * ("wash-bowl" in has and bool(has & {"water-50", "water-85"}))
        + 3.5 * bool(has & {"inverter-1500", "inverter-3000"})
        - 4.0 * ("bulkhead" in has and drawers and "stores-tower" in has)
        + 12.0 * max(body.length_mm / 1000 - 2.1, 0) * (body.kind == "canopy")
    )
