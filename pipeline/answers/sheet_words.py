"""Sentences of the customer's sheet: what was on board, what was assumed, what more a limit bears."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.answers.sheet_content import LimitLine
from pipeline.loads.marks import Mark
from pipeline.pictures.charts.limits import LIMIT_NAMES
from pipeline.pictures.units import plain
from pipeline.settings_loads import TravelLoad

_MASS_LIMITS = ("gvm", "front_axle", "rear_axle", "front_tyres", "rear_tyres")
ASSUMED: dict[Mark, str] = {
    Mark.COMMON_SPREAD: "a vehicle may weigh somewhat more or less than its maker says",
    Mark.BASIS_UNKNOWN: "the maker's figure is with a full tank",
    Mark.TUB_UNKNOWN: "nothing comes off with the factory tub",
    Mark.TUB_PLACE: "the factory tub sits over the rear axle",
    Mark.TANK_UNKNOWN: "the fuel on board is what the maker's figure holds",
    Mark.TANK_PLACE: "the fuel tank sits where it usually does",
    Mark.FUEL_KIND: "it runs on diesel",
    Mark.TICKET_FUEL: "the fuel on board at the weighbridge was a middling amount",
    Mark.FRONT_SEAT: "the front seats are where they usually are",
    Mark.REAR_SEAT: "the rear seats are where they usually are",
    Mark.NO_REAR_SEAT: "whoever was to sit behind sits in front, since there are no rear seats",
    Mark.UPGRADE_UNKNOWN: "the upgrade itself weighs nothing",
    Mark.UPGRADE_PLACE: "the upgrade's parts sit over the rear axle",
    Mark.OFFSET: "the body stands close behind the cab",
    Mark.BODY_CENTRE: "a body's weight is in the middle of its length",
    Mark.LINE_PLACE: "parts without a known place sit over the rear axle",
    Mark.LINE_FIRST: "parts put on by a dealer were on when it was first weighed",
    Mark.EXTRA_PLACE: "extras without a place sit over the rear axle",
    Mark.WATER_PLACE: "water without a tank of its own rides under the middle of the tray",
    Mark.SPLIT: "the empty vehicle stands on its axles as such vehicles usually do",
    Mark.TRACK: "the wheels stand as far apart as on such vehicles",
    Mark.SEATS_BY_CAB: "it has as many seats as such cabs usually have",
    Mark.TICKET_PLACES: "water and loose things at the weighbridge were over the rear axle",
}
"""What was assumed, in a customer's words; each follows "We took it that"."""


def assumed(marks: int) -> tuple[str, ...]:
    """A sentence for each assumption among the marks of a check.

    >>> assumed(int(Mark.TUB_PLACE | Mark.KERB))
    ('We took it that the factory tub sits over the rear axle.',)
    """
    return tuple(f"We took it that {said}." for mark, said in ASSUMED.items() if mark in Mark(marks))


def travel_said(travel: TravelLoad) -> str:
    """The travel load in a sentence.

    >>> travel_said(TravelLoad())
    'On board: 2 people (80 kg front right, 60 kg front left), 50 kg of luggage, no water, the tank full, no trailer.'
    """
    people = ", ".join(f"{plain(one.kg)} kg {one.seat} {one.side}" for one in travel.people)
    count = len(travel.people)
    said = [f"{count} {'person' if count == 1 else 'people'} ({people})" if count else "nobody"]
    said.append(f"{plain(travel.luggage_kg)} kg of luggage" if travel.luggage_kg else "no luggage")
    said.append(f"{plain(travel.water_l)} l of water" if travel.water_l else "no water")
    said += [f"{one.label} ({plain(one.kg)} kg)" for one in travel.extra]
    said.append("the tank full" if travel.fuel_fraction == 1 else f"the tank {100 * travel.fuel_fraction:.0f} % full")
    trailer = f"a trailer of {plain(travel.trailer_kg)} kg with {plain(travel.ball_kg)} kg on the ball"
    said.append(trailer if travel.trailer_kg or travel.ball_kg else "no trailer")
    return f"On board: {', '.join(said)}."


def what_may_be_added(limits: Sequence[LimitLine]) -> tuple[str, ...]:
    """What may still come on board with the travel load on, by the whole vehicle and by its tightest axle or tyres."""
    by_name = {line.limit: line for line in limits}
    known = [by_name[name] for name in _MASS_LIMITS if by_name[name].margin is not None and by_name[name].verdict != "unknown"]
    whole = [line for line in known if line.limit == "gvm"]
    others = sorted((line for line in known if line.limit != "gvm"), key=lambda line: line.margin or 0.0)
    return tuple(may_still(line) for line in [*whole, *others[:1]])


def may_still(line: LimitLine) -> str:
    """What more one limit bears, in a sentence."""
    name = LIMIT_NAMES[line.limit]
    if (line.margin or 0.0) <= 0:
        return f"Nothing more on the {name}: it is {plain(-(line.margin or 0.0))} kg over its rating."
    least = (line.rating or 0.0) - (line.high or line.value or 0.0)
    careful = f", or {plain(least)} kg should it come out heavy" if least > 0 else ", or nothing should it come out heavy"
    return f"With all that on board, about {plain(line.margin)} kg more on the {name}{careful}."
