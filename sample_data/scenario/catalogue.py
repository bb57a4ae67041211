# ruff: noqa: E501 - a row of a table reads better unbroken
"""What Gannet & Thole works with: vehicles, upgrades, fit-out items and the styles its customers ask for. All invented."""

from __future__ import annotations

from typing import NamedTuple

VEHICLE_COLUMNS = (
    "vehicle_id", "label", "size_class", "cab", "seats", "wheelbase_mm", "headboard_to_rear_axle_mm", "rear_axle_to_ball_mm",
    "front_overhang_mm", "deck_height_mm", "empty_kg", "empty_basis", "empty_front_kg", "empty_rear_kg", "tub_kg", "fuel", "fuel_l",
    "gvm_kg", "gcm_kg", "front_limit_kg", "rear_limit_kg", "front_tyres_kg", "rear_tyres_kg", "tow_limit_kg", "ball_limit_kg",
)  # fmt: skip
_VEHICLE_ROWS = """
SED-D|Sedge dual cab|midsize|dual|5|3220|740|1245|905|870|2265|kerb|1290|975|130|diesel|80|3050|6000|1480|1880|2060|2060|3500|350
SED-X|Sedge extra cab|midsize|extra|4|3220|1090|1245|905|870|2165|kerb|1245|920|122|diesel|80|3050|6000|1480|1880|2060|2060|3500|350
SED-S|Sedge single cab-chassis|midsize|single|2|3220|1490|1245|905|870|1960|kerb|1145|815|0|diesel|80|3050|6000|1480|1900|2060|2060|3500|350
SED-D1|Sedge dual cab, to 2022|midsize|dual|5|3085|760|1230|890|850|2110|kerb|1210|900|120|diesel|76|2950|5800|1420|1780|1940|1940|3200|320
TUS-D|Tussock dual cab|midsize|dual|5|3180|720|1210|920|880|2155|tare|1240|915|118|diesel|75|2960|5950|1450|1850|2000|2000|3500|350
TUS-X|Tussock extra cab|midsize|extra|4|3180|1060|1210|920|880|2065|tare|1195|870|112|diesel|75|2960|5950|1450|1850|2000|2000|3500|350
TUS-S|Tussock single cab-chassis|midsize|single|2|3180|1460|1210|920|880|1875|tare|1092|783|0|diesel|75|2960|5950|1450|1850|2000|2000|3500|350
BRA-C|Bracken crew cab|fullsize|dual|5|3690|980|1310|985|930|2760|kerb|1580|1180|150|petrol|110|3600|8000|1900|2320|2600|2600|4500|450
BRA-L|Bracken long, extra cab|fullsize|extra|4|3900|1430|1330|985|930|2710|kerb|1555|1155|155|petrol|120|3600|8000|1900|2320|2600|2600|4500|450
ALD-45|Alder 4.5|truck|single|3|3400|2250|930|1100|900|2495|running-order|1430|1065|0|diesel|100|4495|8000|2000|3300|2400|3600|3500|350
ALD-65|Alder 6.5|truck|single|3|3800|2650|940|1110|950|2870|running-order|1640|1230|0|diesel|120|6500|10000|2600|4600|2900|5000|3500|350
RUSH-1|Rush, before our time|midsize||||||||||||||||||||||
"""
VEHICLES = {row.split("|")[0]: dict(zip(VEHICLE_COLUMNS, row.split("|"), strict=True)) for row in _VEHICLE_ROWS.split("\n") if row}
"""Dimensions are believable for their class and belong to no vehicle on sale."""

VEHICLE_SHARES = {
    "SED-D": 27, "SED-X": 12, "SED-S": 7, "SED-D1": 8, "TUS-D": 16, "TUS-X": 7, "TUS-S": 4, "BRA-C": 8, "BRA-L": 3, "ALD-45": 6, "ALD-65": 2,
}  # fmt: skip

UPGRADE_COLUMNS = (
    "upgrade_id", "vehicle_id", "label", "gvm_kg", "gcm_kg", "front_limit_kg", "rear_limit_kg", "added_kg", "added_x_mm",
    "wheelbase_added_mm", "available",
)  # fmt: skip
_UPGRADE_ROWS = """
SED-D+300|SED-D|Sedge dual, 300 up|3400||1550|2180|19|3220||before-registration
SED-D+450|SED-D|Sedge dual, 450 up and 250 longer|3550|6200|1600|2300|64|3000|250|before-registration
SED-X+300|SED-X|Sedge extra, 300 up|3400||1550|2180|19|3220||before-registration
SED-S+300|SED-S|Sedge single, 300 up|3400||1550|2180|19|3220||before-registration
SED-D1+250|SED-D1|Sedge dual to 2022, 250 up|3200||1480|2050|17|3085||in-service
TUS-D+350|TUS-D|Tussock dual, 350 up|3360||1530|2200|23|3180||before-registration
TUS-D+200|TUS-D|Tussock dual, 200 up in service|3210||1500|2050|16|3180||in-service
TUS-X+350|TUS-X|Tussock extra, 350 up|3360||1530|2200|23|3180||before-registration
BRA-C+420|BRA-C|Bracken crew, 420 up|4020|8500|2050|2700|31|3690||before-registration
"""
UPGRADES = {row.split("|")[0]: dict(zip(UPGRADE_COLUMNS, row.split("|"), strict=True)) for row in _UPGRADE_ROWS.split("\n") if row}


class Item(NamedTuple):
    """kg and kg_per_m are what the item really adds in a body of 1.6 m; the datasheet says a little less, or nothing."""

    item_id: str
    label: str
    group: str
    kg: float
    kg_per_m: float
    side: str
    along: float
    price: int
    hours: float
    more: dict[str, str]


ITEMS = {
    item.item_id: item
    for item in (
        Item("icebox-slide", "Fridge on a slide, 50 l", "fridge", 21.5, 0, "free", 0.70, 620, 2.0, {"also_called": "FRSL50"}),
        Item(
            "icebox-drop",
            "Fridge on a drop slide, 85 l",
            "fridge",
            33.0,
            0,
            "free",
            0.68,
            1180,
            2.8,
            {"instead_of": "icebox-slide", "shortest_mm": "1300"},
        ),
        Item("stores-tower", "Pantry, pull-out", "pantry", 24.5, 0, "free", 0.45, 980, 3.5, {"shortest_mm": "1200"}),
        Item(
            "stores-shelf",
            "Pantry shelf",
            "pantry",
            9.0,
            0,
            "free",
            0.45,
            260,
            1.2,
            {"instead_of": "stores-tower", "retired_on": "2025-06-30"},
        ),
        Item(
            "cook-gas",
            "Kitchen with gas hob",
            "kitchen",
            24.0,
            4.6,
            "free",
            0.82,
            1650,
            6.0,
            {"needs": "gas-locker", "not_with": "cook-induction", "instead_of": "cook-induction", "shortest_mm": "1200"},
        ),
        Item(
            "cook-induction",
            "Kitchen with induction hob",
            "kitchen",
            20.5,
            4.2,
            "free",
            0.82,
            1980,
            6.5,
            {"needs": "inverter-3000 lith-240", "not_with": "cook-gas", "shortest_mm": "1200"},
        ),
        Item("gas-locker", "Gas locker, vented", "kitchen", 5.8, 0, "free", 0.90, 340, 1.8, {}),
        Item("wash-bowl", "Sink, folding", "kitchen", 5.6, 0, "free", 0.86, 290, 1.6, {"needs": "pump"}),
        Item("drawer-s", "Drawer, 450 wide", "drawer", 15.5, 0, "free", 0.55, 390, 1.6, {}),
        Item("drawer-m", "Drawer, 600 wide", "drawer", 22.5, 0, "free", 0.55, 470, 1.9, {"instead_of": "drawer-l"}),
        Item("drawer-l", "Drawer, 900 wide", "drawer", 35.0, 0, "free", 0.50, 640, 2.3, {"shortest_mm": "1200"}),
        Item("lith-120", "Battery, 120 Ah", "power", 14.5, 0, "free", 0.13, 1180, 1.5, {"instead_of": "lith-240"}),
        Item("lith-240", "Battery, 240 Ah", "power", 27.5, 0, "free", 0.13, 2150, 1.9, {"also_called": "BAT240"}),
        Item(
            "inverter-1500",
            "Inverter, 1.5 kW",
            "power",
            7.2,
            0,
            "free",
            0.17,
            780,
            1.6,
            {"also_called": "INV15", "instead_of": "inverter-3000"},
        ),
        Item("inverter-3000", "Inverter, 3 kW", "power", 14.0, 0, "free", 0.17, 1540, 2.2, {"also_called": "INV30", "needs": "lith-240"}),
        Item("dcdc-40", "Charger, 40 A", "power", 3.4, 0, "free", 0.12, 520, 1.8, {}),
        Item("sun-200", "Solar panel, 200 W", "roof", 13.0, 0, "roof", 0.45, 690, 2.0, {}),
        Item("water-50", "Water tank, 50 l", "water", 8.0, 0, "middle", 0.10, 380, 1.5, {"holds_l": "50", "instead_of": "water-85"}),
        Item("water-85", "Water tank, 85 l", "water", 12.0, 0, "under", 0.35, 520, 1.9, {"holds_l": "85", "shortest_mm": "1500"}),
        Item("pump", "Water pump and tap", "water", 3.6, 0, "free", 0.20, 240, 1.4, {}),
        Item("rack-shelf", "Shelving, full length", "storage", 12.5, 5.4, "free", 0.50, 310, 1.4, {}),
        Item("tool-bank", "Tool bank, five drawers", "storage", 31.0, 0, "free", 0.42, 890, 2.6, {}),
        Item("bulkhead", "Bulkhead, half depth", "storage", 9.0, 0, "free", 0.48, 260, 1.1, {"also_called": "DIVIDE"}),
        Item("mesh-window", "Mesh window", "storage", 4.2, 0, "free", 0.50, 190, 1.5, {}),
        Item("felt", "Felt lining", "lining", 4.6, 2.6, "middle", 0.50, 330, 3.0, {}),
        Item("mat", "Rubber mat", "lining", 9.8, 5.1, "middle", 0.50, 140, 0.4, {}),
        Item("hatch", "Rear hatch", "door", 16.5, 0, "middle", 0.98, 720, 2.4, {}),
        Item("awning-side", "Awning, straight", "outside", 18.5, 0, "outer", 0.50, 640, 1.2, {"instead_of": "awning-wrap"}),
        Item("awning-wrap", "Awning, round the corner", "outside", 29.0, 0, "outer", 0.52, 1190, 1.8, {"not_with": "awning-side"}),
        Item("wheel-arm", "Spare wheel on a swing arm", "outside", 36.0, 0, "free", 1.04, 830, 2.6, {}),
        Item("can-arm", "Fuel-can holder", "outside", 6.8, 0, "free", 1.00, 160, 0.6, {}),
        Item("rungs", "Rear ladder", "outside", 7.5, 0, "free", 1.02, 280, 0.8, {}),
        Item("legs", "Lift-off legs, four", "outside", 23.0, 0, "middle", 0.50, 980, 1.6, {}),
        Item("lamp", "Work lamp", "outside", 1.6, 0, "middle", 0.96, 130, 0.7, {}),
        Item("bars", "Roof bars", "roof", 15.0, 5.2, "roof", 0.50, 480, 1.6, {}),
        Item("tent-rail", "Rails for a roof tent", "roof", 8.0, 2.0, "roof", 0.50, 290, 1.0, {"needs": "bars"}),
        Item("under-slide", "Drawer under the tray", "under-tray", 34.5, 0, "under", 0.62, 760, 2.4, {}),
        Item("under-box", "Box under the tray", "under-tray", 16.5, 0, "outer", 0.72, 420, 1.6, {}),
        Item("ladder-rack", "Ladder rack", "outside", 17.0, 4.0, "roof", 0.50, 520, 1.8, {}),
        Item("head-rack", "Rack behind the cab", "outside", 13.5, 0, "middle", 0.02, 360, 1.2, {}),
    )
}
WITHOUT_DATASHEET = ("mesh-window", "tent-rail", "gas-locker")
"""Made in the workshop; nobody ever put one on a scale."""
LATECOMER = Item("rinse-kit", "Rinse kit, outside", "water", 4.9, 0, "free", 0.95, 310, 1.5, {"needs": "pump"})
"""Fitted before it was in the workshop's list of items."""


class Style(NamedTuple):
    """What customers of one kind ask for: `core` is nearly always there; shares of enquiries in the first and the last year."""

    name: str
    kind: str
    first: float
    last: float
    core: str
    often: str


STYLES = (
    Style("tourer, gas", "canopy", 20, 7, "cook-gas gas-locker wash-bowl pump water-50 icebox-slide stores-tower lith-120 dcdc-40", "drawer-m awning-side bars felt bulkhead wheel-arm sun-200"),
    Style("tourer, induction", "canopy", 3, 70, "cook-induction wash-bowl pump water-50 icebox-drop stores-tower lith-240 inverter-3000 dcdc-40", "drawer-m sun-200 awning-wrap bars felt bulkhead hatch"),
    Style("weekender", "canopy", 18, 20, "icebox-slide drawer-m lith-120 dcdc-40", "drawer-m awning-side bars mat stores-shelf tent-rail lamp"),
    Style("trade shelves", "canopy", 22, 17, "rack-shelf rack-shelf tool-bank ladder-rack lamp", "drawer-s mat bulkhead hatch rack-shelf"),
    Style("electrician", "canopy", 9, 11, "rack-shelf drawer-s drawer-s inverter-1500 lith-120 ladder-rack", "drawer-s lamp dcdc-40 mat sun-200"),
    Style("farm", "canopy", 14, 9, "mesh-window mat wheel-arm", "icebox-slide can-arm lamp rungs bulkhead"),
    Style("plain", "canopy", 12, 8, "", "mat lamp"),
    Style("lift-off home", "canopy", 2, 4, "legs cook-gas gas-locker wash-bowl pump water-85 icebox-drop stores-tower lith-240 inverter-1500 dcdc-40 sun-200 drawer-l", "awning-wrap hatch felt rungs bars tent-rail"),
    Style("plain tray", "tray", 40, 30, "", "head-rack lamp"),
    Style("touring tray", "tray", 30, 42, "under-slide water-85 under-box under-box", "head-rack lamp pump can-arm"),
    Style("trade tray", "tray", 30, 28, "head-rack under-box under-box lamp", "under-slide lamp ladder-rack"),
    Style("plain box", "box", 50, 42, "", "hatch lamp mat"),
    Style("mobile workshop", "box", 30, 38, "tool-bank tool-bank rack-shelf rack-shelf lamp lamp inverter-3000 lith-240", "hatch mat drawer-s felt"),
    Style("parcel box", "box", 20, 20, "rack-shelf rack-shelf rack-shelf lamp", "hatch mat bulkhead"),
)  # fmt: skip

USUAL_LENGTHS_MM = {
    ("canopy", "dual"): (1220, 1420, 1620, 1770),
    ("canopy", "extra"): (1520, 1820, 2070),
    ("canopy", "single"): (1920, 2220, 2430),
    ("tray", "dual"): (1770, 1830),
    ("tray", "extra"): (2090, 2150),
    ("tray", "single"): (2430, 2520),
    ("box", "single"): (3050, 3450, 3850),
}
COLOURS = ("white", "white", "white", "graphite", "black", "sand", "olive")
BOLTED_ON = (
    ("Tow bar", 36.0, "ball", "workshop", 0.62),
    ("Bull bar", 61.0, -710.0, "dealer", 0.48),
    ("Long-range tank on top of the factory one", 27.0, 2150.0, "customer", 0.18),
    ("Second battery under the bonnet", 19.0, -120.0, "workshop", 0.22),
    ("Side steps", 22.0, 1500.0, "dealer", 0.30),
    ("Water tank on the chassis rail", 9.0, 2600.0, "customer", 0.06),
    ("Winch", 29.0, -760.0, "customer", 0.16),
)
"""label, kg, place behind the front axle, who puts it on, share of jobs; a tow bar sits just ahead of the ball."""
HOLDS_L = {"Water tank on the chassis rail": 40}
