"""Hand-ins from the browser: files are read in the limited child of the intake, all or nothing, then a fit may follow."""

from __future__ import annotations

import tempfile
from pathlib import Path, PurePosixPath

import streamlit as st

from dashboard import abouts, live, who
from dashboard.frame import link
from dashboard.here import Here
from dashboard.parts import tables
from dashboard.parts.faults import told
from pipeline.answers.access import may
from pipeline.answers.files import Rows
from pipeline.answers.fitting import fit_store
from pipeline.errors import TarebookError
from pipeline.store.load import ACCOUNT_COLUMNS, load

ENDINGS = ["csv", "xlsx", "parquet", "jsonl", "toml"]


def load_form(now: Here | None) -> None:
    """A place to hand files in, and to fit."""
    st.header("Hand in records", anchor=False)
    how = st.segmented_control("Hand in", ["files", "a folder"], default="files", required=True, key="hand-in-how")
    with st.form("hand-in", clear_on_submit=True, border=True):
        files = st.file_uploader(
            "Files of one hand-in" if how == "files" else "A folder with all that is in it",
            type=ENDINGS, accept_multiple_files=True if how == "files" else "directory",
            help="A table a file (jobs.csv, bodies.csv, …), or a workbook with a sheet a table; intake.toml beside a wide sheet.",
        )  # fmt: skip
        name = st.text_input("Name of the hand-in", max_chars=60, placeholder="say, job list of October")
        fit = st.checkbox("Fit the mass model anew afterwards", value=True)
        sent = st.form_submit_button("Hand in", type="primary")
    if sent and files and may(who.role(), "load"):
        _take_in({_inside(file.name): file.getvalue() for file in files}, name.strip() or "from the browser", fit)
    elif sent:
        st.warning("Choose at least one file, and wait until it is uploaded.")
    if now is not None and st.button("Fit the mass model anew", help="Takes in what was settled and handed in since the last fit."):
        _fit()


def last_load(now: Here) -> None:
    """What became of the last hand-in of this session, and where its first pictures are."""
    result = st.session_state.get("last_load")
    if result is None:
        return
    if not result.changed:
        st.info("These bytes were loaded before; nothing changed.")
        return
    st.success(f"Edition {result.edition.number} holds it.")
    with st.container(horizontal=True, gap="small"):
        link("what-sells", "See what sells over time →", {"view": "time"})
        link("layout-families", "See the typical builds →")
        link("early-mass", "Try an early mass →")
    accounts = Rows.of(result.accounts, [one for one in ACCOUNT_COLUMNS if one != "sha256"])
    with st.expander("What became of the rows, file by file"):
        tables.table(accounts, "What became of the rows", "last-load", now, abouts.ACCOUNTS)


def _inside(name: str) -> Path:
    """Where a file of a chosen folder lies in it; a browser may send any name, so nothing in it leads out.

    >>> _inside("records/2025/jobs.csv").as_posix(), _inside("../../jobs.csv").as_posix(), _inside("jobs.csv").as_posix()
    ('2025/jobs.csv', 'jobs.csv', 'jobs.csv')
    """
    parts = [part for part in PurePosixPath(name.replace("\\", "/")).parts if part not in ("/", "..")]
    return Path(*parts[1:] if len(parts) > 1 else parts)


def _take_in(files: dict[Path, bytes], name: str, fit: bool) -> None:
    with st.status("Reading the files", expanded=True) as status, tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "".join(letter if letter.isalnum() or letter in " -_" else "-" for letter in name)
        folder.mkdir()
        for file, data in files.items():
            (folder / file).parent.mkdir(parents=True, exist_ok=True)
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
