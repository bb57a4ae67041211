"""Start: what is new since last time, and what wants a look; an empty store is led to its first picture."""

import streamlit as st

from dashboard import abouts, live, who
from dashboard.frame import link
from dashboard.here import Here, here
from dashboard.parts import tables
from dashboard.parts.jobs import job_link
from dashboard.parts.sources import cautions, source
from dashboard.questions import margins_spread, newest_near
from dashboard.start.loading import last_load, load_form
from dashboard.start.views import saved_views
from pipeline.answers import near, start
from pipeline.answers.access import may, pages_of
from pipeline.answers.files import Rows
from pipeline.answers.filters import Filters

MOST_QUIET = 8


def came_in(now: Here) -> None:
    news = live.ask(start.news)
    st.header("What came in last", anchor=False)
    st.markdown(
        f"The store holds **{_many(news.jobs, 'job', 'jobs')}** with **{_many(news.bodies, 'body', 'bodies')}**, {news.weighed:,} of them "
        f"weighed. **{_many(news.rejected, 'row', 'rows')}** could not be kept; **{_many(news.suspects, 'record', 'records')}** to look at."
    )
    tables.table(news.hand_ins, "Hand-ins of the newest day of loading", "came-in", now, abouts.ACCOUNTS, take=False)
    link("record-health", "See what was rejected and what wants a look →")


def _many(count: int, one: str, more: str) -> str:
    return f"{count:,} {one if count == 1 else more}"


@st.fragment(parallel=True)
def changes(now: Here) -> None:
    st.header("What really changed in sales", anchor=False)
    found = live.ask(start.findings)
    st.markdown("\n".join(f"- {tables.escaped(words)}" for words in found) or "Nothing changed by more than chance.")
    with st.container(horizontal=True, vertical_alignment="center", gap="small"):
        link("what-sells", "See every comparison →")
        source(now, "findings", abouts.CHANGES)


@st.fragment(parallel=True)
def near_limits(now: Here) -> None:
    st.header("Near the limit", anchor=False)
    said = live.ask(margins_spread, Filters(), near.TRAVEL, "gvm").said
    if not said.known:
        st.markdown("No delivered job has a known margin yet.")
        return
    st.markdown(
        f"**{said.over:,}** of {said.known:,} delivered jobs stand over the rating with the travel load, "
        f"**{said.near:,}** more are near it."
    )
    shown = ("job_id", "vehicle_id", "dated_on", "margin_kg", "body_source")
    rows = live.ask(newest_near, 5)
    if rows.rows:
        place = tables.choose(rows, "The newest jobs near or over the rating", "near-newest", now, abouts.MARGINS, shown)
        if place is not None:
            job_link(rows.records()[place]["job_id"])
    cautions("estimate", "weigh")
    link("near-the-limit", "See all of them →")


@st.fragment(parallel=True)
def quiet(now: Here) -> None:
    st.header("Quotes gone quiet", anchor=False)
    found = live.ask(start.gone_quiet)
    st.markdown("Open for longer than 9 of 10 orders of their kind took to come. Somebody may want to call.")
    shown = ("job_id", "branch", "kind", "quoted_on", "words")
    few = Rows(found.columns, found.rows[:MOST_QUIET])
    if few.rows:
        place = tables.choose(few, "Open quotes that went quiet lately, the newest first", "quiet", now, abouts.QUIET, shown)
        if place is not None:
            job_link(few.records()[place]["job_id"])
    else:
        st.caption("None went quiet lately.")
    link("what-sells", "See every quiet quote →", {"view": "quotes"})


def first_steps() -> None:
    st.info("Nothing is loaded yet.")
    st.markdown(
        "1. Hand in your records below: job lists, bodies, fit-out, tickets, as spreadsheets or CSV. Start with what you have; "
        "almost everything is optional.\n"
        "2. What cannot be read is told row by row on *Record health*.\n"
        "3. A fit makes the mass model. Then *Early mass* answers, and the other pages fill."
    )
    if may(who.role(), "load"):
        st.caption(f"The store is the folder {tables.escaped(str(live.store().root))}.")


if live.edition() is None:
    first_steps()
    if may(who.role(), "load"):
        load_form(None)
else:
    now = here()
    last_load(now)
    saved_views(now)
    came_in(now)
    changes(now)
    if "near-the-limit" in pages_of(now.role):
        near_limits(now)
    quiet(now)
    if now.may("load"):
        load_form(now)
