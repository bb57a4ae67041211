"""The filters that all pages share, in the address and kept on the way between pages."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import address, called, live
from dashboard.here import FILTER_KEYS
from dashboard.questions import family_names
from pipeline.contract.tables import BODY_KINDS
from pipeline.settings import Settings

LABELS = {
    "since": "From month",
    "until": "To month",
    "kinds": "Kind of body",
    "size_classes": "Size class",
    "vehicles": "Vehicle",
    "branches": "Branch",
    "families": "Layout family",
}


def filter_bar(_settings: Settings, used: bool) -> None:
    """Draw the filters in the sidebar; where a page is about something else they stay as they are, folded away."""
    if live.edition() is None:
        return
    options = live.ask(filter_options)
    label = "Filters" if used else "Filters (not used on this page)"
    with st.expander(label, expanded=used):
        for key in FILTER_KEYS:
            choose = address.one if key in ("since", "until") else address.several
            choose(LABELS[key], key, options[key], shared=True, placeholder="any" if choose is address.one else "all")


def reset() -> None:
    """Let everything through again; for a button."""
    for key in FILTER_KEYS:
        address.share(key, "")


def filter_options(con: Any, _settings: Settings) -> dict[str, dict[Any, str]]:
    """What each filter can be set to in an edition: labels by id."""
    vehicles = con.execute(
        "SELECT vehicle_id, label FROM vehicles WHERE vehicle_id IN (SELECT vehicle_id FROM current_jobs) ORDER BY label, vehicle_id"
    ).fetchall()
    branches = con.execute("SELECT DISTINCT branch FROM current_jobs WHERE branch IS NOT NULL ORDER BY branch").fetchall()
    classes = con.execute(
        "SELECT DISTINCT size_class FROM vehicles WHERE vehicle_id IN (SELECT vehicle_id FROM current_jobs) ORDER BY size_class"
    ).fetchall()
    months = con.execute("""
        SELECT DISTINCT strftime(day, '%Y-%m') FROM (
            SELECT quoted_on AS day FROM current_jobs
            UNION SELECT ordered_on FROM current_jobs
            UNION SELECT delivered_on FROM current_jobs
        ) WHERE day IS NOT NULL ORDER BY 1 DESC""").fetchall()
    listed = {row[0]: row[0] for row in months}
    return {
        "since": listed,
        "until": listed,
        "kinds": {kind: kind for kind in BODY_KINDS},
        "size_classes": {row[0]: row[0] for row in classes},
        "vehicles": called.unlike(dict(vehicles)),
        "branches": {row[0]: row[0] for row in branches},
        "families": {number: called.family(number, name) for number, name in family_names(con, _settings).items()},
    }
