"""What a figure rests on, what was assumed and what is missing: one bit a mark, so that a hundred thousand drafts carry them."""

from __future__ import annotations

from collections.abc import Iterator
from enum import IntFlag, auto

import numpy as np


class Mark(IntFlag):
    """Bases, assumptions and gaps of a computation; `TEXTS` says each in words."""

    BARE_TICKET = auto()
    ARRIVED_TICKET = auto()
    FINISHED_TICKET = auto()
    KERB = auto()
    TARE = auto()
    RUNNING_ORDER = auto()
    VARIANT_SPREAD = auto()
    COMMON_SPREAD = auto()
    BODY_WEIGHED = auto()
    BODY_TICKETS = auto()
    BODY_DRAWN = auto()
    BODY_ESTIMATED = auto()
    BODY_OUTSIDE = auto()
    BASIS_UNKNOWN = auto()
    TUB_UNKNOWN = auto()
    TUB_PLACE = auto()
    TANK_UNKNOWN = auto()
    TANK_PLACE = auto()
    FUEL_KIND = auto()
    TICKET_FUEL = auto()
    FRONT_SEAT = auto()
    REAR_SEAT = auto()
    NO_REAR_SEAT = auto()
    UPGRADE_UNKNOWN = auto()
    UPGRADE_PLACE = auto()
    OFFSET = auto()
    BODY_CENTRE = auto()
    LINE_PLACE = auto()
    LINE_FIRST = auto()
    EXTRA_PLACE = auto()
    WATER_PLACE = auto()
    SPLIT = auto()
    TRACK = auto()
    SEATS_BY_CAB = auto()
    TICKET_PLACES = auto()
    NO_EMPTY = auto()
    NO_WHEELBASE = auto()
    NO_HEADBOARD = auto()
    NO_BODY_KG = auto()
    NO_BALL_PLACE = auto()
    NO_RATING = auto()
    NO_COUNTRY = auto()
    NO_RULE = auto()
    NO_DECK = auto()
    NO_SEATS = auto()
    NO_BODY = auto()
    NO_SHOP_RULE = auto()
    NO_TOWBAR = auto()
    LIGHT_TRAILER = auto()


TEXTS: dict[Mark, str] = {
    Mark.BARE_TICKET: "vehicle by its own ticket, bare",
    Mark.ARRIVED_TICKET: "vehicle by its own ticket, as it arrived",
    Mark.FINISHED_TICKET: "vehicle and bodies by the ticket of the finished job",
    Mark.KERB: "vehicle by the maker's kerb mass (full tank)",
    Mark.TARE: "vehicle by the maker's tare mass (10 l of fuel)",
    Mark.RUNNING_ORDER: "vehicle by the maker's mass in running order (90 % of fuel, driver)",
    Mark.VARIANT_SPREAD: "corrected and spread as this variant's tickets were",
    Mark.COMMON_SPREAD: "spread about the maker's figure assumed",
    Mark.BODY_WEIGHED: "body by its own scale",
    Mark.BODY_TICKETS: "body by the difference of tickets",
    Mark.BODY_DRAWN: "body by its drawing",
    Mark.BODY_ESTIMATED: "body by the mass estimate",
    Mark.BODY_OUTSIDE: "a body's estimate is outside of what history covers",
    Mark.BASIS_UNKNOWN: "assumed: the maker's figure is a kerb mass",
    Mark.TUB_UNKNOWN: "assumed: nothing leaves with a tub, its mass is not known",
    Mark.TUB_PLACE: "assumed: tub over the rear axle",
    Mark.TANK_UNKNOWN: "assumed: no fuel added or taken off, the tank is not known",
    Mark.TANK_PLACE: "assumed: place of the tank",
    Mark.FUEL_KIND: "assumed: diesel",
    Mark.TICKET_FUEL: "assumed: fuel on the ticket, widened",
    Mark.FRONT_SEAT: "assumed: place of the front seats",
    Mark.REAR_SEAT: "assumed: place of the rear seats",
    Mark.NO_REAR_SEAT: "no rear seats in a single cab: taken on the front ones",
    Mark.UPGRADE_UNKNOWN: "assumed: the upgrade weighs nothing, its mass is not known",
    Mark.UPGRADE_PLACE: "assumed: upgrade's mass over the rear axle",
    Mark.OFFSET: "assumed: no gap between headboard and body",
    Mark.BODY_CENTRE: "assumed: a body's centre at half its length",
    Mark.LINE_PLACE: "assumed: a part without a place over the rear axle",
    Mark.LINE_FIRST: "assumed by who put it on: whether a part was on the first ticket",
    Mark.EXTRA_PLACE: "assumed: an extra without a place over the rear axle",
    Mark.WATER_PLACE: "assumed: water at the under-tray middle",
    Mark.SPLIT: "assumed: front and rear share of the empty vehicle",
    Mark.TRACK: "assumed: track",
    Mark.SEATS_BY_CAB: "assumed: seats by the kind of cab",
    Mark.TICKET_PLACES: "assumed: water and other things on the ticket over the rear axle",
    Mark.NO_EMPTY: "the vehicle's empty mass is not known",
    Mark.NO_WHEELBASE: "the wheelbase is not known",
    Mark.NO_HEADBOARD: "headboard to rear axle is not known",
    Mark.NO_BODY_KG: "a body has no mass yet",
    Mark.NO_BALL_PLACE: "rear axle to ball is not known",
    Mark.NO_RATING: "the rating is not known",
    Mark.NO_COUNTRY: "no country is set",
    Mark.NO_RULE: "no such rule is encoded for that country",
    Mark.NO_DECK: "the deck's height is not known",
    Mark.NO_SEATS: "the number of seats is not known",
    Mark.NO_BODY: "no body",
    Mark.NO_SHOP_RULE: "the workshop has no rule for that size class",
    Mark.NO_TOWBAR: "the tow bar's rating is not known",
    Mark.LIGHT_TRAILER: "the ball mass is more than the whole trailer",
}

_ALONG = (
    Mark.TUB_PLACE | Mark.TANK_PLACE | Mark.FRONT_SEAT | Mark.REAR_SEAT | Mark.NO_REAR_SEAT | Mark.UPGRADE_PLACE | Mark.OFFSET
    | Mark.BODY_CENTRE | Mark.LINE_PLACE | Mark.EXTRA_PLACE | Mark.WATER_PLACE | Mark.SPLIT | Mark.TICKET_PLACES
)  # fmt: skip
ON_BODIES = Mark.BODY_WEIGHED | Mark.BODY_TICKETS | Mark.BODY_DRAWN | Mark.BODY_ESTIMATED | Mark.BODY_OUTSIDE
"""Marks that bear on the mass of bodies."""
ON_VEHICLE = ON_BODIES | (
    Mark.BARE_TICKET | Mark.ARRIVED_TICKET | Mark.FINISHED_TICKET | Mark.KERB | Mark.TARE | Mark.RUNNING_ORDER | Mark.VARIANT_SPREAD
    | Mark.COMMON_SPREAD | Mark.BASIS_UNKNOWN | Mark.TUB_UNKNOWN | Mark.TANK_UNKNOWN | Mark.FUEL_KIND | Mark.TICKET_FUEL
    | Mark.UPGRADE_UNKNOWN | Mark.LINE_FIRST
)  # fmt: skip
"""Marks that bear on the mass of the whole vehicle."""
ON_AXLES = ON_VEHICLE | _ALONG
"""Marks that bear on an axle."""


def marks_at(mask: np.ndarray, mark: Mark, size: int) -> np.ndarray:
    """(size,) int64 with `mark` where `mask` is true."""
    return np.broadcast_to(np.asarray(mask, bool), (size,)).astype(np.int64) * int(mark)


def words(mask: int) -> Iterator[str]:
    """The texts of a mask: gaps and assumptions after bases, in the order of declaration."""
    return (text for mark, text in TEXTS.items() if mask & mark)


def texts_of(masks: np.ndarray) -> np.ndarray:
    """One text a mask, joined by semicolons; object array in the shape of `masks`."""
    kinds, back = np.unique(masks, return_inverse=True)
    found = np.empty(len(kinds), dtype=object)
    found[:] = ["; ".join(words(int(mask))) for mask in kinds]
    return found[back.reshape(masks.shape)]
