"""Start: what is new since last time, and what wants a look; an empty store is led to its first picture."""

import streamlit as st

from dashboard import live
from dashboard.frame import link
from dashboard.here import Here, here
from dashboard.parts import tables
from dashboard.parts.jobs import job_link
from dashboard.start.loading import load_form
from dashboard.start.views import saved_views
from pipeline.answers import start


def came_in(now: Here) -> None:
    news = live.ask(start.news)
    st.header("What came in last", anchor=False)
    st.markdown(
        f"The store holds **{news.jobs:,} jobs** with **{news.bodies:,} bodies**, {news.weighed:,} of them weighed. "
        f"**{news.rejected:,}** rows could not be kept and **{news.suspects:,}** records want a look."
    )
    tables.table(news.hand_ins, "Hand-ins of the newest day of loading", "came-in", now, take=False)
    link("record-health", "See what was rejected and what wants a look")


@st.fragment(parallel=True)
def changes(now: Here) -> None:
    st.header("What really changed in sales", anchor=False)
    found = live.ask(start.findings)
    st.markdown("\n".join(f"- {tables.escaped(words)}" for words in found) or "Nothing changed by more than chance.")
    link("what-sells", "See every comparison")


@st.fragment(parallel=True)
def quiet(now: Here) -> None:
    st.header("Quotes gone quiet", anchor=False)
    found = live.ask(start.gone_quiet)
    st.markdown("Open for longer than 9 of 10 orders of their kind took to come. Somebody may want to call.")
    tables.table(found, "Open quotes that went quiet lately", "quiet", now, empty="None went quiet lately.")
    if found.rows:
        job_link(found.records()[0]["job_id"])


def first_steps() -> None:
    st.info("Nothing is loaded yet.")
    st.markdown(
        "1. Hand in your records below: job lists, bodies, fit-out, tickets, as spreadsheets or CSV. Start with what you have; almost everything is optional.\n"
        "2. What cannot be read is told row by row on *Record health*.\n"
        "3. A fit makes the mass model. Then *Early mass* answers, and the other pages fill."
    )


if live.edition() is None:
    first_steps()
    load_form(None)
else:
    now = here()
    saved_views(now)
    came_in(now)
    changes(now)
    quiet(now)
    if now.may("load"):
        load_form(now)
