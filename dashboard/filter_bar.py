"""The filters that all pages share, in the address and kept on the way between pages."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import called, live
from dashboard.here import FILTER_KEYS, filters
from dashboard.questions import family_names
from pipeline.contract.tables import BODY_KINDS
from pipeline.settings import Settings


def filter_bar(_settings: Settings, used: bool) -> None:
    """Draw the filters in the sidebar; where a page is about something else they stay as they are, folded away."""
    if live.edition() is None:
        return
    options = live.ask(filter_options)
    label = "Filters" if used else "Filters (not used on this page)"
    with st.expander(label, expanded=used):
        for label, key in (("From month", "since"), ("To month", "until")):
            st.selectbox(label, options["months"], index=None, key=key, bind="query-params", placeholder="any")
        _several("Kind of body", "kinds", list(BODY_KINDS))
        _several("Size class", "size_classes", options["size_classes"])
        _several("Vehicle", "vehicles", list(options["vehicles"]), options["vehicles"])
        _several("Branch", "branches", options["branches"])
        _several("Layout family", "families", list(options["families"]), options["families"])
        st.button("Reset filters", on_click=_reset, type="tertiary", disabled=not filters().to_query())


def _several(label: str, key: str, options: list[Any], names: dict[Any, str] | None = None) -> None:
    if options:
        said = names.__getitem__ if names else str
        st.multiselect(label, options, key=key, bind="query-params", format_func=said, placeholder="all", select_all=False)


def _reset() -> None:
    for key in FILTER_KEYS[:2]:
        st.session_state[key] = None
    for key in FILTER_KEYS[2:]:
        if key in st.session_state:
            st.session_state[key] = []


def filter_options(con: Any, _settings: Settings) -> dict[str, Any]:
    """What the filters can be set to in an edition."""
    vehicles = con.execute("SELECT DISTINCT vehicle_id, vehicle FROM current_jobs ORDER BY vehicle, vehicle_id").fetchall()
    branches = con.execute("SELECT DISTINCT branch FROM current_jobs WHERE branch IS NOT NULL ORDER BY branch").fetchall()
    classes = con.execute("SELECT DISTINCT size_class FROM current_jobs ORDER BY size_class").fetchall()
    months = con.execute("""
        SELECT DISTINCT strftime(day, '%Y-%m') FROM (
            SELECT quoted_on AS day FROM current_jobs
            UNION ALL SELECT ordered_on FROM current_jobs
            UNION ALL SELECT delivered_on FROM current_jobs
        ) WHERE day IS NOT NULL ORDER BY 1 DESC""").fetchall()
    return {
        "months": [row[0] for row in months],
        "vehicles": called.unlike(dict(vehicles)),
        "branches": [row[0] for row in branches],
        "size_classes": [row[0] for row in classes],
        "families": {number: called.family(number, name) for number, name in family_names(con, _settings).items()},
    }
