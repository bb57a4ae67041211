"""One job opened: all its versions, fit-out, drawing, tickets, and where every figure came from."""

from __future__ import annotations

import polars as pl
import streamlit as st

from dashboard import abouts, address, live
from dashboard.early import desk_top
from dashboard.finder.ticket import ticket_form
from dashboard.frame import link
from dashboard.here import Here
from dashboard.parts import pictures, tables
from dashboard.parts.builds import job_drawing
from dashboard.parts.rows import rows_of
from dashboard.questions import calls, opened
from pipeline.answers.access import hidden_columns
from pipeline.answers.finder import JobFile
from pipeline.answers.starts import job_draft
from pipeline.errors import WrongCall

_ORIGIN = ("hand_in", "file", "sheet", "line")
_TICKET = ("ticket", "weighed_on", "state", "total_kg", "front_kg", "rear_kg", "left_kg", "right_kg")
"""What fits beside the place that a ticket came from; what is taken along holds all of it."""
_BODY = ("revision", "body", "length_mm", "width_mm", "height_mm", "weighed_kg", "cad_kg", "com_x_mm", "com_y_mm", "origin", "drawing")


def job_file(now: Here, job_id: str) -> None:
    """Show one job, or say that there is none of that number."""
    st.button("Back to the search", on_click=_back, type="tertiary")
    try:
        found = live.ask(opened, job_id)
    except WrongCall:
        st.warning(f"There is no job {tables.escaped(job_id)} in this edition. Look for it by a part of its number.")
        return
    _head(now, found)
    _start_from(now, job_id)
    _bodies(now, found)
    _tickets(now, found)
    ticket_form(now, job_id)
    _history(now, found)


def _back() -> None:
    address.put("job", "")


def _head(now: Here, found: JobFile) -> None:
    last = found.jobs.to_dicts()[-1]
    labels = live.ask(calls)
    st.header(f"Job {found.job_id}", anchor=False)
    pairs = {
        "vehicle": labels.get(str(last["vehicle_id"]), last["vehicle_id"]),
        "upgrade": labels.get(str(last["upgrade_id"]), last["upgrade_id"] or "none"),
        "status": last["status"] + (f", lost because of {last['lost_why']}" if last["lost_why"] else ""),
        "quoted": tables.said("quoted_on", last["quoted_on"]),
        "ordered": tables.said("ordered_on", last["ordered_on"]),
        "handed over": tables.said("delivered_on", last["delivered_on"]),
        "hours quoted and booked": f"{tables.said('h', last['quoted_h'])} and {tables.said('h', last['labour_h'])}",
    }
    if now.may("see-prices"):
        pairs["price"] = f"{tables.said('price', last['price'])} {now.settings.workshop.currency}".rstrip()
    if now.may("see-notes") and last["note"]:
        pairs["note"] = tables.escaped(last["note"])
    tables.facts(pairs, f"Job {found.job_id} in short")
    for mark in found.marks.to_dicts():
        st.warning(f"{tables.escaped(mark['key'])}: {tables.escaped(mark['why'] or mark['rule'])}")
    with st.expander(f"Versions of this job ({len(found.jobs)}) and where they came from"):
        tables.table(rows_of(_allowed(now, found.jobs)), "Versions of the job", f"{found.job_id}-jobs", now, abouts.RECORDS)


def _allowed(now: Here, frame: pl.DataFrame) -> pl.DataFrame:
    return frame.drop(*hidden_columns(now.role), strict=False)


def _start_from(now: Here, job_id: str) -> None:
    draft = live.ask(job_draft, job_id)
    if draft is None:
        return
    if st.button("Start a draft from this job"):
        desk_top.put(desk_top.letter(), draft)
        st.switch_page(st.session_state["pages"]["early-mass"])


def _bodies(now: Here, found: JobFile) -> None:
    last = found.jobs["revision"].to_list()[-1]
    families = {row["body"]: row for row in found.families.to_dicts()}
    for body in found.bodies.filter(pl.col("revision") == last).to_dicts():
        st.subheader(body["body"].capitalize(), anchor=False)
        left, right = st.columns([6, 5], gap="large")
        with left:
            picture = job_drawing(now, found.job_id, body["body"], "page")
            if picture:
                pictures.drawing(picture, f"{found.job_id}-{body['body']}")
        with right:
            _measured(now, body)
            if body["body"] in families:
                family = families[body["body"]]
                link("layout-families", f"Layout family {family['family']} →", {"family": str(family["family"])})
        lines = found.fitout.filter((pl.col("revision") == last) & (pl.col("body") == body["body"])).drop("job_id", "revision", "body")
        said, name = f"Fit-out of the {body['body']}, with the line each came from", f"{found.job_id}-{body['body']}-fitout"
        tables.table(rows_of(lines, live.ask(calls), ("item_id",)), said, name, now, abouts.RECORDS, empty="No fit-out is written down.")


def _measured(now: Here, body: dict) -> None:
    origin = ", ".join(str(body[part]) for part in ("hand_in", "file") if body[part]) + (f", line {body['line']}" if body["line"] else "")
    tables.facts({
        "length × width": f"{now.units.mm(body['length_mm'])} × {now.units.mm(body['width_mm'])}",
        "height": now.units.mm(body["height_mm"]),
        "weighed": now.units.kg(body["weighed_kg"]),
        "drawn": now.units.kg(body["cad_kg"]),
        "centre of mass": now.units.mm(body["com_x_mm"]) + (" behind its front face" if body["com_x_mm"] is not None else ""),
        "written in": tables.escaped(origin),
    }, f"The {body['body']} in short")  # fmt: skip


def _tickets(now: Here, found: JobFile) -> None:
    if not found.weighings.is_empty() or not found.on_vehicle.is_empty():
        st.subheader("On the scale, and on the vehicle", anchor=False)
        for frame, said, name, empty, columns in (
            (found.weighings, "Weighbridge tickets of the job", "weighings", "No ticket.", (*_TICKET, *_ORIGIN)),
            (found.on_vehicle, "Things on the vehicle", "on-vehicle", "Nothing else is bolted to the vehicle.", ()),
        ):
            tables.table(rows_of(frame.drop("job_id")), said, f"{found.job_id}-{name}", now, abouts.RECORDS, empty, columns)


def _history(now: Here, found: JobFile) -> None:
    with st.expander(f"All versions of its bodies ({len(found.bodies)}), and rows that newer ones replaced ({len(found.replaced)})"):
        tables.table(
            rows_of(found.bodies.select(*_BODY, *_ORIGIN)), "Bodies of all versions", f"{found.job_id}-bodies", now, abouts.RECORDS
        )
        tables.table(
            rows_of(found.replaced.drop("row")),
            "Rows that newer ones replaced",
            f"{found.job_id}-replaced",
            now,
            abouts.RECORDS,
            empty="No row was replaced.",
        )
