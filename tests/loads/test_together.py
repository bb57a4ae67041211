"""Does it go together: the workshop's rules are errors, what history never did is a hint."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from loads_rig import frame, work

from pipeline.loads.together import ERROR, HINT, Past, broken_rules, item_rules, never_done

ITEMS = [
    {"item_id": "kitchen", "label": "full kitchen", "shortest_mm": 1400, "needs": "battery"},
    {"item_id": "battery", "label": "battery"},
    {"item_id": "chest", "label": "chest", "not_with": "kitchen"},
    {"item_id": "old", "label": "old fridge", "retired_on": "2025-01-01"},
]
RULES = item_rules(frame("items", *ITEMS))


def findings(bodies, lines):
    made, _ = work(bodies=bodies, fitout=lines)
    made.bodies["kind"] = made.bodies["body"]
    return made, broken_rules(made.bodies, made.fitout, RULES)


@pytest.mark.parametrize(
    ("bodies", "lines", "said"),
    [
        ([{"length_mm": 1600}], ["kitchen"], ["full kitchen needs battery"]),
        ([{"length_mm": 1600}], ["kitchen", "battery"], []),
        ([{"length_mm": 1399}], ["kitchen", "battery"], ["full kitchen takes a body of 1400 mm or more, this one has 1399 mm"]),
        ([{"length_mm": 1400}], ["kitchen", "battery"], []),
        ([{"length_mm": 1600}], ["chest", "kitchen", "battery"], ["chest cannot stand beside full kitchen"]),
    ],
)  # fmt: skip
def test_a_broken_rule_is_an_error_and_is_told_once(bodies, lines, said):
    _, found = findings(bodies, [{"item_id": item} for item in lines])
    assert [one.said for one in found] == said
    assert {one.kind for one in found} <= {ERROR}


def test_what_is_needed_may_stand_in_another_body_but_two_that_clash_may_stand_apart():
    bodies = [{"length_mm": 1600}, {"body": "tray", "length_mm": 2000}]
    _, found = findings(bodies, [{"item_id": "kitchen"}, {"item_id": "battery", "body_row": 1}, {"item_id": "chest", "body_row": 1}])
    assert found == []


def test_what_is_no_longer_fitted_is_a_hint():
    made, _ = work(bodies=[{}], fitout=[{"item_id": "old"}])
    made.bodies["dated_on"] = np.array(["2025-06-01"], dtype="datetime64[D]")
    found = broken_rules(made.bodies, made.fitout, RULES)
    assert [(one.kind, one.said) for one in found] == [(HINT, "old fridge is no longer fitted since 2025-01-01")]


def canopies(count, carried, shortest_mm=1600, pairs=()):
    """`count` canopies of which each item of `carried` stood in so many."""
    return Past(
        Counter(canopy=count), Counter({("canopy", item): number for item, number in carried.items()}),
        {("canopy", item): shortest_mm for item in carried}, Counter({("canopy", *pair): 1 for pair in pairs}),
    )  # fmt: skip


def hints(past, length_mm, *items):
    made, _ = findings([{"length_mm": length_mm}], [{"item_id": item} for item in items])
    return never_done(made.bodies, made.fitout, past, RULES)


def test_no_shorter_body_ever_carried_it():
    found = hints(canopies(9, {"kitchen": 6}, 1500), 1450, "kitchen", "battery")
    assert [one.said for one in found] == ["no canopy under 1500 mm ever carried full kitchen (6 did, this one has 1450 mm)"]
    assert [one.kind for one in found] == [HINT]
    assert hints(canopies(9, {"kitchen": 6}, 1500), 1500, "kitchen") == []


def test_two_items_that_history_kept_apart():
    found = hints(canopies(20, {"kitchen": 10, "chest": 10}), 1600, "kitchen", "chest")
    assert [one.said for one in found] == ["no canopy ever had chest with full kitchen; chance alone would have made 5"]
    assert hints(canopies(20, {"kitchen": 10, "chest": 10}, pairs=[("chest", "kitchen")]), 1600, "kitchen", "chest") == []


def test_what_was_rare_gives_no_hint():
    assert hints(canopies(9, {"kitchen": 4}, 1500), 1450, "kitchen") == []
    assert hints(canopies(40, {"kitchen": 10, "chest": 10}), 1600, "kitchen", "chest") == []
