"""The form of a search; what is filled in narrows, what is empty asks for nothing."""

from __future__ import annotations

from datetime import date
from typing import Any

import streamlit as st

from dashboard import live
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
        held = st.multiselect(
            "With items",
            sorted(called, key=called.__getitem__),
            format_func=called.get,
            key="with",
            bind="query-params",
            placeholder="any",
            width=320,
        )
        zone = (
            st.selectbox("the first of them at", ZONES, index=None, key="at", bind="query-params", placeholder="any place", width=190)
            if held
            else None
        )
    given["items"] = tuple(ItemAt(item, zone if place == 0 else None) for place, item in enumerate(held))
    with st.expander("More to narrow by"):
        with st.container(horizontal=True):
            given["without"] = tuple(
                st.multiselect(
                    "Without items",
                    sorted(called, key=called.__getitem__),
                    format_func=called.get,
                    key="without",
                    bind="query-params",
                    placeholder="any",
                    width=320,
                )
            )
            years = list(range(date.today().year + 1, 1999, -1))
            given["years"] = tuple(st.multiselect("Years", years, key="years", bind="query-params", placeholder="any", width=190))
            given["statuses"] = tuple(st.multiselect("Status", STATUSES, key="statuses", bind="query-params", placeholder="any", width=190))
            given["standings"] = tuple(
                st.multiselect("Standing", STANDINGS, key="standings", bind="query-params", placeholder="any", width=190)
            )
        with st.container(horizontal=True):
            for name, label, unit, per in (
                ("length_from_mm", "Length from", now.units.length, now.units.mm_per_unit), ("length_to_mm", "to", now.units.length, now.units.mm_per_unit),
                ("mass_from_kg", "Mass from", now.units.mass, now.units.kg_per_unit), ("mass_to_kg", "to", now.units.mass, now.units.kg_per_unit),
            ):  # fmt: skip
                value = st.number_input(
                    f"{label}, {unit}", 0.0, value=None, key=name, bind="query-params", width=150, placeholder="any", format="%g"
                )
                given[name] = None if value is None else value * per
            for name, label in (("suspect", "Marked for a look"), ("list_short", "List short")):
                given[name] = _YES_NO.get(st.segmented_control(label, list(_YES_NO), key=name, bind="query-params") or "")
    like = _like(items)
    orders = [order for order in SORTS if order != "likest" or like]
    sort = st.segmented_control("Order", orders, default="newest", required=True, key=f"order-{len(orders)}")
    return Search(now.filters, like=like, sort=sort or "newest", **given)


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
