"""Where a number comes from: what it is, which edition and rows it stands on, and what to keep in mind."""

from __future__ import annotations

import streamlit as st

from dashboard.here import Here
from pipeline.loads.cautions import CAUTIONS as _SENTENCES

_NAMES = ("estimate", "weigh", "basis", "lowest", "authority", "heavy", "standing-still", "country", "interval")
CAUTIONS = dict(zip(_NAMES, _SENTENCES, strict=True))
"""The cautions by name."""


def source(here: Here, name: str, means: str, rows: str = "", cautions: tuple[str, ...] = ()) -> None:
    """A button that tells where the numbers beside it come from.

    Args:
        name: of its place on the page.
        means: what the number is, in a sentence or two without statistics.
        rows: which records it stands on.
        cautions: names out of CAUTIONS, or sentences.
    """
    with st.popover("Where does this come from?", type="tertiary", key=f"source-{name}"):
        st.markdown(f"**What it is.** {means}")
        manifest = here.edition.manifest
        st.markdown(
            f"**Stands on.** Edition {here.edition.number}, records to {manifest.get('records_to') or 'no date'}."
            + (f" {rows}" if rows else "")
        )
        for caution in cautions:
            st.markdown(f"**Keep in mind.** {CAUTIONS.get(caution, caution)}")


def cautions(*names: str) -> None:
    """Cautions in plain sight, where a number could hurt someone."""
    st.caption(" ".join(CAUTIONS[name] for name in names))
