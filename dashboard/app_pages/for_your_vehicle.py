"""For your vehicle: typical builds on a customer's vehicle, for a screen turned to them. Asks `answers.customer` and nobody else."""

import streamlit as st

from dashboard import live
from dashboard.here import Here, here
from dashboard.vehicle.builds import one_build, side_by_side
from dashboard.vehicle.choice import choose_builds, choose_kind, choose_vehicle
from pipeline.answers.customer import empty_build, made_up

_CONFIRM = "Estimates, to be confirmed on the weighbridge. The vehicle's plate and handbook govern."


@st.fragment
def page(now: Here) -> None:
    vehicle_id = choose_vehicle()
    if vehicle_id is None:
        return
    chosen = choose_builds(vehicle_id)
    if len(chosen) > 1:
        side_by_side(now, vehicle_id, chosen)
    elif chosen:
        one_build(now, live.ask(made_up, vehicle_id, chosen[0]), chosen[0])
    else:
        one_build(now, empty_build(vehicle_id, choose_kind()), None)
    st.caption(_CONFIRM)


st.set_page_config(initial_sidebar_state="collapsed")
page(here())
