"""Where a number comes from: what it is, which edition and rows it stands on, and what to keep in mind."""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from dashboard.here import Here
from pipeline.loads.cautions import CAUTIONS as _SENTENCES

_NAMES = ("estimate", "weigh", "basis", "lowest", "authority", "heavy", "standing-still", "country", "interval")
CAUTIONS = dict(zip(_NAMES, _SENTENCES, strict=True))
"""The cautions by name."""


@dataclass(frozen=True)
class About:
    """Where numbers come from.

    `means` says what the number is, in a sentence or two without statistics; `rows` which records it stands on;
    `cautions` are names out of CAUTIONS.
    """

    means: str
    rows: str = ""
    cautions: tuple[str, ...] = ()


def source(here: Here, name: str, about: About) -> None:
    """A button that tells where the numbers beside it come from; `name` is its place on the page."""
    with st.popover("Where does this come from?", type="tertiary", key=f"source-{name}"):
        st.markdown(f"**What it is.** {about.means}")
        records_to = here.edition.manifest.get("records_to") or "no date"
        st.markdown(f"**Stands on.** Edition {here.edition.number}, records to {records_to}. {about.rows}".rstrip())
        for caution in about.cautions:
            st.markdown(f"**Keep in mind.** {CAUTIONS[caution]}")


def cautions(*names: str) -> None:
    """Cautions in plain sight, where a number could hurt someone."""
    st.caption(" ".join(CAUTIONS[name] for name in names))
