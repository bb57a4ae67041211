"""Near the limit: how close past jobs came to what their vehicles are rated for, the ones over it first."""

import numpy as np
import polars as pl
import streamlit as st

from dashboard import abouts, address, live
from dashboard.early.limits import headline, spoken
from dashboard.here import Here, here
from dashboard.parts import pictures, tables
from dashboard.parts.builds import job_drawing
from dashboard.parts.filter_line import filter_line
from dashboard.parts.jobs import job_link
from dashboard.parts.rows import rows_of
from dashboard.parts.sources import cautions
from dashboard.questions import calls, case_of_job, margins_by, margins_listed, margins_spread, tickets_beside
from pipeline.answers import near
from pipeline.answers.files import Rows
from pipeline.answers.filters import Filters
from pipeline.pictures import charts

LOAD_WORDS = {near.TRAVEL: "travel load", near.DELIVERED: "as delivered"}
LIMIT_WORDS = {"gvm": "whole vehicle (GVM)", "rear_axle": "rear axle"}
LIST = ("job_id", "vehicle_id", "dated_on", "margin_kg", "rear_margin_kg", "p_over", "laden_kg", "gvm_kg", "body_source", "laden_source")
# jobs listed on the page. (a string here would be drawn on the page)
MOST = 200
TICKETS = ("job_id", "ticket", "state", "ticket_kg", "reckoned_kg", "apart_kg", "ticket_rear_kg", "reckoned_rear_kg", "rear_apart_kg")


@st.fragment
def distribution(now: Here) -> None:
    with st.container(horizontal=True, vertical_alignment="bottom"):
        load = address.one("Loaded", "load", LOAD_WORDS, near.TRAVEL, st.segmented_control, required=True)
        limit = address.one("Limit", "limit", LIMIT_WORDS, "gvm", st.segmented_control, required=True)
    found = live.ask(margins_spread, now.filters, load, limit)
    if not in_words(now, found.said, load):
        return
    picture = charts.margins(found.bins, now.style(pick=True), near.BIN_KG, median_kg=found.median_kg)
    chosen = pictures.chart(now, picture, f"margins-{load}-{limit}", abouts.MARGINS)
    cautions("estimate", "weigh", "authority")
    jobs(now, load, limit, brushed(now, chosen))
    st.subheader("Where margins are thin", anchor=False)
    grouping = address.one("By", "margins_by", {one: one for one in near.GROUPINGS}, "vehicle", st.segmented_control, required=True)
    grouped = rows_of(live.ask(margins_by, now.filters, load, limit, grouping))
    tables.table(
        grouped,
        f"Margins by {grouping}; low and high hold 8 in 10 jobs",
        f"margins-by-{grouping}",
        now,
        abouts.MARGINS,
        empty="No such group.",
    )


def in_words(now: Here, said: near.Count, load: str) -> bool:
    if not said.known:
        st.info(
            "No delivered job with these filters has a known margin. Vehicles need ratings and an empty mass, bodies a mass or a model."
        )
        return False
    least = now.units.kg(now.settings.limits.near_margin_kg)
    st.markdown(
        f"**{said.over:,}** of {said.known:,} delivered jobs stand over the rating {near.LOADS[load]}; **{said.near:,}** more are near it "
        f"(under {least} left, or a chance above {100 * now.settings.limits.near_p:.0f} % of going over)."
    )
    if said.jobs > said.known:
        st.caption(f"Of {said.jobs - said.known:,} more jobs the margin is not known.")
    return True


def brushed(now: Here, chosen: dict) -> tuple[float, float] | None:
    """The span of margins that was dragged over in the picture."""
    spans = [span for span in (chosen.get("picked") or {}).values() if isinstance(span, list) and len(span) == 2]
    if not spans:
        st.caption("Drag over the picture to see only the jobs of that span.")
        return None
    low, high = sorted(float(end) * now.units.kg_per_unit for end in spans[0])
    return low, high


def jobs(now: Here, load: str, limit: str, span: tuple[float, float] | None) -> None:
    st.subheader("The jobs, those over the rating first", anchor=False)
    asked = (now.filters, load, limit, span)
    found, told = live.ask(margins_listed, *asked, MOST)
    if found > MOST:
        st.caption(f"{found:,} jobs, the {MOST} with the least left here; what is taken along holds all of them.")
    about, alt = abouts.MARGINS, "Delivered jobs with their margins"
    place = tables.choose(told, alt, "near-jobs", now, about, LIST, take=False) if told.rows else None
    tables.take_along_later(lambda: margins_listed(now.edition.cursor(), now.settings, *asked, None)[1], found, "near-the-limit", now)
    if place is not None:
        one_job(now, told.records()[place]["job_id"])


def one_job(now: Here, job_id: str) -> None:
    case = live.ask_edition(case_of_job, job_id)
    if case is None:
        return
    st.subheader(f"Job {job_id} with the travel load", anchor=False)
    st.markdown(headline(now, case))
    left, right = st.columns([6, 5], gap="large")
    with left:
        pictures.chart(now, charts.limits(case.limits.records(), now.style()), f"job-{job_id}", abouts.LIMITS)
        tables.table(spoken(now, case.limits), "Limits of the job", f"limits-{job_id}", now, abouts.LIMITS)
    with right:
        for body in ("canopy", "box", "tray"):
            picture = job_drawing(now, job_id, body, "page")
            if picture:
                pictures.drawing(picture, f"{job_id}-{body}")
        tables.table(
            case.loads, "What is on the vehicle", f"loads-{job_id}", now, abouts.LOADS, columns=("group", "label", "mass_kg", "basis")
        )
    job_link(job_id)


@st.fragment
def check_of_reckoning(now: Here) -> None:
    unfolded = st.expander("Does the reckoning agree with the weighbridge?", on_change="rerun", key="reckoning")
    if not unfolded.open:
        return
    with unfolded:
        found = Rows.of(live.ask_edition(tickets_beside), TICKETS)
        apart = pl.Series([row["apart_kg"] for row in found.records()], dtype=pl.Float64).drop_nulls().abs()
        if apart.is_empty():
            st.caption("No ticket of a finished or loaded vehicle yet.")
            return
        half = now.units.kg(float(np.median(apart.to_numpy())))
        st.markdown(f"Tickets of finished and loaded vehicles beside what was added up for the same state: half of them within **{half}**.")
        tables.table(found, "Tickets beside the reckoning", "tickets-beside", now, abouts.TICKETS)


def delivered(now: Here) -> str:
    """What the filters let through, in words."""
    jobs = live.ask(margins_spread, now.filters, near.TRAVEL, "gvm").said.jobs
    said = f"{jobs:,} delivered {'job' if jobs == 1 else 'jobs'}"
    return said if now.filters == Filters() else f"{said} with {now.filters.words(labels=live.ask(calls))}"


now = here()
filter_line(now, "near-the-limit", f"**{tables.escaped(delivered(now))}**.", abouts.MARGINS)
distribution(now)
check_of_reckoning(now)
