"""Saved views: a page with its filters under a name."""

from __future__ import annotations

from urllib.parse import parse_qsl, urlencode

import streamlit as st

from dashboard import address, live, who
from dashboard.frame import PAGES
from dashboard.here import FILTER_KEYS, Here
from pipeline.store import desk


def saved_views(now: Here) -> None:
    """The list of saved views, each leading to its page."""
    kept = [view for view in desk.views(live.store()) if view.page in st.session_state.get("pages", {})]
    if not kept:
        return
    st.header("Saved views", anchor=False)
    for view in kept:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.button(
                f"{view.name} ({PAGES[view.page][0]})",
                key=f"view-{view.name}",
                on_click=_open,
                args=(view.page, view.query),
                type="tertiary",
            )
            if now.may("keep-view"):
                st.button(
                    "Forget",
                    key=f"forget-{view.name}",
                    help=f"Take {view.name} off the list",
                    on_click=_forget,
                    args=(view.name,),
                    type="tertiary",
                )


def keep_view(now: Here, page: str) -> None:
    """A button that keeps this page with its filters under a name."""
    if not now.may("keep-view"):
        return
    with st.popover("Save this view", type="tertiary", key="save-view"), st.form("save-view-form", border=False):
        name = st.text_input("Name", max_chars=60, placeholder="say, canopies of the north branch")
        if st.form_submit_button("Save") and name.strip():
            query = urlencode(st.query_params.to_dict())
            desk.keep_view(live.store(), name.strip(), page, query, who.name())
            st.toast(f"Saved as {name.strip()}; it stands on Start.")


def _open(page: str, query: str) -> None:
    """Go to a page with the filters of a view, and no others."""
    asked = dict(parse_qsl(query))
    for key in FILTER_KEYS:
        address.share(key, asked.pop(key, ""))
    st.switch_page(st.session_state["pages"][page], query_params=asked)


def _forget(name: str) -> None:
    desk.forget_view(live.store(), name)
