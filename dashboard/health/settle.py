"""Settle a record that wants a look: it is right, it is wrong, or this is its true value. Who and when are kept with it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import streamlit as st

from dashboard import live, who
from dashboard.frame import link
from dashboard.parts import tables
from dashboard.parts.columns import heading
from dashboard.parts.faults import told
from pipeline.answers.access import may
from pipeline.answers.settling import settle
from pipeline.contract import TABLES

_VERDICTS = {"right": "It is right", "wrong": "It is wrong, leave it out", "corrected": "This is its true value"}


def settle_form(suspect: Mapping[str, Any]) -> None:
    """A form for one suspect (columns `table, key, rule, why`, and `column, probably_kg` where a figure is in doubt)."""
    st.subheader(f"Settle {tables.escaped(suspect['key'])}", anchor=False)
    st.markdown(tables.escaped(suspect["why"] or suspect["rule"]))
    job_id = suspect["key"].split("/")[0]
    if suspect["table"] in ("jobs", "bodies", "weighings"):
        link("job-finder", f"Open job {job_id} first", {"job": job_id})
    with st.form(f"settle-{suspect['table']}-{suspect['key']}"):
        verdict = st.segmented_control("What is it?", list(_VERDICTS), format_func=_VERDICTS.__getitem__, default="right", required=True)
        numbers = [column.name for column in TABLES[suspect["table"]].columns if column.kind in ("number", "integer")]
        doubted = numbers.index(suspect["column"]) if suspect.get("column") in numbers else None
        with st.container(horizontal=True):
            column = st.selectbox(
                "Which figure (for a true value)", numbers, index=doubted, format_func=heading, placeholder="none", width=260
            )
            value = st.number_input(
                "Its true value, in the records' unit", value=suspect.get("probably_kg"), placeholder="none", format="%g", width=260
            )
        sent = st.form_submit_button("Settle it", type="primary")
    if sent and may(who.role(), "settle"):
        _keep({**{name: suspect[name] for name in ("table", "key", "rule")}, "verdict": verdict, "column": column, "value": value})


def _keep(settlement: dict[str, Any]) -> None:
    if settlement["verdict"] != "corrected":
        settlement |= {"column": None, "value": None}
    with told(), st.spinner("Writing it down"):
        settle(live.store(), settlement, who.name(), date.today())
        st.toast("Settled. The next fit of the mass model goes by it.")
        st.rerun()
