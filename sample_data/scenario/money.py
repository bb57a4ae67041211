"""Prices and hours of the scenario; one currency, unnamed."""

from __future__ import annotations

import random
from datetime import date

from .catalogue import ITEMS, LATECOMER, Item
from .job import Body

DEARER_A_YEAR = 0.045


def price_of(rng: random.Random, bodies: list[Body], day: date) -> int:
    """Price of bodies and fitting, rounded to 10."""
    base = sum(_shell_price(body) + sum(_item(line.item_id).price * line.qty for line in body.lines) for body in bodies)
    years = (day - date(2020, 11, 1)).days / 365.25
    return int(round(base * (1 + DEARER_A_YEAR * years) * rng.gauss(1, 0.04), -1))


def hours_of(rng: random.Random, bodies: list[Body]) -> float:
    """Hours of labour as quoted."""
    hours = sum(_shell_hours(body) + sum(_item(line.item_id).hours * line.qty for line in body.lines) for body in bodies)
    return round(hours * rng.gauss(1, 0.05), 1)


def _item(item_id: str) -> Item:
    return ITEMS.get(item_id, LATECOMER)


def _shell_price(body: Body) -> float:
    if body.origin in ("refit", "other-maker"):
        return 900 if body.origin == "refit" else 0
    by_kind = {"canopy": (3900, 1900), "tray": (2300, 1150), "box": (5200, 2300)}[body.kind]
    return by_kind[0] + by_kind[1] * body.length_mm / 1000 + 950 * body.painted


def _shell_hours(body: Body) -> float:
    if body.origin in ("refit", "other-maker"):
        return 6 if body.origin == "refit" else 1
    by_kind = {"canopy": (14, 9), "tray": (9, 5), "box": (18, 8)}[body.kind]
    return by_kind[0] + by_kind[1] * body.length_mm / 1000 + 5 * body.painted
