"""Draw one body: its size, its sheet, and what goes into it where."""

from __future__ import annotations

import random
from datetime import date

from .catalogue import COLOURS, ITEMS, LATECOMER, USUAL_LENGTHS_MM, Item, Style
from .job import Body, Line

_CLASHES = (
    ("cook-gas", "cook-induction"),
    ("awning-side", "awning-wrap"),
    ("ladder-rack", "bars"),
    ("ladder-rack", "sun-200"),
    ("ladder-rack", "tent-rail"),
)


def draw_body(
    rng: random.Random, kind: str, style: Style, vehicle: dict[str, str], kinds: list[str], drawing: str, day: date, length_mm: int = 0
) -> Body:
    """A new body of that kind in that style.

    Args:
        kinds: all bodies of the job; a canopy beside a tray stands on it.
        drawing: number of its drawing.
        length_mm: its length; 0: a usual one.
    """
    length = length_mm or _length(rng, kind, vehicle, kinds)
    tray = kind == "tray"
    on_tray = not tray and "tray" in kinds
    truck, full = vehicle["size_class"] == "truck", vehicle["size_class"] == "fullsize"
    body = Body(
        body=kind,
        style=style.name,
        length_mm=length,
        width_mm=rng.choice((2080, 2150, 2240)) if truck else rng.choice((1850, 1910)) if full else rng.choice((1740, 1770, 1770, 1840)),
        height_mm=None if tray else rng.choice((1550, 1720, 1900)) if kind == "box" else rng.choice((810, 860, 860, 910, 1010)),
        sheet_mm=None if tray else rng.choice((2.0, 2.0, 2.5, 2.5, 2.5, 3.0)),
        floor_mm=rng.choice((3.0, 3.0, 4.0)) if tray else rng.choice((2.5, 3.0)),
        doors=None if tray else rng.choices((1, 2, 3, 4), (10, 68, 12, 10))[0],
        painted=rng.random() < 0.55,
        colour=rng.choice(COLOURS),
        sits_on="tray" if on_tray else "chassis",
        offset_mm=_offset(rng, kind, kinds),
        drawing=drawing + rng.choice(("", "", " r2", " r3")),
    )
    body.lines = _lines(rng, style, body, day)
    return body


def _length(rng: random.Random, kind: str, vehicle: dict[str, str], kinds: list[str]) -> int:
    usual = USUAL_LENGTHS_MM[kind.split("-")[0], vehicle["cab"]]
    if "canopy-2" in kinds and kind.startswith("canopy"):
        return rng.choice((1050, 1150))
    length = rng.choice(usual)
    if kind == "tray" and vehicle["size_class"] == "truck":
        length += rng.choice((700, 1200))
    if vehicle["vehicle_id"] == "ALD-65":
        length += 600
    return length + (round(rng.gauss(0, 45)) if rng.random() < 0.35 else 0)


def _offset(rng: random.Random, kind: str, kinds: list[str]) -> int:
    if kind == "canopy-2":
        return 1240
    return rng.choice((20, 40, 60)) if kind == "canopy" and "tray" in kinds else rng.choice((0, 0, 30))


def _lines(rng: random.Random, style: Style, body: Body, day: date) -> list[Line]:
    wanted = [name for name in style.core.split() if rng.random() < 0.95]
    taste = rng.random()
    wanted += [name for name in style.often.split() if rng.random() < 0.25 + 0.75 * taste]
    wanted += _odds_and_ends(rng, style, taste, day)
    wanted = [name for name in wanted if day.isoformat() <= _item(name).more.get("retired_on", "9999")]
    for first, second in _CLASHES:
        if first in wanted and second in wanted:
            wanted = [name for name in wanted if name != second]
    wanted = _with_needs([name for name in wanted if body.length_mm >= float(_item(name).more.get("shortest_mm", 0))])
    mirror = rng.choice((-1, 1))
    sides: dict[str, int] = {}
    for name in wanted:
        sides.setdefault(name, _side(rng, _item(name), mirror))
    return [_line(rng, _item(name), wanted.count(name), sides[name], body) for name in sides]


def _with_needs(wanted: list[str]) -> list[str]:
    """What an item needs is there too; a larger battery stands in for a smaller one."""
    whole = list(wanted)
    for name in whole:
        whole += [needed for needed in _item(name).more.get("needs", "").split() if needed not in whole]
    for larger, smaller in (("lith-240", "lith-120"), ("inverter-3000", "inverter-1500")):
        if larger in whole:
            whole = [name for name in whole if name != smaller]
    return whole


def _item(name: str) -> Item:
    return ITEMS.get(name, LATECOMER)


def _odds_and_ends(rng: random.Random, style: Style, taste: float, day: date) -> list[str]:
    if style.kind != "canopy" or style.name == "plain":
        return []
    strangers = [
        name
        for name in ("can-arm", "rungs", "mesh-window", "hatch", "tool-bank", "drawer-l", "lamp", "mat", "felt")
        if name not in style.core
    ]
    picked = [name for name in strangers if rng.random() < 0.35 * (0.2 + taste)]
    if "tourer" in style.name and day > date(2026, 2, 1) and rng.random() < 0.2:
        picked.append(LATECOMER.item_id)
    return picked


def _side(rng: random.Random, item: Item, mirror: int) -> int:
    """Kitchens go on the kerb side, fridge and pantry opposite; one body in two is the other way round."""
    if item.side not in ("free", "outer"):
        return 0
    if item.group in ("kitchen",):
        return mirror
    if item.group in ("fridge", "pantry", "drawer"):
        return -mirror if rng.random() < 0.85 else mirror
    return mirror if rng.random() < 0.5 else -mirror


def _line(rng: random.Random, item: Item, qty: int, side: int, body: Body) -> Line:
    x = round(body.length_mm * item.along + rng.gauss(0, 22))
    y = round(side * body.width_mm * (0.5 if item.side == "outer" else 0.28))
    if item.side in ("roof", "under"):
        return Line(item.item_id, qty, side, x, y, "roof" if item.side == "roof" else "under-tray")
    place = ("front", "mid", "rear")[min(2, max(0, int(3 * x / body.length_mm)))]
    return Line(item.item_id, qty, side, x, y, f"{('left', 'middle', 'right')[side + 1]}-{place}")
