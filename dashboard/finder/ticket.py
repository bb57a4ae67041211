"""Type a weighbridge ticket in; it becomes a hand-in of its own."""

from __future__ import annotations

from datetime import date

import streamlit as st

from dashboard import live, who
from dashboard.here import Here
from dashboard.parts.faults import told
from pipeline.answers.access import may
from pipeline.answers.settling import type_ticket

_STATES = {
    "arrived": "as brought",
    "bare": "tub or old tray off",
    "finished": "bodies on, nothing loaded",
    "loaded": "ready to travel",
}
_MASSES = {
    "total_kg": "Whole vehicle",
    "front_kg": "Front axle",
    "rear_kg": "Rear axle",
    "left_kg": "Left wheels",
    "right_kg": "Right wheels",
}


def ticket_form(now: Here, job_id: str) -> None:
    """A form for one ticket of a job."""
    if not now.may("type-ticket"):
        return
    with st.expander("Type a weighbridge ticket in"), st.form(f"ticket-{job_id}", border=False):
        with st.container(horizontal=True):
            number = st.text_input("Number of the ticket", max_chars=60, width=190)
            day = st.date_input("Weighed on", value="today", format="YYYY-MM-DD", min_value=date(1980, 1, 1), max_value="today", width=190)
            state = st.selectbox("State", list(_STATES), index=None, format_func=_STATES.__getitem__, placeholder="choose", width=240)
        with st.container(horizontal=True):
            masses = {name: _kg(now, label) for name, label in _MASSES.items()}
            step = _kg(now, "Division of the scale")
        with st.container(horizontal=True):
            fuel = st.number_input("Fuel, % of the tank", 0, 100, None, 5, placeholder="not known", width=170)
            people = _kg(now, "People on board")
            water = st.number_input("Water on board, l", 0.0, value=None, placeholder="not known", format="%g", width=170)
        sent = st.form_submit_button("Take it in", type="primary")
    if sent and may(who.role(), "type-ticket"):
        load = {"scale_step_kg": step, "fuel_fraction": None if fuel is None else fuel / 100, "people_kg": people, "water_l": water}
        _keep({"job_id": job_id, "ticket": number.strip() or None, "weighed_on": day, "state": state, **masses, **load})


def _kg(now: Here, label: str) -> float | None:
    given = st.number_input(f"{label}, {now.units.mass}", 0.0, value=None, placeholder="not known", format="%g", width=170)
    return None if given is None else given * now.units.kg_per_unit


def _keep(ticket: dict[str, object]) -> None:
    with told(), st.spinner("Taking it in"):
        result = type_ticket(live.store(), ticket)
        if any(account["rejected"] for account in result.accounts):
            st.warning("The ticket was rejected; the ledger on *Record health* says why.")
        else:
            st.toast(f"Taken in with edition {result.edition.number}.")
            st.rerun()
