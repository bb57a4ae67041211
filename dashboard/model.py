"""Parts of the page that says how far the mass model can be trusted."""

from __future__ import annotations

import streamlit as st

from dashboard import abouts, address, live
from dashboard.frame import link
from dashboard.here import Here
from dashboard.parts import pictures, tables
from dashboard.parts.faults import told
from dashboard.words import share_in_words
from pipeline.answers.files import Rows
from pipeline.answers.fitting import fit_store
from pipeline.answers.trust import Report, long_report, promised_and_found
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
    found = promised_and_found(model)
    if not found or "rmse_kg" not in facts:
        st.info("Too few weighed bodies to tell how far estimates are off. They stand on datasheets and geometry until more are weighed.")
        return
    off, width = now.units.kg(facts["rmse_kg"], 1), now.units.kg(facts["width_kg"])
    held = 100 * facts["coverage"]["0.9"]
    st.markdown(
        f"Laid beside bodies that it had not been shown, an estimate was off by about **{off}**, "
        f"or {100 * facts['mape']:.1f} % of the mass. "
        f"The range for 9 of 10 is {width} wide on average, and held **{held:.0f} of 100**."
    )
    pictures.chart(now, charts.reliability(found, now.style()), "reliability", abouts.RELIABILITY)
    said = Rows(("promised", "found"), [(share_in_words(row["level"]), f"{100 * row['covered']:.0f} of 100") for row in found])
    tables.table(said, "What ranges promise, and what they held", "reliability-table", now, abouts.RELIABILITY)


def evidence(now: Here, model: Model) -> None:
    """What the model stands on."""
    facts = model.facts
    st.header("What it stands on", anchor=False)
    if "cad_bias" in facts:
        st.markdown(
            f"Drawings leave out about **{100 * facts['cad_bias']:.1f} %** of the mass (wiring, sealant, brackets); estimates put it back. "
            f"**{facts.get('flagged', 0):,}** readings are so far off that they hardly count until somebody has looked."
        )
    link("record-health", "See which bodies' lists seem short, and which readings are far off →", {})
    rows = Rows(("bodies", "how many"), [(_SOURCES.get(name, name), count) for name, count in facts.get("rows", {}).items()])
    tables.table(rows, "What masses are known from", "evidence", now, abouts.EVIDENCE, empty="Nothing was weighed or drawn yet.")
    ranges = [(kind, one.records, one.weighed, one.length_low_mm, one.length_high_mm) for kind, one in model.ranges.items() if one.records]
    st.markdown("**What history covers.** Outside of it an estimate still comes, and says so first.")
    covered = Rows(("kind", "bodies", "weighed", "shortest_mm", "longest_mm"), ranges)
    tables.table(covered, "Lengths that history covers", "covered", now, abouts.COVERED, empty="Nothing yet.")


def report(now: Here) -> None:
    """The long report, where the fit has made one."""
    st.header("Quarter by quarter, and beside simpler ways", anchor=False)
    found = long_report(now.edition)
    if found is None:
        st.markdown("Fits on the past and scores the quarter after, errors by group, and what simpler ways of estimating reach.")
        if now.may("load") and st.button("Make the long report", help="Fits anew and takes a few minutes."):
            _make()
        return
    st.markdown("\n".join(f"- {tables.escaped(line[:1].upper() + line[1:])}." for line in found.said))
    _tables(now, found)


def _tables(now: Here, found: Report) -> None:
    rivals = found.rivals
    tables.table(
        rivals, "The model beside simpler ways, on the same bodies", "rivals", now, empty="Too few weighed bodies.", about=abouts.RIVALS
    )
    st.subheader("Each quarter by a model that knew only the past", anchor=False)
    tables.table(
        found.quarters, "Errors quarter by quarter", "quarters", now, abouts.ERRORS, empty="Not two quarters of weighed bodies yet."
    )
    if found.chart:
        picture = charts.ewma(found.chart, now.style(), unit="predicted spreads")
        pictures.chart(now, picture, "drift", abouts.DRIFT)
    st.subheader("Where it is off", anchor=False)
    groups = sorted({row["group"] for row in found.groups.records()})
    if groups:
        group = address.one("By", "error_by", {one: one for one in groups}, groups[0], st.segmented_control, required=True)
        part = Rows.of([row for row in found.groups.records() if row["group"] == group], found.groups.columns[1:])
        tables.table(part, f"Errors by {group}", f"errors-{group}", now, abouts.ERRORS)
    st.subheader("Vehicles against their makers' figures", anchor=False)
    vehicles = ("label", "tickets", "mean_kg", "sd_kg")
    tables.table(
        found.vehicles, "How much heavier than the maker says", "vehicles", now, abouts.VEHICLES, empty="No tickets yet.", columns=vehicles
    )


def _make() -> None:
    with told(), st.spinner("Fitting and scoring; this takes a few minutes"):
        fit_store(live.store(), report=True)
        st.rerun()
