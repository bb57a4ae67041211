"""A body drawn to scale, as SVG: one function for thumbnails, pages and the customer's sheet.

What is to scale: the body's outline, the rear axle's line, the centre of mass with its interval and the place of every
item. What is not: the size of an item's block and its height in a side view, and the doors' places, since records do
not carry them; `Drawing.notes` says so beside the picture.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.pictures import svg
from pipeline.pictures.palette import GROUP_MARKS, LIGHT, Look, group_colour, text_on
from pipeline.pictures.shape import BodyShape
from pipeline.pictures.telling import describe, notes_of
from pipeline.pictures.units import METRIC, length_said
from pipeline.pictures.views import VIEW_NAMES, Block, View, blocks


@dataclass(frozen=True)
class Size:
    """How large a drawing is and what it has room for; lengths in px of the picture."""

    width: float
    text: float
    margin: float
    columns: tuple[tuple[str, ...], ...]
    labelled: bool
    longest: float


THUMB = Size(width=160, text=8.5, margin=4, columns=(("plan",),), labelled=False, longest=160)
PAGE = Size(width=760, text=13, margin=34, columns=(("plan",), ("left", "right")), labelled=True, longest=760)
SHEET = Size(width=680, text=12, margin=32, columns=(("plan",), ("left", "right")), labelled=True, longest=470)
NARROW = Size(width=440, text=13, margin=26, columns=(("plan", "left", "right"),), labelled=True, longest=880)
"""One view above the other, for a column of a page or a telephone."""
SIZES = {"thumb": THUMB, "page": PAGE, "sheet": SHEET, "narrow": NARROW}


@dataclass(frozen=True)
class Drawing:
    """An SVG document with the sentence that stands in for it, and what a reader must know about it.

    `key` says what stands on the blocks: `(letters and number, item, colour)` of each.
    """

    svg: str
    alt: str
    notes: tuple[str, ...]
    key: tuple[tuple[str, str, str], ...]
    width_px: float
    height_px: float


def draw(
    shape: BodyShape,
    size: str | Size = "page",
    look: Look = LIGHT,
    title: str = "",
    columns: Sequence[Sequence[str]] = (),
    units: str = METRIC,
) -> Drawing:
    """Draw one body.

    Args:
        size: `thumb` (160 px wide), `page`, `sheet`, `narrow`, or a Size.
        title: what the picture is called for a screen reader; never drawn.
        columns: views in columns in place of the size's own, out of `plan left right rear`.
        units: `metric` (mm) or `imperial` (in).
    """
    size = SIZES[size] if isinstance(size, str) else size
    alt = describe(shape, units)
    views, height_px = _lay_out(shape, size, tuple(map(tuple, columns)) or size.columns)
    root = svg.root(size.width, height_px, title or f"{shape.kind} drawn to scale", alt)
    ground = svg.add(root, "g", font_family=look.font, font_size=size.text, fill=look.ink)
    svg.add(ground, "rect", x=0, y=0, width=size.width, height=height_px, fill=look.paper)
    for view in views:
        _Painter(ground, view, shape, size, look, units).paint()
    key = tuple((mark.key, mark.label, group_colour(mark.group)) for mark in shape.items)
    return Drawing(svg.to_text(root), alt, notes_of(shape), key, size.width, height_px)


def _lay_out(shape: BodyShape, size: Size, columns: tuple[tuple[str, ...], ...]) -> tuple[list[View], float]:
    """Views at one common scale, and the picture's height, px."""
    gap, head = size.margin, size.text * 2.2 if size.labelled else size.margin
    wide_mm = {"rear": shape.width_mm}
    widths_mm = [max(wide_mm.get(name, shape.length_mm) for name in column) for column in columns]
    scale = (size.width - gap * (len(columns) + 1)) / sum(widths_mm)
    room = size.text * 2 if size.labelled else size.text * 1.6
    over = room if any(mark.level == "roof" for mark in shape.items) else 0.0
    under = room if any(mark.level == "under" for mark in shape.items) else 0.0
    foot = size.text * 2.6 if size.labelled else size.margin

    def height_mm(name: str) -> float:
        return shape.width_mm if name == "plan" else shape.drawn_height_mm

    def extra(name: str) -> float:
        return 0.0 if name == "plan" else over + under

    mm = max(sum(height_mm(name) for name in column) for column in columns)
    px = max(sum(head + foot + extra(name) for name in column) for column in columns)
    scale = min(scale, max((size.longest - px) / mm, 0.02))
    left = (size.width - scale * sum(widths_mm) - gap * (len(columns) - 1)) / 2
    views, bottom = [], 0.0
    for column, width_mm in zip(columns, widths_mm, strict=True):
        top = 0.0
        for name in column:
            above, below = (0.0, 0.0) if name == "plan" else (over, under)
            own_mm = wide_mm.get(name, shape.length_mm)
            views.append(
                View(
                    name,
                    left + (width_mm - own_mm) / 2 * scale,
                    top + head + above,
                    own_mm * scale,
                    height_mm(name) * scale,
                    scale,
                    above,
                    below,
                )
            )
            top += head + above + height_mm(name) * scale + below + foot
        bottom, left = max(bottom, top), left + width_mm * scale + gap
    return views, bottom


@dataclass(frozen=True)
class _Painter:
    """Paints one view; the order of calls is the order of layers."""

    ground: ET.Element
    view: View
    shape: BodyShape
    size: Size
    look: Look
    units: str

    def paint(self) -> None:
        placed = blocks(self.view, self.shape, self.size.text * (1.9 if self.size.labelled else 1.3))
        self._outline()
        self._doors()
        self._axle()
        for paint in (self._block, self._leader, self._write_key):
            for block in placed:
                paint(block)
        self._centre()
        if self.size.labelled:
            self._labels()

    def _outline(self) -> None:
        view = self.view
        svg.add(
            self.ground,
            "rect",
            x=view.left,
            y=view.top,
            width=view.width,
            height=view.height,
            rx=2.0,
            fill=self.look.panel,
            stroke=self.look.ink,
            stroke_width=1.6 if self.size.labelled else 1.2,
        )
        if view.name != "rear":
            front = view.across(self.shape, 0.0, 0.0)
            svg.add(
                self.ground,
                "line",
                x1=front,
                x2=front,
                y1=view.top,
                y2=view.top + view.height,
                stroke=self.look.ink,
                stroke_width=4.0 if self.size.labelled else 2.5,
            )

    def _doors(self) -> None:
        left_doors, right_doors = -(-self.shape.doors // 2), self.shape.doors // 2
        for side, count in (("left", left_doors), ("right", right_doors)):
            for number in range(count):
                start = (number + 0.08) / count * self.shape.length_mm
                end = (number + 0.92) / count * self.shape.length_mm
                self._door(side, start, end)

    def _door(self, side: str, start_mm: float, end_mm: float) -> None:
        view = self.view
        one, other = sorted((view.across(self.shape, start_mm, 0.0), view.across(self.shape, end_mm, 0.0)))
        if view.name == "plan":
            edge = view.top + (view.height + 2.5 if side == "left" else -2.5)
            svg.add(self.ground, "line", x1=one, x2=other, y1=edge, y2=edge, stroke=self.look.rule, stroke_width=3.0)
        elif view.name == side:
            inset = view.height * 0.07
            svg.add(
                self.ground,
                "rect",
                x=one,
                y=view.top + inset,
                width=other - one,
                height=view.height - 2 * inset,
                rx=5.0,
                fill="none",
                stroke=self.look.rule,
                stroke_width=1.4,
            )

    def _block(self, block: Block) -> None:
        mark = block.mark
        group = svg.add(self.ground, "g")
        svg.add(group, "title", f"{mark.key}: {mark.label}")
        dashes = {"roof": "5 2.5", "under": "1.5 2"}.get(mark.level)
        svg.add(
            group,
            "rect",
            x=block.x - block.width / 2,
            y=block.y - block.height / 2,
            width=block.width,
            height=block.height,
            rx=2.0,
            fill=group_colour(mark.group),
            stroke=self.look.ink,
            stroke_width=1.5 if dashes else 0.9,
            **({"stroke_dasharray": dashes} if dashes else {}),
        )

    def _leader(self, block: Block) -> None:
        """A line to where an item really sits, where its block had to make room for others."""
        outside = max(abs(block.x - block.true_x) - block.width / 2, abs(block.y - block.true_y) - block.height / 2)
        if not (block.mark.given and self.view.name == "plan" and outside > 2.0 and self.size.labelled):
            return
        dx, dy = block.true_x - block.x, block.true_y - block.y
        edge = min(block.width / 2 / max(abs(dx), 1e-9), block.height / 2 / max(abs(dy), 1e-9))
        x, y = block.x + edge * dx, block.y + edge * dy
        svg.add(self.ground, "line", x1=x, y1=y, x2=block.true_x, y2=block.true_y, stroke=self.look.ink, stroke_width=0.8)
        svg.add(self.ground, "circle", cx=block.true_x, cy=block.true_y, r=2.2, fill=self.look.ink)

    def _write_key(self, block: Block) -> None:
        colour = group_colour(block.mark.group)
        text = block.mark.key if self.size.labelled else block.mark.key.rstrip("0123456789")
        points = min(self.size.text, block.width / (0.62 * len(text)), block.height * 0.8)
        if points < 6:
            return
        svg.add(
            self.ground,
            "text",
            text,
            x=block.x,
            y=block.y + points * 0.35,
            font_size=points,
            text_anchor="middle",
            font_weight=600,
            fill=text_on(colour),
        )

    def _axle(self) -> None:
        axle_mm = self.shape.rear_axle_mm
        if axle_mm is None or self.view.name == "rear" or not -0.02 <= axle_mm / self.shape.length_mm <= 1.02:
            return
        view, at = self.view, self.view.across(self.shape, axle_mm, 0.0)
        over = self.size.text * 0.7 if self.size.labelled else 2.0
        svg.add(
            self.ground,
            "line",
            x1=at,
            x2=at,
            y1=view.top - view.over_px - over,
            y2=view.top + view.height + view.under_px + over,
            stroke=self.look.ink,
            stroke_width=1.4,
            stroke_dasharray="10 3 2 3",
        )
        if self.size.labelled and view.name == "plan":
            svg.add(self.ground, "text", "rear axle", x=at + 4, y=view.top - over, font_size=self.size.text * 0.85, fill=self.look.muted)

    def _centre(self) -> None:
        centre, view = self.shape.centre, self.view
        if centre is None or view.name == "rear":
            return
        low, high = sorted((view.across(self.shape, centre.x_low_mm, 0.0), view.across(self.shape, centre.x_high_mm, 0.0)))
        at = view.across(self.shape, centre.x_mm, 0.0)
        if view.name != "plan":
            self._centre_below(low, high, at)
            return
        top, bottom = view.down_plan(self.shape, centre.y_high_mm), view.down_plan(self.shape, centre.y_low_mm)
        down = view.down_plan(self.shape, centre.y_mm)
        halo = self.look.paper
        for colour, width in ((halo, 5.0), (self.look.ink, 1.8)):
            svg.add(self.ground, "line", x1=low, x2=high, y1=down, y2=down, stroke=colour, stroke_width=width)
            svg.add(self.ground, "line", x1=at, x2=at, y1=top, y2=bottom, stroke=colour, stroke_width=width)
            for end in (low, high):
                svg.add(self.ground, "line", x1=end, x2=end, y1=down - 4, y2=down + 4, stroke=colour, stroke_width=width)
            for end in (top, bottom):
                svg.add(self.ground, "line", x1=at - 4, x2=at + 4, y1=end, y2=end, stroke=colour, stroke_width=width)
        quartered(self.ground, at, down, self.size.text * 0.45, self.look)

    def _centre_below(self, low: float, high: float, at: float) -> None:
        down = self.view.top + self.view.height + self.view.under_px + self.size.text * 0.75
        svg.add(self.ground, "line", x1=low, x2=high, y1=down, y2=down, stroke=self.look.ink, stroke_width=1.8)
        quartered(self.ground, at, down, self.size.text * 0.4, self.look)

    def _labels(self) -> None:
        view, text = self.view, self.size.text
        foot = view.top + view.height + view.under_px + text * 1.95
        self._say(VIEW_NAMES[view.name], view.left, view.top - view.over_px - text * 0.7, self.look.muted)
        if view.name != "rear":
            self._forward(foot)
        if view.name in ("plan", "left"):
            self._say(f"{length_said(self.shape.length_mm, self.units)} long", view.left + view.width, foot, self.look.ink, "end")
        if view.name == "plan":
            self._upright(f"{length_said(self.shape.width_mm, self.units)} wide")
        elif view.name == "left" and self.shape.height_mm:
            self._upright(f"{length_said(self.shape.height_mm, self.units)} high")

    def _forward(self, foot: float) -> None:
        """An arrow and the word where the vehicle's front is."""
        text, view = self.size.text, self.view
        way, tip = (1, view.left) if view.name != "right" else (-1, view.left + view.width)
        middle, half = foot - text * 0.32, text * 0.3
        path = f"M{tip:.2f} {middle:.2f}L{tip + way * 2 * half:.2f} {middle - half:.2f}V{middle + half:.2f}Z"
        svg.add(self.ground, "path", d=path, fill=self.look.muted)
        self._say("front", tip + way * text * 0.9, foot, self.look.muted, "start" if way > 0 else "end")

    def _say(self, text: str, x: float, y: float, colour: str, anchor: str = "start") -> None:
        svg.add(self.ground, "text", text, x=x, y=y, font_size=self.size.text * 0.92, text_anchor=anchor, fill=colour)

    def _upright(self, text: str) -> None:
        x, y = self.view.left - self.size.text * 0.7, self.view.top + self.view.height / 2
        svg.add(
            self.ground,
            "text",
            text,
            x=x,
            y=y,
            font_size=self.size.text * 0.92,
            text_anchor="middle",
            transform=f"rotate(-90 {x:.2f} {y:.2f})",
        )


def quartered(ground: ET.Element, x: float, y: float, radius: float, look: Look) -> None:
    """The engineering mark of a centre of mass: a circle with two dark quarters."""
    svg.add(ground, "circle", cx=x, cy=y, r=radius, fill=look.paper, stroke=look.ink, stroke_width=1.4)
    for across, down in ((-1, -1), (1, 1)):
        path = f"M{x:.2f} {y:.2f}H{x + across * radius:.2f}A{radius:.2f} {radius:.2f} 0 0 1 {x:.2f} {y + down * radius:.2f}Z"
        svg.add(ground, "path", d=path, fill=look.ink)


GROUPS = tuple((letters, group, group_colour(group)) for group, letters in GROUP_MARKS.items())
"""What the letters of thumbnails stand for, which have no room for numbers: `(two letters, group, colour)`."""
