"""For your vehicle: typical builds on a customer's vehicle, for a screen turned to them. Asks `answers.customer` and nobody else."""

import streamlit as st

from dashboard.here import Here, here
from dashboard.vehicle.builds import builds, change_it
from dashboard.vehicle.choice import choose_builds, choose_vehicle

_CONFIRM = "Estimates, to be confirmed on the weighbridge. The vehicle's plate and handbook govern."


@st.fragment
def page(now: Here) -> None:
    vehicle_id = choose_vehicle()
    if vehicle_id is None:
        return
    chosen = choose_builds(now, vehicle_id)
    if chosen:
        builds(now, vehicle_id, chosen)
        change_it(now, vehicle_id, chosen)
    st.caption(_CONFIRM)


page(here())
