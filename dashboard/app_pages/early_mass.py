"""Early mass: what a body that nobody has drawn yet will weigh, and what that leaves."""

import streamlit as st

from dashboard import live
from dashboard.early import desk_top
from dashboard.early.answer import answer
from dashboard.early.beside import side_by_side
from dashboard.early.choices import choices
from dashboard.early.form import form
from dashboard.early.limits import levers, on_vehicle, usually_also
from dashboard.early.toolbar import open_from_address, toolbar
from dashboard.early.travel import travel_form
from dashboard.here import Here, here
from dashboard.words import LEVELS, share_in_words
from pipeline.answers.draft import to_json
from pipeline.answers.early import estimate_draft
from pipeline.answers.starts import empty_draft
from pipeline.errors import NoModel


@st.fragment
def working_place(now: Here) -> None:
    known = live.ask(choices)
    if desk_top.letter() not in desk_top.drafts():
        desk_top.put(desk_top.letter(), live.ask(empty_draft, None, "canopy"))
    above = st.container()
    left, right = st.columns([5, 6], gap="large")
    with left:
        form(now, known)
        travel_json = travel_form(now)
    with above:
        toolbar(now, known, travel_json)
    with right:
        level = st.select_slider(
            "How sure should the range be?",
            LEVELS,
            0.9,
            format_func=lambda one: f"{share_in_words(one)} bodies",
            key="level",
            persist_state="session",
        )
        results(now, known, level, travel_json)


def results(now: Here, known: dict, level: float, travel_json: str) -> None:
    letter = desk_top.letter()
    draft_json = to_json(desk_top.drafts()[letter])
    try:
        found = live.ask_edition(estimate_draft, draft_json, level, travel_json)
    except NoModel:
        st.info("There is no mass model yet. It is fitted by `tarebook fit`, or after a hand-in on *Start*.")
        return
    answer(now, found, known, letter)
    on_vehicle(now, found, known, letter)
    if found.cases:
        levers(now, draft_json, travel_json, letter)
    usually_also(now, found, letter)
    side_by_side(now, known, level, travel_json)


now = here()
open_from_address()
working_place(now)
