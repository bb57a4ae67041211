"""From rows to the job: a list of bodies whose rows can be chosen, and the way to the one chosen."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import abouts, live
from dashboard.frame import link
from dashboard.here import Here
from dashboard.parts import tables
from dashboard.parts.rows import rows_of
from pipeline.answers.files import Rows
from pipeline.answers.finder import Search, find
from pipeline.settings import Settings

LIST = ("job_id", "body", "vehicle", "branch", "status", "dated_on", "length_mm", "measured_kg", "measured_by", "suspect")
MOST = 200


def bodies_behind(now: Here, search: Search, name: str) -> None:
    """The bodies behind a choice, and a link to the job that is chosen among them."""
    found, rows = live.ask(first_rows, search)
    if not rows.rows:
        st.caption("No body matches.")
        return
    st.caption(
        f"{found:,} {'body' if found == 1 else 'bodies'}"
        + (f", the newest {MOST} of them here" if found > MOST else "")
        + ". Choose a row to open its job."
    )
    place = tables.choose(rows, "Bodies behind the choice", name, now, abouts.BODIES, LIST)
    if place is not None:
        job_link(rows.records()[place]["job_id"])


def job_link(job_id: str) -> None:
    """The way to one job."""
    link("job-finder", f"Open job {job_id} →", {"job": job_id})


def first_rows(con: Any, _settings: Settings, search: Search) -> tuple[int, Rows]:
    """How many bodies match, and the first of them."""
    page = find(con, search, 1, MOST)
    return page.found, rows_of(page.rows)
