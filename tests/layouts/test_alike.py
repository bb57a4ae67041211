"""Alike bodies and nearest builds."""

from __future__ import annotations

import pytest
from random_edition import random_edition
from small_edition import edition

from pipeline.layouts.alike import Wanted, alike, likest, nearest_builds
from pipeline.settings_layouts import LayoutSettings

USUAL = LayoutSettings()
ITEMS = [{"item_id": name, "label": name, "group": "storage"} for name in "abcdefg"]


def shop(**held: tuple[float, dict[str, float]]):
    jobs = [{"job_id": job} for job in held]
    bodies = [{"job_id": job, "body": "canopy", "length_mm": length, "weighed_kg": 300.0} for job, (length, _) in held.items()]
    fitout = [{"job_id": job, "body": "canopy", "item_id": item, "qty": qty} for job, (_, row) in held.items() for item, qty in row.items()]
    return edition(items=ITEMS, jobs=jobs, bodies=bodies, fitout=fitout)


WANTED = Wanted("canopy", 2000.0, {"a": 1, "b": 2, "c": 1}, "midsize")


@pytest.mark.parametrize(
    ("held", "jaccard"),
    [({"a": 1, "b": 2, "c": 1}, 1.0), ({"a": 1, "b": 1}, 0.5), ({"a": 1, "b": 2, "c": 1, "d": 4}, 0.5), ({"e": 1}, 0.0), ({}, 0.0)],
)
def test_jaccard_weighs_quantities(held, jaccard):
    assert likest(shop(J=(2000.0, held)), WANTED)["jaccard"].to_list() == [pytest.approx(jaccard)]


def test_two_lines_of_an_item_are_two_items():
    con = shop(J=(2000.0, {"a": 1, "b": 1, "c": 1}))
    con.execute("insert into fitout by name select * from fitout where item_id = 'b'")
    assert likest(con, WANTED)["jaccard"].to_list() == [1.0]


def test_alike_needs_length_within_a_tenth_and_items_within_the_setting():
    full = {"a": 1.0, "b": 2.0, "c": 1.0}
    con = shop(J1=(2200.0, full), J2=(2201.0, full), J3=(1800.0, full), J4=(2000.0, {"a": 1.0}), J5=(2000.0, {"a": 1.0, "b": 2.0}))
    found = alike(con, WANTED, USUAL)
    assert found.bodies["job_id"].to_list() == ["J1", "J3", "J5"]
    assert found.too_few


def test_five_alike_bodies_are_enough_and_another_size_class_is_not_alike():
    full = {"a": 1.0, "b": 2.0, "c": 1.0}
    con = shop(**{f"J{at}": (2000.0, full) for at in range(5)})
    assert not alike(con, WANTED, USUAL).too_few
    assert alike(con, Wanted("canopy", 2000.0, full, "fullsize"), USUAL).bodies.is_empty()
    assert alike(con, Wanted("canopy", 2000.0, full), USUAL).bodies.height == 5


def test_a_plain_draft_is_like_a_plain_body():
    con = shop(PLAIN=(2000.0, {}), FULL=(2000.0, {"a": 1}))
    assert likest(con, Wanted("canopy", 2000.0))["job_id"].to_list() == ["PLAIN", "FULL"]
    assert likest(con, Wanted("canopy", 2000.0))["likeness"].to_list() == [1.0, 0.0]


def test_likeness_is_that_of_a_plain_loop_over_every_body():
    con = random_edition(31)
    wanted = Wanted("canopy", 1700.0, {"fridge": 1, "sink": 1, "drawer": 2})
    held: dict[tuple, dict[str, float]] = {}
    for job, body, item, qty in con.execute("select job_id, body, item_id, qty from current_fitout").fetchall():
        row = held.setdefault((job, body), {})
        row[item] = row.get(item, 0) + qty
    found = likest(con, wanted)
    for row in found.iter_rows(named=True):
        own = held.get((row["job_id"], row["body"]), {})
        both = sum(min(own.get(item, 0), wanted.items.get(item, 0)) for item in own.keys() | wanted.items.keys())
        either = sum(max(own.get(item, 0), wanted.items.get(item, 0)) for item in own.keys() | wanted.items.keys())
        assert row["jaccard"] == pytest.approx(both / either)
        ratio = min(row["length_mm"], 1700) / max(row["length_mm"], 1700)
        assert row["likeness"] == pytest.approx(both / either * ratio if row["kind"] == "canopy" else 0)
    nearest = nearest_builds(con, wanted, 5)
    assert nearest.height == 5
    assert nearest["measured_kg"].null_count() == 0
    assert nearest["likeness"].is_sorted(descending=True)
