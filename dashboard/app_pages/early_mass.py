"""Early mass: what a body that nobody has drawn yet will weigh."""

import streamlit as st

from dashboard import live
from dashboard.early import desk_top
from dashboard.early.answer import answer
from dashboard.early.choices import choices
from dashboard.early.form import form
from dashboard.early.limits import on_vehicle
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
    left, right = st.columns([5, 7], gap="large")
    with left:
        form(now, known)
    with right:
        level = st.select_slider(
            "How sure should the range be?",
            LEVELS,
            0.9,
            format_func=lambda one: f"{share_in_words(one)} bodies",
            key="level",
            bind="query-params",
        )
        try:
            found = live.ask_edition(estimate_draft, to_json(desk_top.drafts()[desk_top.letter()]), level, travel_form(now))
        except NoModel:
            st.info("There is no mass model yet. It is fitted by `tarebook fit`, or from *Start*.")
            return
        answer(now, found, known, desk_top.letter())
        on_vehicle(now, found, known, desk_top.letter())


working_place(here())
