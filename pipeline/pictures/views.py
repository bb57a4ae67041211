"""The views of a body: where each thing stands on the picture, in millimetres, before anything is drawn.

Plan: seen from above, front to the left, so that the body's right side is at the top. Left and right side: as somebody
sees them who stands beside the body. Rear: as somebody sees it who stands behind.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.pictures.arrange import arranged
from pipeline.pictures.shape import BodyShape, ItemMark

VIEW_NAMES = {"plan": "from above", "left": "left side", "right": "right side", "rear": "from behind"}

_SIZES_MM: dict[str, tuple[float, float, float]] = {
    "fridge": (500, 620, 480),
    "pantry": (380, 480, 700),
    "kitchen": (560, 460, 340),
    "drawer": (520, 560, 240),
    "power": (340, 320, 260),
    "water": (460, 340, 280),
    "storage": (480, 420, 380),
    "lining": (220, 480, 600),
    "door": (240, 560, 600),
    "outside": (320, 280, 320),
    "roof": (620, 620, 120),
    "under-tray": (560, 380, 220),
}
"""Along, across and up, mm: records carry an item's place and not its size, so a block says where, not how large."""

_HEIGHT_SHARE: dict[str, float] = {"drawer": 0.22, "power": 0.3, "water": 0.2, "fridge": 0.36, "kitchen": 0.58, "storage": 0.62}
"""Middle of an inside item above the floor, as a share of the height; indicative, since records carry no height of items."""


@dataclass(frozen=True)
class Block:
    """An item's block on one view, px: centre, size, and where the item really sits."""

    mark: ItemMark
    x: float
    y: float
    width: float
    height: float
    true_x: float
    true_y: float


@dataclass(frozen=True)
class View:
    """One view: its own frame on the picture and the scale from mm to px.

    `left` and `top` are the px of the body's outline; `over_px` and `under_px` are the room for what sits on the roof
    and under the body.
    """

    name: str
    left: float
    top: float
    width: float
    height: float
    scale: float
    over_px: float = 0.0
    under_px: float = 0.0

    def across(self, shape: BodyShape, x_mm: float, y_mm: float) -> float:
        """Px from the left of the picture of a point of the body."""
        along = {"plan": x_mm, "left": x_mm, "right": shape.length_mm - x_mm, "rear": shape.width_mm / 2 + y_mm}[self.name]
        return self.left + along * self.scale

    def down_plan(self, shape: BodyShape, y_mm: float) -> float:
        """Px from the top of the picture of a point y mm right of the centre line, on the plan."""
        return self.top + (shape.width_mm / 2 - y_mm) * self.scale

    def shows(self, mark: ItemMark) -> bool:
        """Whether an item is drawn here: a side shows what is reached from it, the roof and what hangs underneath."""
        return self.name in ("plan", "rear") or mark.side == self.name or mark.level != "inside"


def blocks(view: View, shape: BodyShape, least_px: float) -> list[Block]:
    """Blocks of all items that this view shows, none covering another while there is room."""
    shown = [mark for mark in shape.items if view.shows(mark)]
    if view.name == "plan":
        return _spread_blocks(view, shape, shown, (view.left, view.top, view.width, view.height), least_px)
    made: list[Block] = []
    bands = {
        "roof": (view.left, view.top - view.over_px, view.width, view.over_px),
        "inside": (view.left, view.top, view.width, view.height),
        "under": (view.left, view.top + view.height, view.width, view.under_px),
    }
    for level, band in bands.items():
        made += _spread_blocks(view, shape, [mark for mark in shown if mark.level == level], band, least_px)
    return made


def _spread_blocks(
    view: View, shape: BodyShape, marks: Sequence[ItemMark], band: tuple[float, float, float, float], least_px: float
) -> list[Block]:
    if not marks:
        return []
    left, top, width, height = band
    true = np.array([_true_place(view, shape, mark, band) for mark in marks])
    wanted = np.array([_size_mm(view, mark) for mark in marks]) * view.scale
    corner = np.array([left, top])
    centres, sizes = arranged(true - corner, wanted, (width, height), least_px, gap=1.0)
    placed = centres + corner
    return [
        Block(mark, *map(float, centre), *map(float, size), *map(float, place))
        for mark, centre, size, place in zip(marks, placed, sizes, true, strict=True)
    ]


def _true_place(view: View, shape: BodyShape, mark: ItemMark, band: tuple[float, float, float, float]) -> tuple[float, float]:
    across = view.across(shape, mark.x_mm, mark.y_mm)
    if view.name == "plan":
        return across, view.down_plan(shape, mark.y_mm)
    share = _HEIGHT_SHARE.get(mark.group or "", 0.5) if mark.level == "inside" else 0.5
    return across, band[1] + band[3] * (1 - share)


def _size_mm(view: View, mark: ItemMark) -> tuple[float, float]:
    along, across, up = _SIZES_MM.get(mark.group or "", (360.0, 360.0, 300.0))
    along = mark.length_mm or along
    return {"plan": (along, across), "rear": (across, up)}.get(view.name, (along, up))
