"""What the filters let through on a page, in words, and what can be done with them there."""

from __future__ import annotations

import streamlit as st

from dashboard import address
from dashboard.filter_bar import LABELS, reset
from dashboard.here import Here
from dashboard.parts.sources import About, source
from dashboard.start.views import keep_view
from pipeline.answers.filters import Filters


def filter_line(now: Here, page: str, sentence: str, about: About) -> None:
    """A sentence that says what is counted; beside it a way to let everything through again, to keep the
    page as it is, and to ask where the figures come from."""
    for key, label in LABELS.items():
        address.tell_unknown(label, key)
    with st.container(horizontal=True, vertical_alignment="center", gap="small"):
        st.markdown(sentence, width="content")
        if now.filters != Filters():
            st.button("Reset filters", on_click=reset, type="tertiary")
        keep_view(now, page)
        source(now, f"{page}-filters", about)
