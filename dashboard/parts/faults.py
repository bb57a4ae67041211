"""Expected faults in their own words."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import streamlit as st

from dashboard.parts.tables import escaped
from pipeline.errors import TarebookError


@contextmanager
def told() -> Iterator[None]:
    """Tell an expected fault of the block in a sentence each, and go on."""
    try:
        yield
    except TarebookError as fault:
        for one in fault.faults:
            st.error(escaped(str(one)))
