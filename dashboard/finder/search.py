"""The form of a search; what is filled in narrows, what is empty asks for nothing."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any, TypeVar

import streamlit as st

from dashboard import address, live
from dashboard.early import desk_top
from dashboard.early.choices import choices
from dashboard.here import Here
from pipeline.answers.finder import SORTS, STANDINGS, ItemAt, Search
from pipeline.contract import STATUSES, ZONES
from pipeline.layouts.alike import Wanted

T = TypeVar("T")

_YES_NO = {"yes": True, "no": False}
_MORE = (
    "without", "years", "statuses", "standings", "length_from_mm", "length_to_mm", "mass_from_kg", "mass_to_kg", "suspect", "list_short",
)  # fmt: skip
"""What stands folded away, unless the address asks for it."""


def search_form(now: Here) -> Search:
    """Draw the form and give the search."""
    known = live.ask(choices)
    items: dict[str, Any] = known["items"]
    called = {item_id: item["label"] for item_id, item in items.items()}
    given: dict[str, Any] = {}
    with st.container(horizontal=True):
        given["job"] = address.text("Part of the number", "find_job", max_chars=40, width=190)
        given["words"] = address.text("Words of the note", "find_words", max_chars=100, width=190)
        held = _items("With items", "with", called)
        zone = address.one("the first of them at", "at", _same(ZONES), placeholder="any", width=190) if held else None
    given["items"] = tuple(ItemAt(item, zone if place == 0 else None) for place, item in enumerate(held))
    with st.expander("More to narrow by", expanded=any(key in st.query_params for key in _MORE)):
        with st.container(horizontal=True):
            given["without"] = tuple(_items("Without items", "without", called))
            years = range(date.today().year + 1, 1999, -1)
            for label, key, listed in (("Years", "years", years), ("Status", "statuses", STATUSES), ("Standing", "standings", STANDINGS)):
                given[key] = tuple(address.several(label, key, _same(listed), placeholder="any", width=190))
        with st.container(horizontal=True):
            length = (now.units.length, now.units.mm_per_unit)
            mass = (now.units.mass, now.units.kg_per_unit)
            given["length_from_mm"] = _number("Length from", "length_from_mm", *length)
            given["length_to_mm"] = _number("to", "length_to_mm", *length)
            given["mass_from_kg"] = _number("Mass from", "mass_from_kg", *mass)
            given["mass_to_kg"] = _number("to", "mass_to_kg", *mass)
            for name, label in (("suspect", "Marked for a look"), ("list_short", "List short")):
                given[name] = _YES_NO.get(address.one(label, name, _same(_YES_NO), widget=st.segmented_control))
    like = _like(items)
    orders = [order for order in SORTS if order != "likest" or like]
    sort = st.segmented_control("Order", orders, default="newest", required=True, key=f"order-{len(orders)}")
    return Search(now.filters, like=like, sort=sort or "newest", **given)


def _items(label: str, key: str, called: dict[str, str]) -> list[str]:
    options = {item_id: called[item_id] for item_id in sorted(called, key=called.__getitem__)}
    return address.several(label, key, options, placeholder="any", width=320)


def _number(label: str, key: str, unit: str, per: float) -> float | None:
    return address.number(f"{label}, {unit}", key, per, width=150, placeholder="any")


def _same(options: Iterable[T]) -> dict[T, str]:
    """Options that are called by their ids."""
    return {option: str(option) for option in options}


def _like(items: dict[str, Any]) -> Wanted | None:
    """The draft on this session's desk, if results are to be compared with it."""
    draft = desk_top.drafts().get(desk_top.letter())
    if not draft or not draft.bodies:
        return None
    if not st.toggle("Compare with the draft on *Early mass*", key="like_draft"):
        return None
    body = draft.bodies[0]
    held: dict[str, float] = {}
    for line in body.lines:
        if line.item_id in items:
            held[line.item_id] = held.get(line.item_id, 0.0) + line.qty
    return Wanted(body.body.partition("-")[0], body.length_mm, held)
