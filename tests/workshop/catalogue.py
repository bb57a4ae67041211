"""What the invented workshop works with: its vehicles, its items, its usual sizes. Plain data, no truth in it."""

from __future__ import annotations

from typing import NamedTuple


class Vehicle(NamedTuple):
    vehicle_id: str
    label: str
    size_class: str
    cab: str
    seats: int
    share: float
    wheelbase_mm: float
    headboard_to_rear_axle_mm: float
    rear_axle_to_ball_mm: float
    front_overhang_mm: float
    empty_kg: float
    empty_front_kg: float
    tub_kg: float
    gvm_kg: float
    gcm_kg: float
    front_limit_kg: float
    rear_limit_kg: float
    fuel_l: float


VEHICLES = (
    Vehicle("CO-2", "Corrie dual cab", "midsize", "dual", 5, 0.46, 3210, 750, 1240, 900, 2235, 1270, 128, 3200, 6000, 1490, 1890, 80),
    Vehicle("CO-X", "Corrie extra cab", "midsize", "extra", 4, 0.16, 3210, 1110, 1240, 900, 2130, 1220, 122, 3200, 6000, 1490, 1890, 80),
    Vehicle("CO-1", "Corrie single cab", "midsize", "single", 2, 0.12, 3210, 1500, 1240, 900, 1915, 1105, 0, 3200, 6000, 1490, 1910, 80),
    Vehicle("MO-2", "Moraine crew cab", "fullsize", "dual", 5, 0.16, 3680, 960, 1320, 980, 2660, 1520, 145, 3800, 7600, 1900, 2300, 98),
    Vehicle("SC-4", "Scree 4.5", "truck", "single", 3, 0.10, 3400, 2180, 920, 1090, 2380, 1350, 0, 4495, 8000, 2000, 3300, 100),
)
"""Dimensions are believable for their class and belong to no vehicle on sale."""

UPGRADES = (
    ("CO-2-U", "CO-2", "Corrie dual, 300 up", 3500, 1560, 2180, 21, 3210),
    ("CO-X-U", "CO-X", "Corrie extra, 300 up", 3500, 1560, 2180, 21, 3210),
    ("MO-2-U", "MO-2", "Moraine, 400 up", 4200, 2000, 2650, 27, 3680),
)
"""upgrade_id, vehicle_id, label, gvm_kg, front_limit_kg, rear_limit_kg, added_kg, added_x_mm."""


class Item(NamedTuple):
    item_id: str
    label: str
    group: str
    kg: float
    kg_per_m: float
    on_canopy: float
    on_tray: float
    side: str
    along: float


ITEMS = (
    Item("cold-slide-45", "Fridge slide 45 l", "fridge", 18.5, 0, 0.34, 0, "free", 0.72),
    Item("cold-slide-80", "Fridge slide 80 l", "fridge", 27.0, 0, 0.22, 0, "free", 0.68),
    Item("larder", "Pull-out pantry", "pantry", 23.0, 0, 0.38, 0, "free", 0.46),
    Item("galley-gas", "Gas kitchen", "kitchen", 13.0, 4.4, 0.30, 0, "free", 0.80),
    Item("galley-induction", "Induction kitchen", "kitchen", 11.0, 4.0, 0.18, 0, "free", 0.80),
    Item("basin", "Sink", "kitchen", 6.2, 0, 0.30, 0, "free", 0.84),
    Item("drawer-low", "Drawer, low", "drawer", 24.0, 0, 0.42, 0.05, "free", 0.55),
    Item("drawer-tall", "Drawer, tall", "drawer", 36.0, 0, 0.22, 0, "free", 0.50),
    Item("drawer-pair", "Drawers, pair over a slide", "drawer", 49.0, 0, 0.10, 0, "middle", 0.55),
    Item("cell-100", "Battery 100 Ah", "power", 13.5, 0, 0.40, 0.03, "free", 0.14),
    Item("cell-200", "Battery 200 Ah", "power", 25.0, 0, 0.20, 0, "free", 0.14),
    Item("inverter-2k", "Inverter 2 kW", "power", 9.4, 0, 0.24, 0, "free", 0.18),
    Item("charger", "DC charger", "power", 3.2, 0, 0.45, 0.03, "free", 0.12),
    Item("solar-160", "Solar panel", "roof", 12.0, 0, 0.26, 0, "roof", 0.45),
    Item("tank-45", "Water tank 45 l", "water", 7.4, 0, 0.32, 0.18, "middle", 0.12),
    Item("tank-90", "Water tank 90 l", "water", 12.5, 0, 0.10, 0.12, "middle", 0.12),
    Item("pump-kit", "Pump and tap", "water", 4.0, 0, 0.34, 0.10, "free", 0.20),
    Item("shelf-run", "Shelf, full length", "storage", 3.0, 5.2, 0.36, 0, "free", 0.50),
    Item("tool-chest", "Tool chest", "storage", 26.0, 0, 0.16, 0.14, "free", 0.40),
    Item("partition", "Partition", "storage", 8.4, 0, 0.35, 0, "free", 0.48),
    Item("foam-lining", "Foam lining", "lining", 1.6, 2.4, 0.48, 0, "middle", 0.50),
    Item("rubber-floor", "Rubber floor", "lining", 1.0, 5.0, 0.40, 0, "middle", 0.50),
    Item("back-door", "Rear door", "door", 15.5, 0, 0.30, 0, "middle", 0.98),
    Item("awning", "Awning", "outside", 26.0, 0, 0.34, 0, "outer", 0.50),
    Item("wheel-carrier", "Spare-wheel carrier", "outside", 21.0, 0, 0.22, 0.10, "free", 1.02),
    Item("can-holder", "Fuel-can holder", "outside", 6.4, 0, 0.16, 0.12, "free", 0.95),
    Item("lift-legs", "Lift-off legs", "outside", 19.0, 0, 0.14, 0, "middle", 0.50),
    Item("roof-bars", "Roof bars", "roof", 7.0, 5.6, 0.38, 0, "roof", 0.50),
    Item("trundle", "Trundle drawer", "under-tray", 33.0, 0, 0, 0.42, "under", 0.62),
    Item("side-box", "Under-tray box", "under-tray", 17.0, 0, 0, 0.46, "outer", 0.70),
    Item("work-light", "Work light", "outside", 1.9, 0, 0.40, 0.44, "middle", 0.92),
    Item("hay-rack", "Load rack behind the cab", "outside", 14.0, 0, 0, 0.38, "middle", 0.02),
)
"""Shares are of bodies of that kind; `along` is the usual place as a part of the body's length."""

USUAL_LENGTHS_MM = {
    ("canopy", "dual"): (1200, 1450, 1600, 1750),
    ("canopy", "extra"): (1600, 1850, 2000),
    ("canopy", "single"): (1900, 2150, 2400),
    ("tray", "dual"): (1740, 1790, 1840),
    ("tray", "extra"): (2080, 2150),
    ("tray", "single"): (2380, 2500),
    ("box", "single"): (3000, 3400, 3900),
}
"""By kind and cab; four bodies in ten have a length of their own near one of these."""
