"""What a workshop may set about loads: the travel load, the limits and the levers. Sections of the one settings file."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct, field

Share = Annotated[float, Meta(ge=0, le=1)]
Seat = Literal["front", "rear"]
Side = Literal["left", "right", "middle"]


class Person(Struct, frozen=True, forbid_unknown_fields=True):
    """Somebody on board. Left and right looking forward."""

    kg: Annotated[float, Meta(ge=0, le=400, description="mass with clothes, kg")]
    seat: Annotated[Seat, Meta(description="seat row: front or rear")] = "front"
    side: Annotated[Side, Meta(description="left, right or middle, looking forward")] = "middle"


class Extra(Struct, frozen=True, forbid_unknown_fields=True):
    """A thing taken along that no body carries in its list."""

    label: Annotated[str, Meta(min_length=1, description="what it is")]
    kg: Annotated[float, Meta(ge=-2000, le=5000, description="its mass, kg; negative: left at home")]
    x_mm: Annotated[float | None, Meta(description="behind the headboard plane, mm; left out: over the rear axle")] = None
    y_mm: Annotated[float, Meta(ge=-3000, le=3000, description="from the centre line, positive right, mm")] = 0.0


def _two_in_front() -> list[Person]:
    return [Person(80.0, "front", "right"), Person(60.0, "front", "left")]


class TravelLoad(Struct, frozen=True, forbid_unknown_fields=True):
    """What a check assumes on board, and behind it."""

    people: Annotated[list[Person], Meta(description="who sits where")] = field(default_factory=_two_in_front)
    luggage_kg: Annotated[float, Meta(ge=0, le=5000, description="on the rear seat, in a single cab on the front, kg")] = 50.0
    water_l: Annotated[
        float, Meta(ge=0, le=5000, description="drinking water, litres; fills what holds water, else at the under-tray middle")
    ] = 0.0
    fuel_fraction: Annotated[Share, Meta(description="how full the tank is")] = 1.0
    trailer_kg: Annotated[float, Meta(ge=0, le=60000, description="trailer, loaded, kg; its axles carry this less the ball mass")] = 0.0
    ball_kg: Annotated[float, Meta(ge=0, le=5000, description="mass on the ball, level and loaded for travel, kg")] = 0.0
    extra: Annotated[list[Extra], Meta(description="whatever else comes along")] = field(default_factory=list)


class VehicleSettings(Struct, frozen=True, forbid_unknown_fields=True):
    """What stands in for what a vehicle or a ticket does not say (common practice unless a source is named)."""

    empty_sd_kg: Annotated[
        float, Meta(ge=0, description="spread of a vehicle about its maker's figure where no tickets tell, kg (common practice)")
    ] = 30.0
    variant_tickets: Annotated[int, Meta(ge=2, description="tickets of a variant from which its own mean and spread are used")] = 5
    ticket_fuel_fraction: Annotated[
        Share, Meta(description="how full the tank was, where a ticket does not say; its spread is that of any level")
    ] = 0.5
    ticket_step_kg: Annotated[float, Meta(gt=0, description="division of a weighbridge, where a ticket does not say, kg")] = 20.0
    delivered_fuel_fraction: Annotated[Share, Meta(description="how full the tank is as a job leaves the workshop")] = 1.0
    diesel_kg_per_l: Annotated[float, Meta(gt=0, le=2, description="density of diesel, kg/l (EN 590: 0.820 to 0.845 at 15 °C)")] = 0.835
    petrol_kg_per_l: Annotated[float, Meta(gt=0, le=2, description="density of petrol, kg/l (0.720 to 0.775, from memory)")] = 0.7475
    driver_kg: Annotated[float, Meta(ge=0, description="driver in a mass in running order, kg (Reg. (EU) 1230/2012)")] = 75.0
    running_order_fuel: Annotated[Share, Meta(description="fuel in a mass in running order (Reg. (EU) 1230/2012)")] = 0.9
    tare_fuel_l: Annotated[float, Meta(ge=0, description="fuel in a tare mass, litres")] = 10.0
    front_share: Annotated[
        Share, Meta(description="share of an empty vehicle on its front axle where neither maker nor ticket tells; no verdict then")
    ] = 0.57
    tank_share: Annotated[float, Meta(ge=-1, le=2, description="place of the tank, as a share of the wheelbase")] = 0.62
    front_seat_share: Annotated[float, Meta(ge=-1, le=2, description="place of the front seats, as a share of the wheelbase")] = 0.45
    rear_seat_gap_mm: Annotated[float, Meta(ge=0, description="rear seat ahead of the headboard plane, mm")] = 400.0
    rear_seat_gap_extra_mm: Annotated[float, Meta(ge=0, description="the same in an extra cab, mm")] = 350.0
    seat_side_mm: Annotated[float, Meta(ge=0, description="a left or right seat from the centre line, mm")] = 370.0
    seats: Annotated[dict[str, int], Meta(description="seats by cab, where a vehicle does not say")] = field(
        default_factory=lambda: {"single": 2, "extra": 4, "dual": 5}
    )
    track_mm: Annotated[dict[str, float], Meta(description="between the middles of the wheels of an axle, by size class, mm")] = field(
        default_factory=lambda: {"midsize": 1570.0, "fullsize": 1720.0, "truck": 1650.0}
    )


class LimitSettings(Struct, frozen=True, forbid_unknown_fields=True):
    """How margins are judged (common practice unless a source is named)."""

    level: Annotated[float, Meta(gt=0, lt=1, description="share of outcomes between low and high")] = 0.9
    may_be_over_p: Annotated[
        float, Meta(gt=0, lt=1, description="chance of going over a limit from which the verdict is 'may be over'")
    ] = 0.05
    near_margin_kg: Annotated[float, Meta(ge=0, description="a margin under this is near the limit, kg")] = 100.0
    near_p: Annotated[float, Meta(gt=0, lt=1, description="a chance of going over above this is near the limit")] = 0.1
    side_share: Annotated[float, Meta(ge=0.5, le=1, description="largest share of the laden mass on one side (common practice)")] = 0.52
    shop_bodies_kg: Annotated[
        dict[str, float], Meta(description="tray plus canopy above this is not built on that size class, kg (common practice)")
    ] = field(default_factory=lambda: {"midsize": 700.0})
    coupling_counts: Annotated[bool, Meta(description="the tow ball counts as rear overhang (confirm locally)")] = False


class LeverSettings(Struct, frozen=True, forbid_unknown_fields=True):
    """Which changes may be proposed, and how many."""

    length_step_mm: Annotated[float, Meta(gt=0, description="step in which a body is made shorter, mm")] = 50.0
    most_steps: Annotated[int, Meta(ge=0, le=40, description="most steps a body is made shorter")] = 6
    shortest_body_mm: Annotated[float, Meta(gt=0, description="no body is made shorter than this, mm")] = 600.0
    most_changes: Annotated[int, Meta(ge=1, le=12, description="most changes in one proposal")] = 4
    alternatives: Annotated[int, Meta(ge=1, le=50, description="proposals shown for a job")] = 5
    move: Annotated[int, Meta(ge=1, le=99, description="how unwelcome it is to move an item, beside others of as many changes")] = 1
    fewer: Annotated[int, Meta(ge=1, le=99, description="the same for one fewer of the same")] = 3
    swap: Annotated[int, Meta(ge=1, le=99, description="the same for an item in place of another")] = 2
    shorter: Annotated[int, Meta(ge=1, le=99, description="the same for each step of length")] = 2
    leave_out: Annotated[int, Meta(ge=1, le=99, description="the same for leaving an item out")] = 5
    upgrade: Annotated[int, Meta(ge=1, le=99, description="the same for a certified upgrade")] = 4
    interaction_kg: Annotated[
        float, Meta(ge=0, description="what changes together may save beyond their sum, kg: sets this close are reckoned out in full")
    ] = 5.0
    most_trials: Annotated[
        int, Meta(ge=1, le=1000, description="sets of more than three changes reckoned out in full for one vehicle and upgrade")
    ] = 12
