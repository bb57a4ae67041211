"""Parts of the page that says how far the mass model can be trusted."""

from __future__ import annotations

import streamlit as st

from dashboard import abouts
from dashboard.here import Here
from dashboard.parts import pictures, tables
from dashboard.words import share_in_words
from pipeline.answers.files import Rows
from pipeline.answers.trust import estimate_report, promised_and_found
from pipeline.mass.model import Model
from pipeline.pictures import charts

_SOURCES = {
    "weighed": "weighed on a scale",
    "drawn": "known from a drawing alone",
    "ticket": "known from weighbridge tickets of the whole vehicle",
    "drawn beside weighed": "weighed and drawn, which tells what drawings leave out",
}


def promises(now: Here, model: Model) -> None:
    """How far estimates of bodies that the fit had not seen were off, and whether ranges held."""
    facts = model.facts
    st.markdown(
        f"Laid beside bodies that it had not been shown, an estimate was off by about **{now.units.kg(facts['rmse_kg'], 1)}**, or {100 * facts['mape']:.1f} % of the mass. "
        f"The range for 9 of 10 is {now.units.kg(facts['width_kg'])} wide on average, and held **{100 * facts['coverage']['0.9']:.0f} of 100**."
    )
    found = promised_and_found(model)
    pictures.chart(now, charts.reliability(found, now.style()), "reliability", abouts.RELIABILITY)
    said = Rows(("promised", "found"), [(share_in_words(row["level"]), f"{100 * row['covered']:.0f} of 100") for row in found])
    tables.table(said, "What ranges promise, and what they held", "reliability-table", now)


def evidence(now: Here, model: Model) -> None:
    """What the model stands on."""
    facts = model.facts
    st.header("What it stands on", anchor=False)
    st.markdown(
        f"Drawings leave out about **{100 * facts['cad_bias']:.1f} %** of the mass (wiring, sealant, brackets); estimates put it back. "
        f"**{facts['flagged']:,}** readings are so far off that they do not count until somebody has looked: see *Record health*."
    )
    rows = Rows(("bodies", "how many"), [(_SOURCES.get(name, name), count) for name, count in facts["rows"].items()])
    tables.table(rows, "What masses are known from", "evidence", now)
    ranges = [(kind, one.records, one.weighed, one.length_low_mm, one.length_high_mm) for kind, one in model.ranges.items() if one.records]
    st.markdown("**What history covers.** Outside of it an estimate still comes, and says so first.")
    tables.table(Rows(("kind", "bodies", "weighed", "shortest_mm", "longest_mm"), ranges), "Lengths that history covers", "covered", now)


def report(now: Here) -> None:
    """The long report, where the fit has made one."""
    found = estimate_report(now.edition)
    st.header("By quarter, length, branch and family", anchor=False)
    if found is None:
        st.caption(
            "The long report is made by `tarebook fit --report`: errors by quarter and group, and what simpler ways of estimating would reach."
        )
        return
    for name, rows in found.items():
        st.subheader(name, anchor=False)
        tables.table(rows, name, f"report-{name}", now)
