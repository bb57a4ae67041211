"""A draft on its vehicle: what is left of each limit, what is on the vehicle, and each upgrade beside the others."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from dashboard import abouts, live
from dashboard.here import Here
from dashboard.parts import pictures, tables
from dashboard.parts.sources import cautions
from dashboard.questions import also_usual
from pipeline.answers.early import EarlyAnswer, OnVehicle, draft_levers
from pipeline.answers.files import Rows
from pipeline.pictures import charts

_WORDS = {"over": "over the rating", "may be over": "may be over", "under": "left", "unknown": "no verdict"}


def on_vehicle(now: Here, found: EarlyAnswer, choices: Mapping[str, Any], name: str) -> None:
    """Show what the draft leaves of its vehicle's limits."""
    if not found.cases:
        st.caption("Choose a vehicle to see what is left of its limits.")
        return
    own = found.cases[0]
    st.subheader("What is left on the vehicle", anchor=False)
    st.markdown(headline(now, own))
    pictures.chart(now, charts.limits(own.limits.records(), now.style()), f"limits-{name}", abouts.LIMITS)
    for line in found.said:
        (st.error if "error" in line.split(": ")[:2] else st.warning)(tables.escaped(line))
    with st.expander("Every limit in figures"):
        tables.table(spoken(now, own.limits), "Limits with values, ranges, ratings and margins", f"limits-table-{name}", now, abouts.LIMITS)
    with st.expander("What is on the vehicle"):
        total = sum(row["mass_kg"] for row in own.loads.records())
        st.markdown(f"All together **{now.units.kg(total)}**.")
        tables.table(own.loads, "What is on the vehicle, with the basis of each figure", f"loads-{name}", now, abouts.LOADS)
    if len(found.cases) > 1:
        with st.expander("With and without an upgrade"):
            tables.table(_beside(now, found, choices), "Tightest limit with each upgrade", f"upgrades-{name}", now, abouts.LIMITS)
    cautions("lowest", "authority", "heavy")


def headline(now: Here, case: OnVehicle) -> str:
    """The tightest limit in words."""
    known = [row for row in case.limits.records() if row["margin"] is not None and row["verdict"] != "unknown" and row["unit"] == "kg"]
    if not known:
        return "Nothing can be said yet: " + "; ".join(dict.fromkeys(row["why"] for row in case.limits.records() if row["why"]))[:400]
    worst = min(known, key=lambda row: row["margin"] / row["rating"] if row["rating"] else row["margin"])
    name = charts.LIMIT_NAMES.get(worst["limit"], worst["limit"])
    said = charts.margin_said(worst["margin"], worst["unit"], now.style())
    chance = f", with a chance of {100 * worst['p_over']:.0f} % of going over" if worst["p_over"] and worst["p_over"] >= 0.005 else ""
    return f"Tightest limit: **{name}, {said}**{chance}."


def spoken(now: Here, limits: Rows) -> Rows:
    """Limits in people's words and the page's units."""
    made = []
    for row in limits.records():
        per = now.units.kg_per_unit if row["unit"] == "kg" else now.units.mm_per_unit if row["unit"] == "mm" else 1.0
        unit = now.units.mass if row["unit"] == "kg" else now.units.length if row["unit"] == "mm" else row["unit"]
        figures = [None if row[one] is None else round(row[one] / per, 1) for one in ("value", "low", "high", "rating", "margin")]
        made.append((charts.LIMIT_NAMES.get(row["limit"], row["limit"]), *figures, unit, row["p_over"], row["verdict"], row["why"]))
    return Rows(("limit", "value", "from", "to", "rating", "margin", "unit", "p_over", "verdict", "why"), made)


def _beside(now: Here, found: EarlyAnswer, choices: Mapping[str, Any]) -> Rows:
    called = choices["upgrades"].get(found.draft.vehicle_id, {})
    made = [
        (
            called.get(case.upgrade_id, case.upgrade_id) or "no upgrade",
            headline(now, case).replace("**", "").removeprefix("Tightest limit: "),
        )
        for case in found.cases
    ]
    return Rows(("upgrade", "tightest limit"), made)


def levers(now: Here, draft_json: str, travel_json: str, name: str) -> None:
    """The smallest changes that give the margins back, reckoned when they are asked for."""
    opened = st.expander("The smallest changes that give margin back", on_change="rerun", key=f"levers-{name}")
    if not opened.open:
        return
    with opened:
        found = live.ask_edition(draft_levers, draft_json, travel_json)
        for line in found.said:
            st.markdown(tables.escaped(line[:1].upper() + line[1:] + "."))
        if found.rows.rows:
            shown = ("rank", "changes", "saves_kg", "saves_low_kg", "saves_high_kg", "margin_kg", "p_over", "gone_without")
            tables.table(
                found.rows, "Changes that give margin back, the smallest first", f"levers-{name}", now, abouts.LEVERS, columns=shown
            )


def usually_also(now: Here, found: EarlyAnswer, name: str) -> None:
    """What such drafts usually also have."""
    items = tuple(sorted({line.item_id for body in found.draft.bodies for line in body.lines}))
    also = live.ask(also_usual, items) if items else None
    if also is not None and not also.is_empty():
        with st.expander(f"What usually comes with this ({also.height})"):
            st.markdown("\n".join(f"- {tables.escaped(words)}" for words in also["words"].head(8)))
