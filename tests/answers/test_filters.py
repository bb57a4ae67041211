"""The shared filters: conditions, words, address."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.answers.filters import Filters
from pipeline.errors import WrongCall

ODD = "'; drop table jobs; --"
WORDS = st.lists(st.sampled_from(["north", "south", "Ö-west", "it's"]), unique=True, max_size=3).map(tuple)
FILTERS = st.builds(
    Filters,
    since=st.none() | st.dates(date(2020, 1, 1), date(2022, 12, 31)),
    until=st.none() | st.dates(date(2023, 1, 1), date(2026, 12, 31)),
    kinds=st.lists(st.sampled_from(["canopy", "tray", "box"]), unique=True).map(tuple),
    size_classes=st.lists(st.sampled_from(["midsize", "truck"]), unique=True).map(tuple),
    branches=WORDS,
    vehicles=WORDS,
    families=st.lists(st.integers(1, 30), unique=True, max_size=3).map(tuple),
)


@given(FILTERS)
def test_an_address_brings_the_same_filters_back(filters):
    assert Filters.from_query(filters.to_query()) == filters


@given(FILTERS)
def test_values_are_bound_and_never_in_the_text(filters):
    clause = filters.clause()
    for value in (*filters.branches, *filters.vehicles):
        assert value not in clause.where
    assert clause.where.count("$") == len(clause.values)


def test_hostile_words_are_only_words():
    assert ODD not in Filters(branches=(ODD,)).clause().where


@pytest.mark.parametrize(
    ("filters", "bodies", "words"),
    [
        (Filters(), None, "bodies"),
        (Filters(kinds=("tray",)), 1, "1 tray"),
        (Filters(kinds=("canopy", "tray")), 1412, "1,412 canopies and trays"),
        (Filters(size_classes=("midsize",), cabs=("dual",)), 3, "3 bodies on dual-cab midsize vehicles"),
        (Filters(cabs=("dual", "extra")), None, "bodies on dual or extra-cab vehicles"),
        (Filters(since=date(2026, 1, 1), until=date(2026, 12, 31)), None, "bodies, 2026"),
        (Filters(since=date(2026, 10, 1), until=date(2026, 10, 31)), None, "bodies, 2026-10"),
        (Filters(since=date(2026, 1, 5), until=date(2026, 3, 1)), None, "bodies, 2026-01-05 to 2026-03-01"),
        (Filters(since=date(2026, 1, 5)), None, "bodies, from 2026-01-05"),
        (Filters(until=date(2026, 1, 5), branches=("north", "south")), None, "bodies, until 2026-01-05, north and south branches"),
        (Filters(upgrades=("UP",), families=(7,)), None, "bodies, with plus 300, layout family 7"),
    ],
)
def test_filters_in_words(filters, bodies, words):
    assert filters.words(bodies, {"UP": "plus 300"}) == words


def test_what_was_done_stands_behind_the_bodies():
    filters = Filters(kinds=("tray",), size_classes=("midsize",), since=date(2026, 7, 1), until=date(2026, 7, 31))
    assert filters.words(21, done="sold") == "21 trays sold on midsize vehicles, 2026-07"


def test_every_wrong_value_of_an_address_is_told_at_once():
    with pytest.raises(WrongCall) as wrong:
        Filters.from_query({"since": "yesterday", "kinds": "canopi", "families": "x", "page": "3"})
    assert len(wrong.value.faults) == 3
    assert "did you mean 'canopy'" in str(wrong.value)


def test_a_period_that_ends_before_it_begins_is_refused():
    with pytest.raises(WrongCall, match="before it begins"):
        Filters.from_query({"since": "2026-02-01", "until": "2026-01-01"})


def test_a_comparison_drops_the_start_alone():
    filters = Filters(since=date(2026, 1, 1), until=date(2026, 2, 1), kinds=("tray",))
    assert filters.without_start() == replace(filters, since=None)
