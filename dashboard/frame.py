"""The frame of every page: who looks, the list of pages, filters, units, and how fresh the records are."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

import streamlit as st

from dashboard import address, live, who
from dashboard.filter_bar import filter_bar
from dashboard.glossary import glossary_button
from dashboard.here import look
from dashboard.units import SYSTEMS
from pipeline.answers.access import Role, pages_of
from pipeline.errors import InputRefused, TarebookError
from pipeline.log import log_unexpected
from pipeline.pictures.palette import Look, text_on
from pipeline.settings import Settings

PAGES_FOLDER = Path(__file__).parent / "app_pages"
ASSETS = Path(__file__).parent / "assets"
PAGES = {
    "start": ("Start", "What is new since last time, and what wants a look."),
    "what-sells": ("What sells", "Which layouts, items, lengths and vehicles sell, and what really changed."),
    "layout-families": ("Layout families", "Bodies with alike layouts, their typical builds and how they fare."),
    "near-the-limit": ("Near the limit", "How close past builds came to what their vehicles are rated for."),
    "early-mass": ("Early mass", "What a body that nobody has drawn yet will weigh, and what that leaves."),
    "for-your-vehicle": ("For your vehicle", "Typical builds on a customer's vehicle, for a screen turned to them."),
    "job-finder": ("Job finder", "Every past job at hand."),
    "model-check": ("Model check", "How far the estimates can be trusted, and where not."),
    "record-health": ("Record health", "What was handed in, what was kept, and what is missing."),
    "settings": ("Settings", "What is set, and where."),
}
"""Title and tooltip of each page, by its address."""
FILTERED = ("what-sells", "layout-families", "near-the-limit", "job-finder")
"""Pages that the shared filters are about."""
_LOOK_EVERY = "3s"
_LOOK_OFTEN = "0.25s"
"""While there is nothing to show yet: `tarebook up` is reading the first records."""


def run() -> None:
    """Draw the frame and the page that was asked for."""
    st.set_page_config(page_title="Tarebook", page_icon=str(ASSETS / "mark.svg"), layout="wide")
    st.html(ASSETS / "page.css")
    st.html(_look_css(look()))
    settings = _settings()
    role = who.role()
    if role is Role.NOBODY:
        _sign_in()
        return
    names = pages_of(role)
    pages = {name: _page(name, default=name == names[0]) for name in names}
    # the first page is served at the root; under its own name as well, since people write that
    also = st.Page(_file(names[0]), title=PAGES[names[0]][0], url_path=names[0], visibility="hidden")
    page = st.navigation([*pages.values(), also], expanded=True)
    st.session_state["pages"] = pages
    asked = next((name for name, one in pages.items() if one is page), names[0])
    with st.sidebar:
        if role is not Role.CUSTOMER:
            filter_bar(settings, used=asked in FILTERED)
        units = settings.workshop.units
        address.one("Units", "units", SYSTEMS, units, st.segmented_control, shared=True, required=True)
        glossary_button()
        _signed_in()
    st.title(page.title, anchor=False)
    address.tell_unknown("Units", "units")
    watched = st.fragment(_freshness, run_every=_LOOK_EVERY if live.store().live_name() else _LOOK_OFTEN)
    watched(str(live.store().root), live.store().live_name(), st.context.theme.type, role)
    _run(page, asked)


def _run(page: st.Page, name: str) -> None:
    """Run a page; an expected fault is told in its own words, a bug goes to the log and is said to be one."""
    try:
        page.run()
    except TarebookError as fault:
        for one in fault.faults:
            st.error(str(one))
    except Exception:
        # In the log that holds where it broke and nobody's row; the server's own would print the exception's words.
        log_unexpected(live.store().root, "page", page=name)
        st.error("This page met a fault of its own. Nothing was changed; the log in the store's folder says where it broke.")


def _look_css(look: Look) -> str:
    """Muted text and text on the accent at the contrast that our palette measures; the theme has no setting for either."""
    on_accent = text_on(look.accent)
    return (
        "<style>[data-testid=stCaptionContainer], [data-testid=stCaptionContainer] * "
        f"{{ color: {look.muted} !important; opacity: 1 !important; }}"
        f"[data-testid^=stBaseButton-primary] *, [data-tag], [data-tag] * {{ color: {on_accent} !important; }}</style>"
    )


def link(name: str, label: str = "", query: Mapping[str, str | list[str]] | None = None) -> None:
    """A link to another page, if whoever looks gets that page."""
    pages = st.session_state.get("pages", {})
    if name in pages:
        st.page_link(pages[name], label=label or PAGES[name][0], query_params=query)


def _page(name: str, default: bool) -> st.Page:
    title, about = PAGES[name]
    return st.Page(_file(name), title=title, url_path="" if default else name, help=about, default=default)


def _file(name: str) -> Path:
    return PAGES_FOLDER / f"{name.replace('-', '_')}.py"


def _settings() -> Settings:
    """The store's settings; a wrong file is told and stops everything, since roles stand in it too."""
    try:
        return live.settings()
    except InputRefused as refused:
        st.title("Settings cannot be read", anchor=False)
        for fault in refused.faults:
            st.error(str(fault))
        st.stop()


def _freshness(root: str, shown: str, theme: str | None, role: Role) -> None:
    """How fresh the records are; draws the whole page anew when another edition went live, or the look or the role is another.

    A part of a page may run again without the whole: a sign-in that ran out must not leave it standing.
    """
    if live.store().live_name() != shown or st.context.theme.type != theme or who.role() is not role:
        st.rerun(scope="app")
    if role is Role.CUSTOMER:
        return
    edition = live.edition()
    if edition is None:
        st.caption("No records yet.")
        return
    made = datetime.fromisoformat(edition.manifest["made_on"]).astimezone()
    to = edition.manifest.get("records_to")
    said = f"Records to {_day(datetime.fromisoformat(to))}" if to else "Records without dates"
    st.caption(f"{said} · loaded {_day(made)}, {made:%H:%M} · edition {edition.number}")


def _day(day: datetime) -> str:
    return f"{day.day} {day:%B %Y}"


def _sign_in() -> None:
    st.navigation([st.Page(_nothing, title="Tarebook", url_path="", default=True)], position="hidden").run()
    st.title("Tarebook", anchor=False)
    if who.claims():
        st.warning("You are signed in, but this workshop has not given you a role, or your sign-in has run out.")
        st.button("Sign out", on_click=st.logout)
    st.button("Sign in", type="primary", on_click=st.login)


def _nothing() -> None:
    """The page of whoever may see nothing."""


def _signed_in() -> None:
    if who.signing_in():
        st.caption(f"Signed in as {who.name()}")
        st.button("Sign out", on_click=st.logout, type="tertiary")
