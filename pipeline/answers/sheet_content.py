"""What a customer's sheet says, as plain frozen values: filled by `answers.sheets`, set in type by `paper.sheet`.

Nothing here names another customer, a job, a price or a note; whoever fills it keeps to that.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from pipeline.pictures.drawing import Drawing


@dataclass(frozen=True)
class FitoutLine:
    """One item: the key written on the drawing, what it is, how many, where."""

    key: str
    label: str
    qty: float = 1.0
    place: str = ""


@dataclass(frozen=True)
class SheetBody:
    """One body: what it is, its drawing, what is in it, and its mass in kg with the interval of `SheetContent.level`.

    `stands_on` says in a sentence what the mass rests on; `standing` is `inside`, `edge` or `outside` of history,
    empty where the mass was weighed or drawn.
    """

    heading: str
    drawing: Drawing
    fitout: tuple[FitoutLine, ...]
    mass_kg: float | None
    low_kg: float | None
    high_kg: float | None
    mass_from: str
    stands_on: str
    standing: str = ""
    why: str = ""


@dataclass(frozen=True)
class LoadLine:
    """One thing on the vehicle, kg (negative: comes off), with its basis; `group` is one of the order of the list."""

    group: str
    label: str
    kg: float
    basis: str


@dataclass(frozen=True)
class LimitLine:
    """One row of a check, in the limit's own unit; None is not known."""

    limit: str
    unit: str
    value: float | None
    low: float | None
    high: float | None
    rating: float | None
    margin: float | None
    p_over: float | None
    verdict: str
    why: str


@dataclass(frozen=True)
class LeftOver:
    """What is left for people, luggage and ball with a full tank, kg with its interval; None where it is not known."""

    kg: float | None
    low_kg: float | None
    high_kg: float | None
    why: str = ""


@dataclass(frozen=True)
class SheetContent:
    """Everything on the sheet of one draft.

    `code` finds the draft again where it was saved; `dated_on` is the day the sheet is of, never the clock's.
    `price` is empty unless the settings let customers see prices.
    """

    workshop: str
    draft: str
    vehicle: str
    upgrade: str
    bodies: tuple[SheetBody, ...]
    left: LeftOver
    loads: tuple[LoadLine, ...]
    limits: tuple[LimitLine, ...]
    assumptions: tuple[str, ...]
    may_add: tuple[str, ...]
    cautions: tuple[str, ...]
    edition: str
    records_to: dt.date | None
    dated_on: dt.date
    code: str
    level: float = 0.9
    logo: Path | None = None
    price: str = ""
