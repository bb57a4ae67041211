"""What an estimate consists of, what it stands on, and which builds are near."""

import numpy as np
import pytest
from mass_shops import shop_and_fit

from pipeline.frames import take
from pipeline.mass.bodies import KINDS
from pipeline.mass.estimate import estimate
from pipeline.mass.explain import design_row, difference, explain
from pipeline.mass.nearest import index_builds, nearest


@pytest.fixture(scope="module")
def usual():
    return shop_and_fit(0, 400, drafts=250)


def test_parts_add_up_to_the_estimate(usual):
    shop, fitted = usual
    found = estimate(fitted.model, shop.drafts.bodies, shop.drafts.fitout)
    for row in range(60):
        parts = explain(fitted.model, shop.drafts.bodies, shop.drafts.fitout, row)
        assert sum(part.kg for part in parts) == pytest.approx(found.estimate_kg[row], abs=1e-9)
        assert all(part.sd_kg >= 0 for part in parts)
        assert {part.kind for part in parts} <= {"shell", "item", "together", "full"}
        listed = set(shop.drafts.fitout["item_id"][shop.drafts.fitout["body_row"] == row])
        assert {part.item_id for part in parts if part.kind == "item"} == listed


def test_the_printed_design_adds_up_too(usual):
    shop, fitted = usual
    rows = design_row(fitted.model, shop.drafts.bodies, shop.drafts.fitout, 3)
    found = estimate(fitted.model, shop.drafts.bodies, shop.drafts.fitout)
    assert sum(kg for _name, _unit, _value, kg in rows) == pytest.approx(found.estimate_kg[3])
    assert all(unit for _name, unit, _value, _kg in rows)


def test_sources_say_who_spoke(usual):
    shop, fitted = usual
    parts = [part for row in range(80) for part in explain(fitted.model, shop.drafts.bodies, shop.drafts.fitout, row)]
    items = [part for part in parts if part.kind == "item"]
    assert {part.source for part in items} <= {"history", "both", "datasheet"}
    often = np.mean([part.source == "datasheet" for part in items if part.records > 100])
    seldom = np.mean([part.source == "datasheet" for part in items if part.records <= 12] or [1.0])
    assert often < seldom


def test_the_difference_of_two_drafts_adds_up_and_names_what_differs(usual):
    shop, fitted = usual
    bodies, fitout = shop.drafts.bodies, shop.drafts.fitout
    two = {name: np.concatenate([values[:1], values[:1]]) for name, values in bodies.items()}
    own = take(fitout, fitout["body_row"] == 0)
    lines = {name: np.concatenate([values, values[1:]]) for name, values in own.items()}
    lines["body_row"] = np.concatenate([np.zeros(len(own["qty"]), dtype=np.int64), np.ones(len(own["qty"]) - 1, dtype=np.int64)])
    found = estimate(fitted.model, two, lines)
    parts = difference(fitted.model, two, lines, 0, 1)
    assert sum(part.difference_kg for part in parts) == pytest.approx(found.estimate_kg[1] - found.estimate_kg[0])
    labels = dict(zip(shop.history.items["item_id"], shop.history.items["label"], strict=True))
    assert labels[own["item_id"][0]] in {part.label for part in parts}
    assert difference(fitted.model, two, lines, 0, 0) == []


def test_the_nearest_build_of_a_build_is_itself(usual):
    shop, fitted = usual
    bodies, fitout = shop.history.bodies, shop.history.fitout
    builds = index_builds(fitted.model, bodies, fitout)
    for row in builds.rows[:40].tolist():
        near = nearest(fitted.model, builds, bodies, fitout, row, 5)
        assert near[0].distance_kg == pytest.approx(0, abs=0.01)
        assert near[0].mass_kg == bodies["weighed_kg"][near[0].row]
        assert [one.distance_kg for one in near] == sorted(one.distance_kg for one in near)
        assert {bodies["kind"][one.row] for one in near} == {bodies["kind"][row]}


def test_distance_is_that_of_a_plain_reckoning(usual):
    """Sum of |difference| part by part, done the slow way."""
    shop, fitted = usual
    from pipeline.mass.estimate import read_drafts
    from pipeline.mass.features import count_items
    from pipeline.mass.nearest import item_kg

    bodies, fitout = shop.history.bodies, shop.history.fitout
    builds = index_builds(fitted.model, bodies, fitout)
    known = read_drafts(fitted.model, bodies, fitout)
    pieces = count_items(fitted.model.design, known.bodies, known.lines).pieces
    shell = dict(zip(builds.rows.tolist(), builds.shell_kg.tolist(), strict=True))
    row = int(builds.rows[7])
    same = [one for one in builds.rows.tolist() if bodies["kind"][one] == bodies["kind"][row]]
    slow = {one: abs(shell[one] - shell[row]) + np.abs(pieces[one] - pieces[row]) @ item_kg(fitted.model) for one in same}
    near = nearest(fitted.model, builds, bodies, fitout, row, 5)
    assert [one.distance_kg for one in near] == pytest.approx(sorted(slow.values())[:5], abs=0.01)


def test_what_differs_is_said(usual):
    shop, fitted = usual
    builds = index_builds(fitted.model, shop.history.bodies, shop.history.fitout)
    near = nearest(fitted.model, builds, shop.drafts.bodies, shop.drafts.fitout, 0, 5)
    assert len(near) == 5
    for one in near:
        assert all(words.endswith(("longer", "shorter")) or words[0] in "+−" for words in one.differs)


def test_requests_beyond_history_are_called_outside_with_the_reason_first(usual):
    shop, fitted = usual
    bodies = {name: values.copy() for name, values in shop.drafts.bodies.items()}
    for kind in KINDS:
        here = bodies["kind"] == kind
        bodies["length_mm"][here] = fitted.model.ranges[kind].length_high_mm * 1.05
    found = estimate(fitted.model, bodies, shop.drafts.fitout)
    assert set(found.standing) == {"outside"}
    assert all("mm was ever weighed or drawn" in why for why in found.why)
    inside = estimate(fitted.model, shop.drafts.bodies, shop.drafts.fitout)
    assert np.all(found.sd_kg >= inside.sd_kg - 1e-9) or np.mean(found.sd_kg) > np.mean(inside.sd_kg)


def test_too_full_is_outside(usual):
    shop, fitted = usual
    fitout = {name: values.copy() for name, values in shop.drafts.fitout.items()}
    fitout["qty"] = fitout["qty"] * 8
    found = estimate(fitted.model, shop.drafts.bodies, fitout)
    with_items = np.bincount(fitout["body_row"], minlength=len(found.standing)) > 3
    assert np.mean(found.standing[with_items] == "outside") > 0.95


def test_few_requests_like_history_are_called_anything_but_inside(usual):
    shop, fitted = usual
    found = estimate(fitted.model, shop.drafts.bodies, shop.drafts.fitout)
    common = shop.drafts.bodies["kind"] != "box"
    assert np.mean(found.standing[common] != "inside") < 0.06
    assert all(why for why, standing in zip(found.why, found.standing, strict=True) if standing != "inside")


def test_what_was_not_given_is_said(usual):
    shop, fitted = usual
    bodies = take(shop.drafts.bodies, np.flatnonzero(shop.drafts.bodies["kind"] == "canopy")[:1])
    bodies["sheet_mm"] = np.array([np.nan])
    none = {name: values[:0] for name, values in shop.drafts.fitout.items()}
    assert "not given, taken as usual: sheet" in estimate(fitted.model, bodies, none).why[0]
