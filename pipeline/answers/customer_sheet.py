"""A sheet as a customer gets it from their own screen: the same figures in the steps of `answers.customer`, margins rounded down."""

from __future__ import annotations

from dataclasses import replace

from pipeline.answers.customer import STEP_KG, down, up
from pipeline.answers.sheet_content import LeftOver, LimitLine, LoadLine, SheetBody, SheetContent
from pipeline.answers.sheet_words import what_may_be_added

_ROUNDED = f"Masses are rounded to {STEP_KG:g} kg and margins down to it, so that a sum may differ by a little."


def in_steps(content: SheetContent, covered: bool) -> SheetContent:
    """The sheet in steps of STEP_KG.

    Args:
        covered: whether history covers the draft, as a customer may be told it.
    """
    limits = tuple(map(_limit, content.limits))
    return replace(
        content,
        bodies=tuple(_body(body, covered) for body in content.bodies),
        left=_left(content.left),
        loads=tuple(map(_load, content.loads)),
        limits=limits,
        may_add=what_may_be_added(limits),
        assumptions=(*content.assumptions, _ROUNDED),
    )


def _body(body: SheetBody, covered: bool) -> SheetBody:
    mass = None if body.mass_kg is None else round(body.mass_kg / STEP_KG) * STEP_KG
    standing = ("inside" if covered else "outside") if body.standing else ""
    return replace(body, mass_kg=mass, low_kg=_down(body.low_kg), high_kg=_up(body.high_kg), standing=standing)


def _left(left: LeftOver) -> LeftOver:
    return replace(left, kg=_down(left.kg), low_kg=_down(left.low_kg), high_kg=_up(left.high_kg))


def _load(line: LoadLine) -> LoadLine:
    return replace(line, kg=round(line.kg / STEP_KG) * STEP_KG)


def _limit(line: LimitLine) -> LimitLine:
    """Ratings stay as the vehicle's plate has them; what is on them follows from the rounded margins."""
    if line.unit != "kg" or line.rating is None or line.value is None:
        return line
    rating = line.rating
    margin, low, high = (
        None if value is None else to(rating - value) for value, to in ((line.value, down), (line.low, up), (line.high, down))
    )
    ends = [None if one is None else rating - one for one in (margin, low, high)]
    return replace(line, value=ends[0], low=ends[1], high=ends[2], margin=margin)


def _down(kg: float | None) -> float | None:
    return None if kg is None else down(kg)


def _up(kg: float | None) -> float | None:
    return None if kg is None else up(kg)
