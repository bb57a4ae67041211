"""Job finder: every past job by whatever is known of it, and one job opened with where each figure came from."""

import streamlit as st

from dashboard import abouts, address, live
from dashboard.finder.job import job_file
from dashboard.finder.search import search_form
from dashboard.here import Here, here
from dashboard.parts import tables
from dashboard.parts.filter_line import filter_line
from dashboard.parts.rows import rows_of
from dashboard.questions import calls, found_page, found_rows
from pipeline.answers.finder import FOUND, Search, search_words

SIZE = 50


@st.fragment
def results(now: Here) -> None:
    search = search_form(now)
    page = live.ask(found_page, search, 1, SIZE)
    number = 1
    st.markdown(f"**{tables.escaped(search_words(search, page.found))}**.")
    if not page.found:
        st.caption("Nothing matches. Take a condition away, or reset the filters.")
        return
    if page.pages > 1:
        number = int(st.number_input(f"Page of {page.pages:,}", 1, page.pages, 1, key=f"page-{hash(search)}", width=160))
        page = live.ask(found_page, search, number, SIZE)
    columns = FOUND if search.like else tuple(column for column in FOUND if column != "likeness")
    place = tables.choose(rows_of(page.rows), "Bodies found, a row a body", "found", now, abouts.BODIES, columns, take=False)
    if place is not None:
        job_id = page.rows["job_id"][place]
        st.button(f"Open job {job_id}", on_click=open_here, args=(job_id,), type="primary")
    take_all(now, search, page.found)


def open_here(job_id: str) -> None:
    """Open a job on this page; a link to the page itself would not reach its address."""
    address.put("job", job_id)
    st.rerun()


def take_all(now: Here, search: Search, found: int) -> None:
    """The rows of all pages as files, made when they are wanted."""
    if now.may("take-along"):
        tables.take_along_later(lambda: rows_of(found_rows(now.edition.cursor(), now.settings, search)), found, "jobs-found", now)


now = here()
job_id = address.text("Open a job by its number", "job", max_chars=80, placeholder="a job number")
if job_id:
    job_file(now, job_id)
else:
    among = live.ask(found_page, Search(now.filters), 1, SIZE).found  # what is found below, too, where nothing more is asked
    filter_line(now, "job-finder", f"Looking through **{tables.escaped(now.filters.words(among, live.ask(calls)))}**.", abouts.BODIES)
    results(now)
