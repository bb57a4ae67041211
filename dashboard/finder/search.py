"""The form of a search; what is filled in narrows, what is empty asks for nothing."""

from __future__ import annotations

from datetime import date
from typing import Any

import streamlit as st

from dashboard import address, live
from dashboard.early import desk_top
from dashboard.early.choices import choices
from dashboard.here import Here
from pipeline.answers.finder import SORTS, STANDINGS, ItemAt, Search
from pipeline.contract import STATUSES, ZONES
from pipeline.layouts.alike import Wanted

_YES_NO = {"yes": True, "no": False}


def search_form(now: Here) -> Search:
    """Draw the form and give the search."""
    known = live.ask(choices)
    items: dict[str, Any] = known["items"]
    called = {item_id: item["label"] for item_id, item in items.items()}
    given: dict[str, Any] = {}
    with st.container(horizontal=True):
        given["job"] = (st.text_input("Part of the number", key="find_job", bind="query-params", max_chars=40, width=190) or "").strip()
        given["words"] = (st.text_input("Words of the note", key="find_words", bind="query-params", max_chars=100, width=190) or "").strip()
        held = _items("With items", "with", called)
        zone = (
            st.selectbox("the first of them at", ZONES, index=None, key="at", bind="query-params", placeholder="any", width=190)
            if held
            else None
        )
    given["items"] = tuple(ItemAt(item, zone if place == 0 else None) for place, item in enumerate(held))
    with st.expander("More to narrow by"):
        with st.container(horizontal=True):
            given["without"] = tuple(_items("Without items", "without", called))
            years = list(range(date.today().year + 1, 1999, -1))
            given["years"] = tuple(
                st.multiselect("Years", years, key="years", bind="query-params", placeholder="any", select_all=False, width=190)
            )
            given["statuses"] = tuple(
                st.multiselect("Status", STATUSES, key="statuses", bind="query-params", placeholder="any", select_all=False, width=190)
            )
            given["standings"] = tuple(
                st.multiselect("Standing", STANDINGS, key="standings", bind="query-params", placeholder="any", select_all=False, width=190)
            )
        with st.container(horizontal=True):
            length = (now.units.length, now.units.mm_per_unit)
            mass = (now.units.mass, now.units.kg_per_unit)
            given["length_from_mm"] = _number("Length from", "length_from_mm", *length)
            given["length_to_mm"] = _number("to", "length_to_mm", *length)
            given["mass_from_kg"] = _number("Mass from", "mass_from_kg", *mass)
            given["mass_to_kg"] = _number("to", "mass_to_kg", *mass)
            for name, label in (("suspect", "Marked for a look"), ("list_short", "List short")):
                given[name] = _YES_NO.get(st.segmented_control(label, list(_YES_NO), key=name, bind="query-params") or "")
    like = _like(items)
    orders = [order for order in SORTS if order != "likest" or like]
    sort = st.segmented_control("Order", orders, default="newest", required=True, key=f"order-{len(orders)}")
    return Search(now.filters, like=like, sort=sort or "newest", **given)


def _items(label: str, key: str, called: dict[str, str]) -> list[str]:
    options = {item_id: called[item_id] for item_id in sorted(called, key=called.__getitem__)}
    chosen = address.several(label, key, options, placeholder="any", width=320)
    address.tell_unknown(label, key)
    return chosen


def _number(label: str, key: str, unit: str, per: float) -> float | None:
    value = st.number_input(f"{label}, {unit}", 0.0, value=None, key=key, bind="query-params", width=150, placeholder="any", format="%g")
    return None if value is None else value * per


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
