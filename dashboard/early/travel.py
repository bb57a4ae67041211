"""The travel load of a page: who and what comes along."""

from __future__ import annotations

import msgspec
import streamlit as st

from dashboard.here import Here
from pipeline.settings_loads import Person, Seat, Side, TravelLoad

_SEATS: tuple[tuple[Seat, Side], ...] = (("front", "right"), ("front", "left"), ("rear", "left"), ("rear", "right"), ("rear", "middle"))


def travel_form(now: Here) -> str:
    """Draw the form, folded; the travel load as JSON, empty where it is that of the settings."""
    usual = now.settings.travel
    with st.expander("Who and what comes along"):
        people = _people(now, usual)
        with st.container(horizontal=True):
            luggage = _kg(now, "Luggage", usual.luggage_kg, "luggage")
            water = _number("Drinking water, l", 5000.0, usual.water_l, 10.0, "water")
            fuel = _number("Fuel, % of the tank", 100.0, float(round(100 * usual.fuel_fraction)), 5.0, "fuel")
        with st.container(horizontal=True):
            trailer = _kg(now, "Trailer, loaded", usual.trailer_kg, "trailer", 60_000.0)
            ball = _kg(now, "On the ball", usual.ball_kg, "ball")
    load = TravelLoad(people, luggage, water or 0.0, (fuel or 0.0) / 100, trailer, ball, usual.extra)
    return "" if load == usual else msgspec.json.encode(load).decode()


def _people(now: Here, usual: TravelLoad) -> list[Person]:
    found = []
    with st.container(horizontal=True):
        for seat, side in _SEATS:
            there = next((one.kg for one in usual.people if (one.seat, one.side) == (seat, side)), 0.0)
            kg = _kg(now, f"{seat.capitalize()} seat, {side}", there, f"{seat}_{side}", 400.0)
            if kg:
                found.append(Person(kg, seat, side))
    known = {(one.seat, one.side) for one in found}
    others = [one for one in usual.people if (one.seat, one.side) not in _SEATS]
    in_order = [one for usual_one in usual.people for one in found if (one.seat, one.side) == (usual_one.seat, usual_one.side)]
    return [*in_order, *(one for one in found if one not in in_order), *(one for one in others if (one.seat, one.side) not in known)]


def _kg(now: Here, label: str, value: float, name: str, most: float = 5_000.0) -> float:
    per = now.units.kg_per_unit
    shown = round(value / per, 1)
    given = _number(f"{label}, {now.units.mass}", most, shown, 5.0, f"{name}_{now.units.mass}")
    return value if given is None or given == shown else given * per


def _number(label: str, most: float, usual: float, step: float, name: str) -> float | None:
    """A number that stays on the desk while the session lasts, as the drafts do."""
    return st.number_input(label, 0.0, most, usual, step, format="%g", key=name, persist_state="session", width=170)
