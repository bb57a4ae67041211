"""The tables of a hand-in, declared once. Order is the order of references: a table refers only to earlier ones."""

from __future__ import annotations

from typing import TypedDict

from pipeline.contract.model import Column, Reference, Table

BODY_KINDS = ("canopy", "tray", "box")
STATUSES = ("quoted", "ordered", "delivered", "lost", "cancelled")
SIDES = ("left", "right", "middle")
PLACES = ("front", "mid", "rear")
ZONES = (*(f"{side}-{place}" for side in SIDES for place in PLACES), "roof", "back-wall", "under-tray")
ITEM_GROUPS = ("fridge", "pantry", "kitchen", "drawer", "power", "water", "storage", "lining", "door", "outside", "roof", "under-tray")


class _Range(TypedDict):
    low: float
    high: float


_VEHICLE_KG = _Range(low=500.0, high=20000.0)
_BODY_KG = _Range(low=5.0, high=5000.0)
_AXLE_KG = _Range(low=100.0, high=20000.0)
_ALONG_MM = _Range(low=-3000.0, high=9000.0)
_VEHICLE_X_MM = _Range(low=-4000.0, high=14000.0)
_ACROSS_MM = _Range(low=-3000.0, high=3000.0)

_JOB = Column("job_id", doc="the workshop's number of the job", required=True)
_REVISION = Column("revision", doc="empty: the only one")
_BODY = Column("body", "body", doc="canopy, tray or box, with -2 where a job has two", required=True, choices=BODY_KINDS)
_TO_VEHICLE = Reference("vehicles", ("vehicle_id",), "unknown-vehicle", "vehicle_id")
_TO_JOB = Reference("jobs", ("job_id",), "unknown-job", "job_id")

_RATINGS = (
    Column("gvm_kg", "number", "gross vehicle mass", **_VEHICLE_KG),
    Column("gcm_kg", "number", "gross combination mass", low=500, high=60000),
    Column("front_limit_kg", "number", "front axle rating", **_AXLE_KG),
    Column("rear_limit_kg", "number", "rear axle rating", **_AXLE_KG),
    Column("front_tyres_kg", "number", "rating of the front tyres, the axle's sum", **_AXLE_KG),
    Column("rear_tyres_kg", "number", "rating of the rear tyres, the axle's sum", **_AXLE_KG),
    Column("tow_limit_kg", "number", "rated towed mass", low=0, high=40000),
    Column("ball_limit_kg", "number", "rated mass on the ball", low=0, high=5000),
)

VEHICLES = Table(
    "vehicles",
    "a row a chassis variant",
    (
        Column("vehicle_id", doc="key", required=True),
        Column("label", doc="what people call it", required=True),
        Column("size_class", "choice", "the workshop's own word for it", required=True, choices=("midsize", "fullsize", "truck")),
        Column("cab", "choice", "kind of cab", choices=("single", "extra", "dual")),
        Column("seats", "integer", "seating positions", low=1, high=20),
        Column("wheelbase_mm", "number", "front axle to rear axle", low=1500, high=9000),
        Column(
            "headboard_to_rear_axle_mm", "number", "plane of the headboard to the rear axle, positive ahead of it", low=-2000, high=9000
        ),
        Column("rear_axle_to_ball_mm", "number", "rear axle to the tow ball", low=0, high=5000),
        Column("front_overhang_mm", "number", "foremost point to the front axle", low=0, high=4000),
        Column("deck_height_mm", "number", "ground to the top of the deck", low=0, high=3000),
        Column("empty_kg", "number", "mass as the maker states it, factory tub included", **_VEHICLE_KG),
        Column(
            "empty_basis",
            "choice",
            "kerb (full tank), tare (10 l of fuel) or running-order (90 % fuel, 75 kg of driver)",
            choices=("kerb", "tare", "running-order"),
        ),
        Column("empty_front_kg", "number", "the same on the front axle; both or neither", **_AXLE_KG),
        Column("empty_rear_kg", "number", "the same on the rear axle", **_AXLE_KG),
        Column("tub_kg", "number", "what leaves with the factory tub; 0 for a cab-chassis", low=0, high=2000),
        Column("tub_x_mm", "number", "its place behind the front axle; empty: over the rear axle", **_VEHICLE_X_MM),
        Column("fuel", "choice", "what it burns", choices=("diesel", "petrol")),
        Column("fuel_l", "number", "tank", low=0, high=2000),
        Column("tank_mm", "number", "the tank behind the front axle; empty: 0.62 of the wheelbase", **_VEHICLE_X_MM),
        Column("front_seat_mm", "number", "front seats behind the front axle; empty: 0.45 of the wheelbase", **_VEHICLE_X_MM),
        Column("rear_seat_mm", "number", "rear seats; empty: 400 mm ahead of the headboard plane, 350 in an extra cab", **_VEHICLE_X_MM),
        *_RATINGS,
    ),
    key=("vehicle_id",),
)

UPGRADES = Table(
    "upgrades",
    "certified changes of rating to be had for a vehicle; an empty rating leaves the factory figure",
    (
        Column("upgrade_id", doc="key", required=True),
        Column("vehicle_id", doc="the vehicle it is for", required=True),
        Column("label", doc="what people call it", required=True),
        Column("gvm_kg", "number", "gross vehicle mass with it", required=True, **_VEHICLE_KG),
        *_RATINGS[1:],
        Column("added_kg", "number", "what the upgrade itself weighs", low=-500, high=2000),
        Column("added_x_mm", "number", "where, behind the front axle", **_VEHICLE_X_MM),
        Column("wheelbase_added_mm", "number", "what it adds to the wheelbase", low=-2000, high=4000),
        Column("available", "choice", "when it can be had", choices=("before-registration", "in-service")),
    ),
    key=("upgrade_id",),
    references=(_TO_VEHICLE,),
)

ITEMS = Table(
    "items",
    "the workshop's list of fit-out items; one without a mass is welcome",
    (
        Column("item_id", doc="key", required=True),
        Column("label", doc="what people call it", required=True),
        Column("group", "choice", "what it belongs to", required=True, choices=ITEM_GROUPS),
        Column("datasheet_kg", "number", "maker's figure, brackets and wiring not included", low=-500, high=2000),
        Column("datasheet_kg_per_m", "number", "what a metre of length adds", low=-200, high=500),
        Column("also_called", doc="old names, by |"),
        Column("needs", doc="item_ids it needs, by spaces"),
        Column("not_with", doc="item_ids it cannot stand beside, by spaces"),
        Column("instead_of", doc="item_ids it may replace, by spaces"),
        Column("shortest_mm", "number", "length of the shortest body that takes it", low=0, high=9000),
        Column("holds_l", "number", "water it holds", low=0, high=2000),
        Column("retired_on", "date", "no longer fitted from then on"),
    ),
    key=("item_id",),
)

JOBS = Table(
    "jobs",
    "a row an enquiry that was quoted; a job counts once, by its last revision",
    (
        _JOB,
        _REVISION,
        Column("branch", doc="which of the workshops"),
        Column("vehicle_id", doc="the customer's vehicle", required=True),
        Column("upgrade_id", doc="the upgrade it has or gets"),
        Column("status", "choice", "how far it came", required=True, choices=STATUSES),
        Column("quoted_on", "date", "day of the quote"),
        Column("ordered_on", "date", "day of the order"),
        Column("delivered_on", "date", "day of the handover"),
        Column("lost_on", "date", "day it was lost"),
        Column("lost_why", "choice", "why it was lost", choices=("price", "lead-time", "mass", "elsewhere", "no-answer", "other")),
        Column(
            "price", "number", "bodies and fitting, without vehicle and upgrade, tax excluded, one currency a store", low=0, high=10_000_000
        ),
        Column("cost", "number", "what it cost, same terms", low=0, high=10_000_000),
        Column("quoted_h", "number", "hours of labour quoted", low=0, high=100_000),
        Column("labour_h", "number", "hours of labour booked", low=0, high=100_000),
        Column("towbar_tow_kg", "number", "rating of the tow bar", low=0, high=40000),
        Column("towbar_ball_kg", "number", "rating of the tow bar's ball mass", low=0, high=5000),
        Column("customer_ref", doc="whose job it is; kept only as a keyed hash", private=True),
        Column("folder", doc="where drawings and photos lie"),
        Column("note", doc="free words"),
    ),
    key=("job_id", "revision"),
    references=(_TO_VEHICLE, Reference("upgrades", ("upgrade_id",), "unknown-upgrade", "upgrade_id")),
)

BODIES = Table(
    "bodies",
    "a row a body of a job",
    (
        _JOB,
        _REVISION,
        _BODY,
        Column("length_mm", "number", "outside length", required=True, low=300, high=9000),
        Column("width_mm", "number", "outside width", required=True, low=300, high=3500),
        Column("height_mm", "number", "outside height; not for a tray", low=100, high=3000),
        Column("length_approximate", "yes_no", "yes: kept out of the fit"),
        Column("sheet_mm", "number", "wall sheet", low=0.5, high=12),
        Column("floor_mm", "number", "floor or deck sheet", low=0.5, high=12),
        Column("material", doc="alloy"),
        Column("doors", "integer", "side doors", low=0, high=20),
        Column("painted", "yes_no", "painted outside"),
        Column("colour_outside", doc="free text"),
        Column("colour_doors", doc="free text"),
        Column("colour_inside", doc="free text"),
        Column("cad_kg", "number", "finished mass out of the drawing, fit-out included", **_BODY_KG),
        Column("cad_shell_kg", "number", "mass of the shell alone out of the drawing", **_BODY_KG),
        Column("weighed_kg", "number", "finished mass on a scale, body alone, fit-out in, tanks empty, gas bottles off", **_BODY_KG),
        Column("scale_step_kg", "number", "the scale's division", low=0, low_open=True, high=200),
        Column("com_x_mm", "number", "centre of mass behind the body's own front face", **_ALONG_MM),
        Column("com_y_mm", "number", "centre of mass from the centre line, positive right", **_ACROSS_MM),
        Column("com_z_mm", "number", "centre of mass above the underside; shown, not judged", **_ACROSS_MM),
        Column(
            "offset_mm", "number", "gap between headboard plane and the body's front face; empty: 0, said as assumed", low=-3000, high=6000
        ),
        Column("sits_on", "choice", "what carries it", choices=("tray", "chassis")),
        Column("lift_off", "yes_no", "comes off on legs"),
        Column("sticks_out_mm", "number", "what reaches behind the rear face", low=0, high=3000),
        Column("list_whole", "yes_no", "the fit-out list was checked against the finished body"),
        Column("drawing", doc="number and revision"),
        Column("origin", "choice", "where the body comes from", choices=("new", "repeat", "refit", "other-maker")),
        Column("same_as", doc="job/body that a refit worked on"),
    ),
    key=("job_id", "revision", "body"),
    references=(Reference("jobs", ("job_id", "revision"), "unknown-job", "job_id"),),
)

FITOUT = Table(
    "fitout",
    "a row an item in a body; the lines of one body belong together",
    (
        _JOB,
        _REVISION,
        _BODY,
        Column("item_id", doc="the item, or one of its old names", required=True),
        Column("qty", "number", "how many", low=0, low_open=True, high=200, default="1"),
        Column("length_mm", "number", "the item's own length, where it is not the body's", low=0, low_open=True, high=9000),
        Column("zone", "zone", "a side, a dash and a place, or roof, back-wall, under-tray", choices=ZONES),
        Column("x_mm", "number", "where its mass sits behind the body's front face", **_ALONG_MM),
        Column("y_mm", "number", "and from the centre line, positive right", **_ACROSS_MM),
    ),
    key=("job_id", "revision", "body"),
    grouped=True,
    references=(
        _TO_JOB,
        Reference("bodies", ("job_id", "revision", "body"), "unknown-body", "body"),
        Reference("items", ("item_id",), "unknown-item", "item_id"),
    ),
)

ON_VEHICLE = Table(
    "on_vehicle",
    "what bolts to the chassis and is part of no body; the lines of one job belong together",
    (
        _JOB,
        Column("label", doc="what it is", required=True),
        Column("kg", "number", "its mass; negative: comes off", required=True, low=-5000, high=5000),
        Column("x_mm", "number", "behind the front axle", **_VEHICLE_X_MM),
        Column("y_mm", "number", "from the centre line, positive right", **_ACROSS_MM),
        Column("holds_l", "number", "water it holds", low=0, high=2000),
        Column("put_on_by", "choice", "who put it on", choices=("workshop", "dealer", "customer")),
        Column("on_first_ticket", "yes_no", "was it on when the vehicle was first weighed"),
    ),
    key=("job_id",),
    grouped=True,
    references=(_TO_JOB,),
)

WEIGHINGS = Table(
    "weighings",
    "whole-vehicle tickets",
    (
        _JOB,
        Column("ticket", doc="the weighbridge's number; empty: date and state"),
        Column("weighed_on", "date", "day of weighing", required=True),
        Column(
            "state",
            "choice",
            "as brought; tub or old tray off; bodies on and nothing loaded; ready to travel",
            required=True,
            choices=("arrived", "bare", "finished", "loaded"),
        ),
        Column("total_kg", "number", "the whole vehicle", required=True, **_VEHICLE_KG),
        Column("front_kg", "number", "front axle", low=0, high=20000),
        Column("rear_kg", "number", "rear axle", low=0, high=20000),
        Column("left_kg", "number", "left wheels", low=0, high=20000),
        Column("right_kg", "number", "right wheels", low=0, high=20000),
        Column("scale_step_kg", "number", "the scale's division", low=0, low_open=True, high=200),
        Column("fuel_fraction", "number", "how full the tank was", low=0, high=1),
        Column("people_kg", "number", "people on board", low=0, high=2000),
        Column("water_l", "number", "water on board", low=0, high=5000),
        Column("other_kg", "number", "anything else on board", low=-2000, high=5000),
        Column("ball_kg", "number", "mass on the ball", low=0, high=5000),
    ),
    key=("job_id", "ticket"),
    key_fallback=("weighed_on", "state"),
    references=(_TO_JOB,),
)

SETTLEMENTS = Table(
    "settlements",
    "what a person settled about a suspect; the dashboard writes it as a hand-in of its own",
    (
        Column(
            "table",
            "choice",
            "which table the row stands in",
            required=True,
            choices=("vehicles", "upgrades", "jobs", "bodies", "weighings"),
        ),
        Column("key", doc="the row, as `suspects` names it: job/body, job/revision/body, job/ticket", required=True),
        Column("rule", doc="the rule that marked it; empty: whatever is wrong with it"),
        Column(
            "verdict",
            "choice",
            "right: it stands; wrong: leave it out; corrected: see value",
            required=True,
            choices=("right", "wrong", "corrected"),
        ),
        Column("column", doc="which column a corrected value is for"),
        Column("value", "number", "the corrected value, in the column's unit"),
        Column("who", doc="who settled it"),
        Column("settled_on", "date", "when"),
        Column("why", doc="in words"),
    ),
    key=("table", "key", "column"),
)

TABLES: dict[str, Table] = {
    table.name: table for table in (VEHICLES, UPGRADES, ITEMS, JOBS, BODIES, FITOUT, ON_VEHICLE, WEIGHINGS, SETTLEMENTS)
}


def table_named(name: str) -> Table:
    """The declared table of that name. Raises: KeyError."""
    return TABLES[name]
