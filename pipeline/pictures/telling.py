"""A drawing in words: the sentence that stands in for it, and what a reader must know beside it."""

from __future__ import annotations

from collections import Counter

from pipeline.pictures.shape import BodyShape
from pipeline.pictures.units import METRIC, length, length_said, plain


def describe(shape: BodyShape, units: str = METRIC) -> str:
    """One sentence or two that say what the picture shows, for whoever cannot see it."""
    height = f", {length_said(shape.height_mm, units)} high" if shape.height_mm else ""
    doors = f", {shape.doors} side door{'s' if shape.doors != 1 else ''}" if shape.doors else ""
    said = f"A {shape.kind}, {length_said(shape.length_mm, units)} long, {length_said(shape.width_mm, units)} wide{height}{doors}"
    said += f", with {_items_said(shape)}." if shape.items else ", without fit-out."
    if shape.rear_axle_mm is not None:
        where = "behind" if shape.rear_axle_mm >= 0 else "ahead of"
        said += f" The rear axle runs {length_said(abs(shape.rear_axle_mm), units)} {where} the body's front face."
    if shape.centre is not None:
        centre = shape.centre
        low, high = plain(length(centre.x_low_mm, units)), plain(length(centre.x_high_mm, units))
        said += f" Its centre of mass is about {length_said(centre.x_mm, units)} behind the front face ({low} to {high})"
        said += f" and {length_said(abs(centre.y_mm), units)} {'right' if centre.y_mm >= 0 else 'left'} of the middle."
    return said


def _items_said(shape: BodyShape) -> str:
    places = Counter((mark.label, _place_said(mark.side, mark.level)) for mark in shape.items)
    said = [f"{label}{f' (×{count})' if count > 1 else ''} {place}" for (label, place), count in places.items()]
    return said[0] if len(said) == 1 else ", ".join(said[:-1]) + " and " + said[-1]


def _place_said(side: str, level: str) -> str:
    if level == "roof":
        return "on the roof"
    if level == "under":
        return "underneath"
    return "in the middle" if side == "middle" else f"on the {side}"


def notes_of(shape: BodyShape) -> tuple[str, ...]:
    """What a reader must know beside the picture: what is not to scale, and what was not known."""
    notes = []
    if shape.items:
        notes.append("Blocks show where an item sits, not how large it is; heights in the side views are indicative.")
    if shape.zones_used:
        notes.append("Items without an exact place are drawn in the middle of their zone.")
    if shape.doors:
        notes.append("Doors are drawn evenly over the sides.")
    if shape.rear_axle_mm is not None and not -0.02 <= shape.rear_axle_mm / shape.length_mm <= 1.02:
        notes.append("The rear axle lies outside the body and is not drawn.")
    return tuple(notes)
