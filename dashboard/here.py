"""What a page knows of this run: the edition, who looks, through which filters, in which units and look."""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass
from datetime import date
from typing import Any

import streamlit as st

from dashboard import address, live, who
from dashboard.units import Units
from pipeline.answers.access import Role, may
from pipeline.answers.filters import Filters
from pipeline.pictures.charts.base import Style
from pipeline.pictures.palette import DARK, LIGHT, Look
from pipeline.settings import Settings
from pipeline.store import Edition

FILTER_KEYS = ("since", "until", "kinds", "size_classes", "vehicles", "branches", "families")
"""Names of the shared filters, in the address and in the session alike."""


@dataclass(frozen=True)
class Here:
    """One run of one page."""

    edition: Edition
    settings: Settings
    role: Role
    filters: Filters
    units: Units

    @property
    def look(self) -> Look:
        return look()

    def style(self, pick: bool = False) -> Style:
        """How charts are dressed on this run."""
        return Style(look=look(), pick=pick, units=self.units.system)

    def may(self, act: str) -> bool:
        return may(self.role, act)


def here() -> Here:
    """This run; stops the page with a sentence where nothing was loaded yet."""
    edition = live.edition()
    if edition is None:
        st.info("Nothing is loaded yet. *Start* leads you from your first files to the first picture.")
        start = st.session_state["pages"].get("start")
        if start:
            st.page_link(start, label="To Start →")
        st.stop()
    settings = live.settings()
    return Here(edition, settings, who.role(), filters(), Units(*address.chosen("units")))


def look() -> Look:
    """Our light or dark look, as the browser shows the page now."""
    return DARK if st.context.theme.type == "dark" else LIGHT


def filters() -> Filters:
    """The shared filters as they stand; what is no filter value is left out."""
    listed: dict[str, Any] = {key: address.chosen(key) for key in FILTER_KEYS[2:]}
    since, until = (_first_day(address.chosen(key)) for key in FILTER_KEYS[:2])
    if since and until and since > until:
        since, until = until, since
    return Filters(since=since, until=_last_day(until), **listed)


def _first_day(months: tuple[str, ...]) -> date | None:
    """First day of a month like `2026-03`, where one is chosen."""
    return date.fromisoformat(f"{months[0]}-01") if months else None


def _last_day(month: date | None) -> date | None:
    return None if month is None else month.replace(day=monthrange(month.year, month.month)[1])
