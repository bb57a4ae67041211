"""Which vehicle, and which builds to lay side by side."""

from __future__ import annotations

import streamlit as st

from dashboard import address, called, live
from pipeline.answers.customer import Group, groups, vehicles_to_choose

MOST_BESIDE = 3
_KINDS = ("canopy", "tray", "box")


def choose_vehicle() -> str | None:
    """Ask for the vehicle."""
    vehicles = called.unlike(live.ask(vehicles_to_choose))
    st.markdown("### Tell us which vehicle it is, and we show you what others like it carry.")
    return address.one("Your vehicle", "for", vehicles, placeholder="type a part of its name")


def choose_builds(vehicle_id: str) -> list[Group]:
    """The groups that may be told of, and which of them to show; empty where there is none to tell of."""
    found = live.ask(groups, vehicle_id)
    if not found.found:
        return []
    if found.wider:
        st.info("We have built few on this very vehicle so far. These are builds on vehicles of the same size and cab.")
    names = {f"{group.family}-{group.kind}": kind_first(group) for group in found.found}
    label, first = f"Choose up to {MOST_BESIDE} to lay side by side", next(iter(names))
    chosen = address.several(label, "beside", names, (first,), st.pills, selection_mode="multi")
    picked = [group for group in found.found if f"{group.family}-{group.kind}" in chosen]
    if len(picked) > MOST_BESIDE:
        st.caption(f"The first {MOST_BESIDE} of them are shown.")
    return picked[:MOST_BESIDE]


def choose_kind() -> str:
    """What to start from where there is no typical build to tell of."""
    st.info("We have built too few on vehicles like this to show a typical one. Start from an empty body instead.")
    return str(st.segmented_control("Start from", _KINDS, default=_KINDS[0], format_func=str.capitalize, key="bare", required=True))


def kind_first(group: Group) -> str:
    """What a group is called: its name, which begins with the kind of body."""
    return group.name[:1].upper() + group.name[1:]
