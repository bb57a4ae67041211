"""What a drawing knows of a body: plain frozen values, made from the rows of the records or of a draft.

Frame of a body: x in mm behind its front face, y in mm from the centre line, positive right, z in mm above its underside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.mass.bodies import zone_fractions
from pipeline.pictures.palette import group_mark
from pipeline.settings_mass import MassSettings

TRAY_DECK_MM = 120.0
"""Depth of a tray's deck as it is drawn: records carry no height for a tray, and a line would not hold a colour."""


@dataclass(frozen=True)
class ItemMark:
    """One line of the fit-out, at its place.

    `level` is `inside`, `roof` or `under`. `given` is False where the place is only the middle of its zone.
    """

    key: str
    label: str
    group: str | None
    x_mm: float
    y_mm: float
    side: str
    level: str
    qty: float = 1.0
    length_mm: float | None = None
    given: bool = False


@dataclass(frozen=True)
class Centre:
    """Centre of mass with its interval, mm in the body's frame."""

    x_mm: float
    x_low_mm: float
    x_high_mm: float
    y_mm: float
    y_low_mm: float
    y_high_mm: float
    z_mm: float | None = None


@dataclass(frozen=True)
class BodyShape:
    """A body, its items, and where the vehicle's rear axle runs under it (`None` where not known)."""

    kind: str
    length_mm: float
    width_mm: float
    height_mm: float | None
    doors: int
    items: tuple[ItemMark, ...]
    rear_axle_mm: float | None = None
    front_axle_mm: float | None = None
    centre: Centre | None = None
    zones_used: bool = False

    @property
    def drawn_height_mm(self) -> float:
        """Height of the side view: the body's own, or a deck's depth for a tray."""
        return self.height_mm or TRAY_DECK_MM


def body_shape(
    body: Mapping[str, Any],
    fitout: Sequence[Mapping[str, Any]],
    items: Mapping[str, Mapping[str, Any]],
    vehicle: Mapping[str, Any] | None = None,
    centre: Centre | None = None,
    settings: MassSettings | None = None,
) -> BodyShape:
    """The drawable shape of one body.

    Args:
        body: a row of `bodies`; needs body (or kind), length_mm, width_mm.
        fitout: its rows of `fitout`, in the order of the list.
        items: rows of `items` by item_id; an unknown item is drawn without a group, under its id.
        vehicle: a row of `vehicles`, with an upgrade's wheelbase already in it.
        settings: places of zones; None takes the defaults.
    """
    settings = settings or MassSettings()
    length_mm, width_mm = float(body["length_mm"]), float(body["width_mm"])
    marks = tuple(
        _mark(number, row, items.get(str(row.get("item_id")), {}), length_mm, width_mm, settings)
        for number, row in enumerate(fitout, start=1)
    )
    return BodyShape(
        kind=str(body.get("kind") or body["body"]).split("-")[0],
        length_mm=length_mm,
        width_mm=width_mm,
        height_mm=_number(body.get("height_mm")),
        doors=int(_number(body.get("doors")) or 0),
        items=marks,
        centre=centre,
        zones_used=any(not mark.given for mark in marks),
        **_axles(body, vehicle or {}),
    )


def _axles(body: Mapping[str, Any], vehicle: Mapping[str, Any]) -> dict[str, float | None]:
    headboard_mm, wheelbase_mm = _number(vehicle.get("headboard_to_rear_axle_mm")), _number(vehicle.get("wheelbase_mm"))
    if headboard_mm is None:
        return {"rear_axle_mm": None, "front_axle_mm": None}
    rear_mm = headboard_mm - (_number(body.get("offset_mm")) or 0.0)
    return {"rear_axle_mm": rear_mm, "front_axle_mm": None if wheelbase_mm is None else rear_mm - wheelbase_mm}


def _mark(
    number: int, row: Mapping[str, Any], item: Mapping[str, Any], length_mm: float, width_mm: float, settings: MassSettings
) -> ItemMark:
    group, zone = item.get("group"), row.get("zone") or ""
    zone_x_mm, zone_y_mm = zone_middle(zone, length_mm, width_mm, settings)
    x_mm, y_mm = _number(row.get("x_mm")), _number(row.get("y_mm"))
    y_drawn_mm = zone_y_mm if y_mm is None else y_mm
    return ItemMark(
        key=f"{group_mark(group)}{number}",
        label=str(item.get("label") or row.get("item_id") or "item"),
        group=group,
        x_mm=zone_x_mm if x_mm is None else x_mm,
        y_mm=y_drawn_mm,
        side=_side(zone, y_drawn_mm, width_mm),
        level=_level(zone, group),
        qty=_number(row.get("qty")) or 1.0,
        length_mm=_number(row.get("length_mm")),
        given=x_mm is not None and y_mm is not None,
    )


def zone_middle(zone: str, length_mm: float, width_mm: float, settings: MassSettings) -> tuple[float, float]:
    """Middle of a zone, mm behind the front face and right of the centre line; no zone is the body's middle.

    >>> zone_middle("left-rear", 1800, 1000, MassSettings())
    (1500.0, -280.0)
    """
    along, across = zone_fractions(np.array([zone or None], dtype=object), settings.place_fractions, settings.side_fraction)
    return float(along[0]) * length_mm, float(across[0]) * width_mm


def _side(zone: str, y_mm: float, width_mm: float) -> str:
    named = zone.partition("-")[0]
    if named in ("left", "right", "middle"):
        return named
    if abs(y_mm) < 0.1 * width_mm:
        return "middle"
    return "right" if y_mm > 0 else "left"


def _level(zone: str, group: str | None) -> str:
    if zone == "roof" or (not zone and group == "roof"):
        return "roof"
    if zone == "under-tray" or (not zone and group == "under-tray"):
        return "under"
    return "inside"


def _number(value: Any) -> float | None:
    """A float, or None for None and NaN."""
    if value is None or value != value:
        return None
    return float(value)
