"""The trade's terms and ours, a button away on every page."""

from __future__ import annotations

import streamlit as st

TERMS = {
    "alike": "Bodies of the same kind and size class, with lengths within 10 % and mostly the same items.",
    "axle rating": "The most that the maker allows on one axle.",
    "ball mass": "What a coupled trailer puts down on the tow ball.",
    "cab-chassis": "A vehicle that leaves the factory without a tub or tray.",
    "canopy": "A closed body with doors along its sides; often it sits on a tray.",
    "centre of mass": "The point on which the body would balance. It decides how its mass is shared between the axles.",
    "draft": "A body that somebody is thinking of and nobody has built.",
    "edition": "One complete state of all records. A load or a fit makes the next one; nothing is ever changed in an older one.",
    "GCM": "Gross combination mass: the most that vehicle and trailer may weigh together.",
    "GVM": "Gross vehicle mass: the most that the vehicle may weigh with everything and everybody on it.",
    "hand-in": "A folder or workbook of records, handed in together.",
    "headboard": "The upright just behind the cab. Bodies are measured from its plane.",
    "interval": "The range in which 9 of 10 bodies like this one came out, or another share that the page says.",
    "kerb mass": "The vehicle as it stands: full tank, nobody on board, no accessories.",
    "layout family": "Bodies whose layouts are alike.",
    "ledger": "Every row that could not be kept, with the reason.",
    "lever": "One change to a draft that gives mass back.",
    "margin": "A limit less what is on it. Below zero is over.",
    "payload": "GVM less what the vehicle weighs.",
    "standing": "Whether past builds cover a draft: inside, at the edge, or outside of history.",
    "suspect": "A record that was kept, but that somebody should look at.",
    "tare mass": "The vehicle with all fluids and 10 l of fuel.",
    "travel load": "What a check assumes on board: people, luggage, water, fuel, and mass on the ball.",
    "tray": "A flat deck behind the cab, usually with drop sides.",
    "tub": "The factory's own load box; it comes off before a tray or canopy goes on.",
    "weighbridge ticket": "What a public scale printed for the whole vehicle, at best axle by axle and side by side.",
    "wheelbase": "Front axle to rear axle.",
}


def glossary_button() -> None:
    """A button that opens the list of terms."""
    if st.button("What do the words mean?", type="tertiary"):
        _open()


@st.dialog("What the words mean", width="large")
def _open() -> None:
    st.table(
        dict(sorted(TERMS.items(), key=lambda entry: entry[0].casefold())),
        border="horizontal",
        alt="Terms and their meaning",
    )
