"""A draft's sheet as a file to take home, made when it is asked for."""

from __future__ import annotations

from functools import partial

import msgspec
import streamlit as st

from dashboard import live, who
from dashboard.here import Here
from pipeline.answers.access import Role, require
from pipeline.answers.draft import Draft, code_of, frames_of, job_id_of, to_json
from pipeline.answers.sheets import sheet_content
from pipeline.paper.sheet import sheet_pdf
from pipeline.settings_loads import TravelLoad
from pipeline.store import desk

PAPERS = {"a4": "A4", "letter": "Letter"}


def sheet_buttons(now: Here, draft: Draft, name: str, place: str, travel_json: str = "", for_customer: bool = False) -> None:
    """Buttons that hand over the sheet of a draft.

    Args:
        name: what the draft is called on it; empty: its body and vehicle.
        place: of the buttons on the page.
        for_customer: the page is turned to a customer: the sheet tells what a customer may be told, whoever presses the button.
    """
    if not now.may("make-sheet") or not draft.bodies:
        return
    with st.popover("Sheet to take home", key=f"sheet-{place}"):
        for paper, called in PAPERS.items():
            st.download_button(
                f"PDF, {called}", partial(make_sheet, draft, name, travel_json, paper, for_customer, who.asking()),
                f"sheet-{code_of(draft)}.pdf", "application/pdf", key=f"sheet-{place}-{paper}", on_click="ignore", width="stretch",
            )  # fmt: skip


def make_sheet(draft: Draft, name: str, travel_json: str, paper: str, for_customer: bool, asking: who.Asking) -> bytes:
    """The sheet of a draft as PDF. Raises: WrongCall: not for the role of whoever asks, or nothing to tell."""
    now, settings = live.edition(), live.settings()
    travel = msgspec.json.decode(travel_json, type=TravelLoad) if travel_json else settings.travel
    cursor = now.cursor() if now else None
    drafts = frames_of([draft], cursor, now.manifest["records_to"] if now else None)
    require(asking.role, "make-sheet")
    role = Role.CUSTOMER if for_customer else asking.role
    content = sheet_content(now, live.model(now) if now else None, drafts, job_id_of(1), settings, travel, role, name=name)
    if desk.draft(live.store(), content.code) is None:
        # the sheet says that its code finds the draft again
        desk.keep_draft(live.store(), content.code, content.draft, to_json(draft), asking.name)
    return sheet_pdf(content, paper)
