"""Drawings: to scale, the same twice, escaped, and read by whoever cannot see them."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.pictures.arrange import fitted_sizes, spread
from pipeline.pictures.drawing import SIZES, Drawing, draw
from pipeline.pictures.palette import DARK, GROUP_COLOURS
from pipeline.pictures.shape import BodyShape, Centre, body_shape
from pipeline.pictures.views import View, blocks

SVG = "{http://www.w3.org/2000/svg}"
ITEMS = {
    "fridge": {"label": "fridge slide", "group": "fridge"},
    "drawer": {"label": "long drawer", "group": "drawer"},
    "tank": {"label": "water tank", "group": "water"},
    "tent": {"label": "roof tent", "group": "roof"},
    "chest": {"label": "under chest", "group": "under-tray"},
}
BODY = {"body": "canopy", "length_mm": 1800, "width_mm": 1600, "height_mm": 900, "doors": 2, "offset_mm": 50}
VEHICLE = {"headboard_to_rear_axle_mm": 1100, "wheelbase_mm": 3200}
CENTRE = Centre(x_mm=850, x_low_mm=800, x_high_mm=910, y_mm=-40, y_low_mm=-70, y_high_mm=-10, z_mm=None)


def shape_of(*lines: dict, body: dict = BODY, vehicle: dict | None = VEHICLE, centre: Centre | None = CENTRE) -> BodyShape:
    return body_shape(body, lines, ITEMS, vehicle, centre)


def line(item: str, zone: str | None = None, **more) -> dict:
    return {"item_id": item, "zone": zone, **more}


def read(drawing: Drawing) -> ET.Element:
    return ET.fromstring(drawing.svg)


def rects(drawing: Drawing, fill: str) -> list[tuple[float, float, float, float]]:
    found = [rect for rect in read(drawing).iter(f"{SVG}rect") if rect.get("fill") == fill]
    return [tuple(float(rect.get(name)) for name in ("x", "y", "width", "height")) for rect in found]


def test_an_item_stands_where_its_place_says_on_one_scale():
    shape = shape_of(line("fridge", x_mm=1350, y_mm=400), centre=None)
    drawing = draw(shape, "page", columns=[["plan"]])
    outline = max((rect for rect in rects(drawing, "#f1efe9")), key=lambda rect: rect[2])
    block = rects(drawing, GROUP_COLOURS["fridge"])[0]
    scale = outline[2] / 1800
    assert outline[3] / 1600 == pytest.approx(scale, rel=1e-3)
    assert (block[0] + block[2] / 2 - outline[0]) / scale == pytest.approx(1350, abs=2)
    # front left, seen from above: what is on the right stands at the top
    assert (outline[1] + outline[3] / 2 - block[1] - block[3] / 2) / scale == pytest.approx(400, abs=2)


def test_without_a_place_an_item_stands_in_the_middle_of_its_zone():
    # 1/6, 1/2, 5/6 of the length and ± 0.28 of the width (common practice)
    mark = shape_of(line("fridge", "left-rear")).items[0]
    assert (mark.x_mm, mark.y_mm, mark.given) == (pytest.approx(1500), pytest.approx(-448), False)
    assert shape_of(line("tent", "roof")).items[0].level == "roof"


def test_each_side_view_shows_its_own_side_and_the_right_side_has_its_front_to_the_right():
    shape = shape_of(line("fridge", "left-front"), line("drawer", "right-front"))
    for side, fill, other in (("left", "fridge", "drawer"), ("right", "drawer", "fridge")):
        drawing = draw(shape, "page", columns=[[side]])
        assert len(rects(drawing, GROUP_COLOURS[fill])) == 1
        assert not rects(drawing, GROUP_COLOURS[other])
        x, _, width, _ = rects(drawing, GROUP_COLOURS[fill])[0]
        assert (x + width / 2 < SIZES["page"].width / 2) == (side == "left")


def test_the_rear_axle_is_drawn_where_the_vehicle_has_it_and_nowhere_else():
    drawing = draw(shape_of(centre=None), "page", columns=[["plan"]])
    outline = rects(drawing, "#f1efe9")[0]
    axle = [found for found in read(drawing).iter(f"{SVG}line") if found.get("stroke-dasharray")]
    assert len(axle) == 1
    # headboard to axle 1100 less the gap of 50 before the body's front face
    assert (float(axle[0].get("x1")) - outline[0]) / outline[2] * 1800 == pytest.approx(1050, abs=2)
    assert "rear axle runs 1050 mm behind" in drawing.alt
    for vehicle in (None, {"headboard_to_rear_axle_mm": float("nan")}):
        assert "rear axle" not in draw(shape_of(vehicle=vehicle), "page").svg
    far = draw(shape_of(vehicle={"headboard_to_rear_axle_mm": 4000}), "page")
    assert any("outside the body" in note for note in far.notes)


def test_the_alternative_text_says_what_the_picture_shows():
    alt = draw(shape_of(line("fridge", "left-front"), line("drawer", "right-mid"), line("drawer", "right-mid"), line("tent", "roof"))).alt
    assert alt.startswith("A canopy, 1800 mm long, 1600 mm wide, 900 mm high, 2 side doors, with fridge slide on the left")
    assert "long drawer (×2) on the right" in alt
    assert "roof tent on the roof" in alt
    assert "about 850 mm behind the front face (800 to 910) and 40 mm left" in alt


@pytest.mark.parametrize("size", SIZES)
def test_the_same_body_gives_the_same_bytes(size):
    shape = shape_of(*[line(item, "left-mid") for item in ITEMS])
    assert draw(shape, size).svg == draw(dataclasses.replace(shape), size).svg


@pytest.mark.parametrize("size", SIZES)
def test_no_reference_leads_out_of_the_picture(size):
    text = draw(shape_of(*[line(item, "left-mid") for item in ITEMS]), size, DARK).svg
    assert not re.search(r"href|url\(|<script|<style|<image|<foreignObject", text)
    assert set(re.findall(r"https?://[^\"' ]+", text)) == {"http://www.w3.org/2000/svg"}


@given(st.text(max_size=40), st.text(max_size=20))
@settings(max_examples=60, deadline=None)
def test_any_text_stays_text(label, title):
    items = {"odd": {"label": label or "x", "group": "fridge"}}
    drawing = draw(body_shape(BODY, [line("odd", "left-mid")], items), "page", title=title or "t")
    tags = {element.tag.removeprefix(SVG) for element in read(drawing).iter()}
    assert tags <= {"svg", "title", "desc", "g", "rect", "line", "circle", "path", "text"}


def test_markup_in_a_label_is_escaped():
    items = {"odd": {"label": '</title><script>alert("1")</script>&', "group": "fridge"}}
    text = draw(body_shape(BODY, [line("odd", "left-mid")], items)).svg
    assert "<script" not in text
    assert "&lt;script&gt;" in text


@pytest.mark.parametrize("count", [1, 7, 16, 40])
@pytest.mark.parametrize("size", SIZES)
def test_blocks_stay_apart_and_on_the_body(count, size):
    kinds = list(ITEMS)
    zones = ["left-front", "left-mid", "right-rear", "middle-mid", "right-mid"]
    shape = shape_of(*[line(kinds[n % 5], zones[n * 3 % 5]) for n in range(count)])
    view = View("plan", 10, 10, 1800 * 0.15, 1600 * 0.15, 0.15)
    placed = blocks(view, shape, 12)
    assert len(placed) == count
    for block in placed:
        assert view.left - 0.01 <= block.x - block.width / 2
        assert block.x + block.width / 2 <= view.left + view.width + 0.01
        assert view.top - 0.01 <= block.y - block.height / 2
        assert block.y + block.height / 2 <= view.top + view.height + 0.01
    assert hidden_share(placed) < 0.005


def hidden_share(placed) -> float:
    """Share of all blocks' area that pairs cover twice."""
    covered = 0.0
    for at, one in enumerate(placed):
        for other in placed[at + 1 :]:
            wide = (one.width + other.width) / 2 - abs(one.x - other.x)
            tall = (one.height + other.height) / 2 - abs(one.y - other.y)
            covered += max(wide, 0) * max(tall, 0)
    return covered / sum(block.width * block.height for block in placed)


def test_two_blocks_on_a_low_strip_part_sideways():
    sizes = np.array([[40.0, 20.0], [40.0, 20.0]])
    placed = spread(np.array([[100.0, 10.0], [100.0, 10.0]]), sizes, (200.0, 24.0))
    assert abs(placed[0, 0] - placed[1, 0]) >= 39.9


def test_blocks_with_room_are_not_moved():
    centres = np.array([[20.0, 20.0], [80.0, 60.0]])
    assert np.allclose(spread(centres, np.full((2, 2), 20.0), (100.0, 100.0)), centres)
    assert fitted_sizes(np.array([[10.0, 10.0]]), (100.0, 100.0), 4.0).tolist() == [[10.0, 10.0]]


def test_a_tray_without_height_and_a_body_without_items_are_drawn():
    tray = shape_of(line("chest", "under-tray"), body={"body": "tray", "length_mm": 2400, "width_mm": 1850}, centre=None)
    assert "high" not in draw(tray, "page").alt
    assert len(rects(draw(tray, "page"), GROUP_COLOURS["under-tray"])) == 3
    assert "without fit-out" in draw(shape_of(), "page").alt


def test_the_key_says_what_every_block_stands_for():
    shape = shape_of(line("drawer", "left-mid"), line("fridge", "left-mid"), line("drawer", "right-mid"))
    drawn = draw(shape, "page")
    assert [entry[0] for entry in drawn.key] == ["Dr1", "Fr2", "Dr3"]
    assert all(f">{letters}<" in drawn.svg and colour in drawn.svg for letters, _, colour in drawn.key)


def test_an_unknown_item_is_drawn_without_a_group():
    shape = shape_of(line("mystery", "left-mid"))
    assert (shape.items[0].key, shape.items[0].label) == ("?1", "mystery")
    assert "?1" in draw(shape, "page").svg


def test_a_drawing_in_inches_says_so_everywhere():
    drawing = draw(shape_of(line("fridge", "left-front")), "page", units="imperial")
    words = " ".join(element.text or "" for element in read(drawing).iter(f"{SVG}text"))
    # 1 in = 25.4 mm exactly (NIST SP 811): 1800 mm is 70.87 in, to the quarter 70.75
    assert "70.75 in long" in words
    assert "mm" not in words + drawing.alt
