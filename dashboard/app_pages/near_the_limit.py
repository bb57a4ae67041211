"""Near the limit: how close past jobs came to what their vehicles are rated for, the ones over it first."""

import polars as pl
import streamlit as st

from dashboard import live
from dashboard.early.limits import headline, spoken
from dashboard.here import Here, here
from dashboard.parts import pictures, tables
from dashboard.parts.builds import job_drawing
from dashboard.parts.jobs import job_link
from dashboard.parts.rows import rows_of
from dashboard.parts.sources import cautions, source
from dashboard.questions import calls, case_of_job, margins_by, margins_through
from dashboard.start.views import keep_view
from pipeline.answers import near
from pipeline.answers.files import Rows
from pipeline.answers.margins import tickets_beside
from pipeline.frames import rows
from pipeline.pictures import charts

LIMIT_WORDS = {"gvm": "whole vehicle (GVM)", "rear_axle": "rear axle"}
LIST = ("job_id", "vehicle_id", "dated_on", "margin_kg", "rear_margin_kg", "p_over", "laden_kg", "gvm_kg", "body_source", "laden_source")
TICKETS = (
    "job_id",
    "ticket",
    "state",
    "ticket_kg",
    "reckoned_kg",
    "apart_kg",
    "sd_kg",
    "ticket_rear_kg",
    "reckoned_rear_kg",
    "rear_apart_kg",
)


@st.fragment
def distribution(now: Here) -> None:
    with st.container(horizontal=True):
        load = st.segmented_control(
            "Loaded", list(near.LOADS), format_func=near.LOADS.get, default=near.TRAVEL, required=True, key="load", bind="query-params"
        )
        limit = st.segmented_control(
            "Limit", list(LIMIT_WORDS), format_func=LIMIT_WORDS.get, default="gvm", required=True, key="limit", bind="query-params"
        )
    found = live.ask(margins_through, now.filters, load)
    said = near.count(found, limit, now.settings.limits)
    if not said.known:
        st.info(
            "No delivered job with these filters has a known margin. Vehicles need their ratings and empty mass, bodies a mass or a model."
        )
        return
    st.markdown(
        f"**{said.over:,}** of {said.known:,} delivered jobs stand over the rating {near.LOADS[load]}; **{said.near:,}** more are near it "
        f"(under {now.units.kg(now.settings.limits.near_margin_kg)} left, or a chance above {now.settings.limits.near_p:.0%} of going over)."
        + (f" Of {said.jobs - said.known:,} jobs the margin is not known." if said.jobs > said.known else "")
    )
    margin = near.LIMITS[limit]
    chosen = pictures.chart(
        charts.margins(found.select(pl.col(margin).alias("margin_kg")), now.style(pick=True)), f"margins-{load}-{limit}"
    )
    source(
        now, "margins", "A limit less everything on the vehicle. A job that was weighed when finished is taken at that; otherwise it is added up from the vehicle, what came off, and the "
        "bodies: weighed before drawn before estimated, and the list says which.", f"{said.known:,} delivered jobs.", ("estimate", "weigh", "basis", "lowest", "authority"),
    )  # fmt: skip
    cautions("estimate", "weigh", "authority")
    jobs(now, _brushed(now, found, chosen, margin), margin)
    groups(now, found, limit)


def _brushed(now: Here, found: pl.DataFrame, chosen: dict, margin: str) -> pl.DataFrame:
    spans = [span for span in (chosen.get("picked") or {}).values() if isinstance(span, list) and len(span) == 2]
    if not spans:
        st.caption("Drag over the picture to see only the jobs of that span.")
        return found
    low, high = (float(end) * now.units.kg_per_unit for end in spans[0])
    return found.filter(pl.col(margin).is_between(min(low, high), max(low, high)))


def jobs(now: Here, found: pl.DataFrame, margin: str) -> None:
    st.subheader("The jobs, those over the rating first", anchor=False)
    listed = found.sort(margin, "job_id", nulls_last=True)
    rows = rows_of(listed, live.ask(calls), ("vehicle_id",))
    place = tables.choose(rows, "Delivered jobs with their margins", "near-jobs", now, LIST) if rows.rows else None
    tables.take_along(rows, "near-the-limit", now)
    if place is not None:
        one_job(now, listed["job_id"][place])


def one_job(now: Here, job_id: str) -> None:
    st.subheader(f"Job {job_id} with the travel load", anchor=False)
    case = case_of_job(live.past_jobs(), job_id, now.settings)
    if case is None:
        return
    st.markdown(headline(now, case))
    left, right = st.columns([6, 5], gap="large")
    with left:
        pictures.chart(charts.limits(case.limits.records(), now.style()), f"job-{job_id}")
        tables.table(spoken(now, case.limits), "Limits of the job", f"limits-{job_id}", now)
    with right:
        for body in ("canopy", "box", "tray"):
            picture = job_drawing(now, job_id, body, "page")
            if picture:
                pictures.drawing(picture, f"{job_id}-{body}")
        tables.table(case.loads, "What is on the vehicle", f"loads-{job_id}", now)
    job_link(job_id)


def groups(now: Here, found: pl.DataFrame, limit: str) -> None:
    st.subheader("Where margins are thin", anchor=False)
    grouping = st.segmented_control("By", near.GROUPINGS, default="vehicle", required=True, key="margins_by", bind="query-params")
    tables.table(
        rows_of(live.ask(margins_by, now.filters, str(found["load"][0]), limit, grouping)),
        f"Margins by {grouping}",
        f"margins-by-{grouping}",
        now,
    )


@st.fragment
def check_of_reckoning(now: Here) -> None:
    open_ = st.expander("Does the reckoning agree with the weighbridge?", on_change="rerun", key="reckoning")
    if open_.open:
        with open_:
            found = Rows.of([row for row in rows(tickets_beside(live.past_jobs()))], TICKETS)
            if not found.rows:
                st.caption("No ticket of a finished or loaded vehicle yet.")
                return
            apart = pl.DataFrame({"apart": [row["apart_kg"] for row in found.records() if row["apart_kg"] is not None]})["apart"]
            st.markdown(
                f"Tickets of finished and loaded vehicles beside what was added up for the same state: half of them within **{now.units.kg(apart.abs().median())}**."
            )
            tables.table(found, "Tickets beside the reckoning", "tickets-beside", now)


now = here()
keep_view(now, "near-the-limit")
distribution(now)
check_of_reckoning(now)
