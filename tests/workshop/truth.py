"""What the bodies really weigh, and where their mass sits: the truth that only the generator knows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .bodies import POSITION, Bodies, Lines
from .catalogue import ITEMS
from .effects import Effects

DRAWING_BIAS = 0.036
"""Part of the mass that drawings leave out: wiring, sealant, brackets."""
NOISE = 0.025
DRAWN_NOISE = 0.018
"""Relative sd of a finished body, and of a drawing, about the noiseless truth."""
SCALE_STEP_KG = 5.0
COM_NOISE_MM = (13.0, 7.3)


@dataclass(frozen=True)
class Habits:
    """A workshop's own coefficients: kg, kg/m, kg/m2 and factors on the shell."""

    panel: float
    edge_kg_per_m: float
    door_kg: float
    paint_kg_per_m2: float
    base_kg: dict[str, float]
    item_kg: np.ndarray
    item_kg_per_m: np.ndarray
    shift_mm: np.ndarray


@dataclass(frozen=True)
class Mass:
    """(n_bodies,) noiseless mass and centre of mass, (n_lines,) mass of each line."""

    mu_kg: np.ndarray
    com_x_mm: np.ndarray
    com_y_mm: np.ndarray
    line_kg: np.ndarray


def draw_habits(rng: np.random.Generator, effects: Effects) -> Habits:
    """Coefficients of this workshop; `elsewhere` makes it a heavier one."""
    heavy = 1.13 if effects.elsewhere else 1.0
    nominal = np.array([item.kg for item in ITEMS])
    spread = np.exp(rng.normal(0, 0.10, len(ITEMS)))
    return Habits(
        panel=1.06 * heavy,
        edge_kg_per_m=1.75 * heavy,
        door_kg=10.3 * heavy,
        paint_kg_per_m2=0.36,
        base_kg={"canopy": 14.0 * heavy, "tray": 36.0 * heavy, "box": 48.0 * heavy},
        item_kg=nominal * 1.05 * spread * heavy + 0.8,
        item_kg_per_m=np.array([item.kg_per_m for item in ITEMS]) * heavy,
        shift_mm=rng.normal(0, (35.0, 18.0), (len(ITEMS), 2)),
    )


def weigh(habits: Habits, bodies: Bodies, lines: Lines, years_ago: np.ndarray, size_class: np.ndarray, effects: Effects) -> Mass:
    """Noiseless masses: shell, lines, and the couplings between them.

    Args:
        years_ago: (n_bodies,) years before the newest record, for drift.
        size_class: (n_bodies,) the vehicle's size class.
    """
    shell = _shell(habits, bodies, size_class)
    line_kg = habits.item_kg[lines.item] + habits.item_kg_per_m[lines.item] * (bodies.length_mm[lines.body] / 1000 - 1.7)
    line_kg = line_kg * lines.qty
    if effects.drift:
        line_kg = line_kg * _drift(years_ago[lines.body], lines.item)
    n = len(bodies.job)
    fitout = np.bincount(lines.body, line_kg, n)
    extra = _couplings(bodies, lines, n) + 0.06 * np.maximum(fitout - 130, 0)
    side = np.sign(lines.y_mm)
    x = lines.x_mm + habits.shift_mm[lines.item, 0]
    y = lines.y_mm + side * habits.shift_mm[lines.item, 1]
    mu = shell + fitout + extra
    moment_x = np.bincount(lines.body, line_kg * x, n) + (shell + extra) * (0.5 * bodies.length_mm + 14)
    moment_y = np.bincount(lines.body, line_kg * y, n)
    return Mass(mu, moment_x / mu, moment_y / mu, line_kg)


def _shell(habits: Habits, bodies: Bodies, size_class: np.ndarray) -> np.ndarray:
    length, width = bodies.length_mm / 1000, bodies.width_mm / 1000
    height = np.nan_to_num(bodies.height_mm) / 1000
    floor = length * width * bodies.floor_mm * 2.70
    walls = (2 * length * height + 2 * width * height + length * width) * np.nan_to_num(bodies.sheet_mm) * 2.70
    tray = bodies.kind == "tray"
    # a tray has drop sides and bearers where a canopy has walls
    sides = 0.24 * (2 * length + width) * 2.5 * 2.70 + 9.0 * length
    edges = np.where(tray, 2 * (length + width), 4 * (length + width + height))
    outside = np.where(tray, length * width, 2 * length * height + 2 * width * height + length * width)
    base = np.array([habits.base_kg[kind] for kind in bodies.kind])
    usual = np.where(bodies.kind == "box", 3.4, np.where(tray, 2.0, 1.7))
    return (
        base
        + habits.panel * (floor + np.where(tray, sides, walls))
        + habits.edge_kg_per_m * edges
        + habits.door_kg * np.nan_to_num(bodies.doors)
        + habits.paint_kg_per_m2 * outside * bodies.painted
        + np.select([size_class == "fullsize", size_class == "truck"], [5.0, 11.0], 0.0)
        + 8.0 * np.minimum((length - usual) ** 2, 1.0)
    )


def _drift(years_ago: np.ndarray, item: np.ndarray) -> np.ndarray:
    rate = np.array([{"power": -0.05, "kitchen": 0.03}.get(entry.group, 0.006) for entry in ITEMS])
    return 1 - rate[item] * years_ago


def _couplings(bodies: Bodies, lines: Lines, n: int) -> np.ndarray:
    has = np.zeros((n, len(ITEMS)), dtype=bool)
    has[lines.body, lines.item] = True

    def any_of(*names: str) -> np.ndarray:
        return has[:, [POSITION[name] for name in names]].any(axis=1)

    drawers = any_of("drawer-low", "drawer-tall", "drawer-pair")
    tank = any_of("tank-45", "tank-90")
    return (
        -4.5 * (any_of("partition") & drawers & any_of("larder"))
        + 4.5 * (any_of("basin") & tank)
        + 3.2 * (any_of("inverter-2k") & any_of("cell-100", "cell-200"))
        - 2.5 * (any_of("solar-160") & any_of("roof-bars"))
        + 1.4 * any_of("galley-gas")
        + 14.0 * np.maximum(bodies.length_mm / 1000 - 2.2, 0) * (bodies.kind == "canopy")
    )
