"""Pairs and triples, against published examples and another library."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from mlxtend.frequent_patterns import apriori, association_rules
from random_edition import random_edition
from small_edition import edition, with_families

from pipeline.layouts.views import Clause
from pipeline.settings_layouts import LayoutSettings, TrendSettings
from pipeline.trends.company import pairs, triples, usually_also

LAYOUTS, TRENDS = LayoutSettings(), TrendSettings()
GUIDE = (
    ("Milk", "Onion", "Nutmeg", "Kidney Beans", "Eggs", "Yogurt"),
    ("Dill", "Onion", "Nutmeg", "Kidney Beans", "Eggs", "Yogurt"),
    ("Milk", "Apple", "Kidney Beans", "Eggs"),
    ("Milk", "Unicorn", "Corn", "Kidney Beans", "Yogurt"),
    ("Corn", "Onion", "Onion", "Kidney Beans", "Ice cream", "Eggs"),
)
"""Source: the five baskets of the mlxtend user guide, association_rules."""


def baskets(rows, status: str = "delivered", **more):
    items = [
        {"item_id": name, "label": name.lower(), "group": "storage", **more.get(name, {})}
        for name in sorted({name for row in rows for name in row})
    ]
    jobs = [{"job_id": f"J{at}", "status": status, "delivered_on": date(2026, 1, 1)} for at in range(len(rows))]
    bodies = [{"job_id": f"J{at}", "body": "canopy"} for at in range(len(rows))]
    fitout = [{"job_id": f"J{at}", "body": "canopy", "item_id": name} for at, row in enumerate(rows) for name in row]
    return with_families(edition(items=items, jobs=jobs, bodies=bodies, fitout=fitout))


def rule(frame, a: str, b: str) -> dict:
    return frame.filter((frame["item_a"] == a) & (frame["item_b"] == b)).row(0, named=True)


def test_pairs_of_the_five_baskets_of_the_guide():
    """Source: mlxtend user guide, association_rules (text): Onion → Eggs."""
    found = pairs(baskets(GUIDE), Clause(), LAYOUTS)
    onion = rule(found, "Onion", "Eggs")
    assert (onion["bodies"], onion["support"], onion["confidence"], onion["lift"]) == pytest.approx((3, 0.6, 1.0, 1.25))
    assert rule(found, "Eggs", "Onion")["confidence"] == pytest.approx(0.75)


def test_tea_and_coffee():
    """Source: Tan, Steinbach & Kumar, Introduction to Data Mining, ch. 6 (from memory): 150 of 1000 have both, 200 tea, 800 coffee."""
    rows = [("tea", "coffee")] * 150 + [("tea",)] * 50 + [("coffee",)] * 650 + [("milk",)] * 150
    tea = rule(pairs(baskets(rows), Clause(), LAYOUTS), "tea", "coffee")
    assert (tea["confidence"], tea["lift"]) == pytest.approx((0.75, 0.9375))


@pytest.mark.parametrize("seed", [1, 2])
def test_pairs_and_triples_agree_with_mlxtend(seed):
    con = random_edition(seed)
    held = con.execute(
        "select distinct b.job_id || b.body, f.item_id from current_bodies b left join current_fitout f using (job_id, body)"
        " where b.counted and b.status = 'delivered'"
    ).fetchall()
    bodies = sorted({body for body, _ in held})
    table = pd.DataFrame(False, index=bodies, columns=sorted({item for _, item in held if item}))
    for body, item in held:
        if item:
            table.loc[body, item] = True
    rules = association_rules(apriori(table, min_support=1e-9, use_colnames=True, max_len=3), metric="support", min_threshold=0)
    expected = {
        (frozenset(rule.antecedents), next(iter(rule.consequents))): rule for rule in rules.itertuples() if len(rule.consequents) == 1
    }
    found = pairs(con, Clause(), LAYOUTS)
    assert found.height == sum(len(antecedents) == 1 for antecedents, _ in expected)
    for row in found.iter_rows(named=True):
        theirs = expected[frozenset([row["item_a"]]), row["item_b"]]
        assert (row["support"], row["confidence"], row["lift"]) == pytest.approx((theirs.support, theirs.confidence, theirs.lift))
    threes = triples(con, Clause(), LAYOUTS, TrendSettings(pair_bodies=1))
    assert threes.height == sum(len(antecedents) == 2 for antecedents, _ in expected)
    for row in threes.iter_rows(named=True):
        theirs = expected[frozenset([row["item_a"], row["item_b"]]), row["item_c"]]
        assert (row["support"], row["confidence"], row["lift"]) == pytest.approx((theirs.support, theirs.confidence, theirs.lift))


def test_quotes_are_no_deliveries_and_empty_lists_count():
    assert pairs(baskets(GUIDE, status="quoted"), Clause(), LAYOUTS).is_empty()
    with_an_empty_list = pairs(baskets((*GUIDE, ())), Clause(), LAYOUTS)
    assert rule(with_an_empty_list, "Onion", "Eggs")["support"] == pytest.approx(3 / 6)


USUALLY = [("kitchen", "inverter", "tap")] * 16 + [("kitchen", "tap")] * 4 + [("shelf",)] * 30 + [("inverter",)] * 2


def test_what_a_draft_usually_also_has_is_told_in_words():
    found = usually_also(baskets(USUALLY), Clause(), ["kitchen", "tap"], LAYOUTS, TRENDS)
    assert found["words"].to_list() == ["8 of 10 with kitchen also have inverter"]
    assert found.select("bodies", "of_bodies").row(0) == (16, 20)


@pytest.mark.parametrize(
    "inverter",
    [{"retired_on": date(2020, 1, 1)}, {"not_with": "kitchen"}, {"instead_of": "tap"}],
    ids=["retired", "not-with", "in-its-place"],
)
def test_an_item_that_cannot_join_is_not_told(inverter):
    assert usually_also(baskets(USUALLY, inverter=inverter), Clause(), ["kitchen", "tap"], LAYOUTS, TRENDS).is_empty()


def test_an_empty_draft_and_an_unknown_item_are_told_nothing():
    con = baskets(USUALLY)
    assert usually_also(con, Clause(), [], LAYOUTS, TRENDS).is_empty()
    assert usually_also(con, Clause(), ["espresso-bar"], LAYOUTS, TRENDS).is_empty()
