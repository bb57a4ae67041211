"""Hand-ins from the browser: files are read in the limited child of the intake, all or nothing, then a fit may follow."""

from __future__ import annotations

import tempfile
from pathlib import Path

import streamlit as st

from dashboard import abouts, live, who
from dashboard.here import Here
from dashboard.parts import tables
from dashboard.parts.faults import told
from pipeline.answers.access import may
from pipeline.answers.files import Rows
from pipeline.answers.fitting import fit_store
from pipeline.errors import TarebookError
from pipeline.store import LoadResult, load
from pipeline.store.load import ACCOUNT_COLUMNS

ENDINGS = ["csv", "xlsx", "parquet", "jsonl", "toml"]


def load_form(now: Here | None) -> None:
    """A place to hand files in, and to fit."""
    st.header("Hand in records", anchor=False)
    with st.form("hand-in", clear_on_submit=True, border=True):
        files = st.file_uploader(
            "Files of one hand-in", type=ENDINGS, accept_multiple_files=True,
            help="A table a file (jobs.csv, bodies.csv, …), or a workbook with a sheet a table; intake.toml beside a wide sheet.",
        )  # fmt: skip
        name = st.text_input("Name of the hand-in", max_chars=60, placeholder="say, job list of October")
        fit = st.checkbox("Fit the mass model anew afterwards", value=True)
        sent = st.form_submit_button("Hand in", type="primary")
    if sent and files and may(who.role(), "load"):
        _take_in({Path(file.name).name: file.getvalue() for file in files}, name.strip() or "from the browser", fit)
    elif sent:
        st.warning("Choose at least one file, and wait until it is uploaded.")
    if now is not None and st.button("Fit the mass model anew", help="Takes in what was settled and handed in since the last fit."):
        _fit()
    last = st.session_state.get("last_load")
    if last is not None:
        _tell(last, now)


def _take_in(files: dict[str, bytes], name: str, fit: bool) -> None:
    with st.status("Reading the files", expanded=True) as status, tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "".join(letter if letter.isalnum() or letter in " -_" else "-" for letter in name)
        folder.mkdir()
        for file, data in files.items():
            (folder / file).write_bytes(data)
        try:
            result = load([folder], live.store(), by="upload")
            if fit and result.changed:
                status.update(label="Fitting the mass model; this takes a moment")
                fit_store(live.store())
        except TarebookError as fault:
            status.update(label="Nothing was changed", state="error")
            for one in fault.faults:
                st.error(tables.escaped(str(one)))
            return
        status.update(label="Done", state="complete")
    st.session_state["last_load"] = result
    st.rerun()


def _fit() -> None:
    if not may(who.role(), "load"):
        return
    with told(), st.spinner("Fitting the mass model; this takes a moment"):
        fit_store(live.store())
        st.rerun()


def _tell(result: LoadResult, now: Here | None) -> None:
    if not result.changed:
        st.info("These bytes were loaded before; nothing changed.")
    st.success(f"Edition {result.edition.number} holds it.")
    if now is not None:
        tables.table(
            Rows.of(result.accounts, [one for one in ACCOUNT_COLUMNS if one != "sha256"]),
            "What became of the rows",
            "last-load",
            now,
            abouts.ACCOUNTS,
        )
