"""What can be done with a draft as a whole: start it from something, keep it, send it, take it along."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from dashboard import live, who
from dashboard.early import desk_top
from dashboard.here import Here
from dashboard.sheets import sheet_buttons
from pipeline.answers.draft import Draft, code_of, folder_of, from_json, to_json
from pipeline.answers.starts import empty_draft, job_draft, typical_job
from pipeline.contract.tables import BODY_KINDS
from pipeline.errors import TarebookError
from pipeline.store import desk


def open_from_address() -> None:
    """A draft named in the address is laid on the desk, once."""
    code = st.query_params.get("draft", "")
    if not code or st.session_state.get("opened_code") == code:
        return
    st.session_state["opened_code"] = code
    kept = desk.draft(live.store(), code)
    if kept is None:
        st.warning("No draft is kept under that code here.")
        return
    desk_top.put(desk_top.letter(), from_json(kept.draft))
    st.session_state["draft_name"] = kept.name


def toolbar(now: Here, choices: Mapping[str, Any], travel_json: str = "") -> None:
    """The row of buttons above a draft."""
    with st.container(horizontal=True, vertical_alignment="bottom"):
        st.segmented_control("Draft", desk_top.LETTERS, default="A", required=True, key="letter", persist_state="session")
        with st.popover("Start from …", key="start-from"):
            _start_from(choices)
        draft = desk_top.drafts().get(desk_top.letter())
        if draft is not None and now.may("keep-draft"):
            with st.popover("Keep and send", key="keep"):
                _keep(draft)
        if draft is not None and draft.bodies:
            sheet_buttons(now, draft, st.session_state.get("draft_name", ""), "early", travel_json)
            if now.may("take-along"):
                st.download_button(
                    "Folder for the commands", folder_of(draft, f"draft-{code_of(draft)}"),
                    f"draft-{code_of(draft)}.zip", "application/zip",
                    key="folder", on_click="ignore", help="A folder of drafts, as `tarebook estimate` and `tarebook check` read it.",
                    type="tertiary",
                )  # fmt: skip


def _start_from(choices: Mapping[str, Any]) -> None:
    vehicles: dict[str, str] = choices["vehicles"]
    if vehicles:
        vehicle_id = st.selectbox("A typical build of", list(vehicles), format_func=lambda one: vehicles[one], key="typical-of")
        st.button("Start from its typical build", on_click=_typical, args=(vehicle_id,), width="stretch")
    job_id = st.text_input("A past job", key="past-job", max_chars=80, placeholder="job number")
    st.button("Start from that job", on_click=_past_job, width="stretch", disabled=not job_id)
    kept = desk.drafts(live.store()) if live.store().exists() else []
    if kept:
        codes = {one.code: f"{one.name} ({one.code})" for one in kept}
        code = st.selectbox("A kept draft", list(codes), format_func=lambda one: codes[one], key="kept-draft")
        st.button("Open that draft", on_click=_kept, args=(code,), width="stretch")
    kind = st.segmented_control("An empty", BODY_KINDS, default=BODY_KINDS[0], required=True, key="empty-kind")
    st.button("Start from an empty body", on_click=_empty, args=(kind,), width="stretch")


def _typical(vehicle_id: str) -> None:
    job_id = live.ask(typical_job, vehicle_id)
    draft = live.ask(job_draft, job_id) if job_id else None
    desk_top.put(desk_top.letter(), draft or live.ask(empty_draft, vehicle_id, "canopy"))


def _past_job() -> None:
    job_id = str(st.session_state.get("past-job") or "").strip()
    draft = live.ask(job_draft, job_id) if job_id else None
    if draft is None:
        st.toast(f"There is no job {job_id} with a body of ours.")
    else:
        desk_top.put(desk_top.letter(), draft)


def _kept(code: str) -> None:
    kept = desk.draft(live.store(), code)
    if kept:
        desk_top.put(desk_top.letter(), from_json(kept.draft))
        st.session_state["draft_name"] = kept.name


def _empty(kind: str) -> None:
    draft = desk_top.drafts().get(desk_top.letter())
    desk_top.put(desk_top.letter(), live.ask(empty_draft, draft.vehicle_id if draft else None, kind))


def _keep(draft: Draft) -> None:
    code = code_of(draft)
    name = st.text_input(
        "Name", st.session_state.get("draft_name", ""), key=f"name-{code}", max_chars=80, placeholder="say, enquiry of Tuesday"
    )
    if st.button("Keep this draft", type="primary", width="stretch"):
        try:
            desk.keep_draft(live.store(), code, name.strip() or code, to_json(draft), who.name())
        except TarebookError as fault:
            st.error(str(fault))
            return
        st.session_state["draft_name"] = name.strip() or code
        st.toast(f"Kept under {code}.")
    if desk.draft(live.store(), code) is not None:
        address = (st.context.url or "").split("?")[0]
        st.caption(f"Kept under the code {code}. This link opens it:")
        st.code(f"{address}?draft={code}", language=None, wrap_lines=True)
