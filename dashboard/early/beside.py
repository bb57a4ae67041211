"""Drafts side by side: their figures, and part by part what makes the difference."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from dashboard import abouts, live
from dashboard.early import desk_top
from dashboard.early.limits import headline
from dashboard.here import Here
from dashboard.parts import tables
from pipeline.answers.draft import to_json
from pipeline.answers.early import draft_difference, estimate_draft
from pipeline.answers.files import Rows


def side_by_side(now: Here, choices: Mapping[str, Any], level: float, travel_json: str) -> None:
    """Show the drafts on the desk beside each other, where there are two or more."""
    drafts = {letter: draft for letter, draft in sorted(desk_top.drafts().items()) if draft.bodies}
    if len(drafts) < 2:
        st.caption("Choose B or C above to lay a second draft beside this one.")
        return
    st.header("Side by side", anchor=False)
    made = []
    for letter, draft in drafts.items():
        found = live.ask_edition(estimate_draft, to_json(draft), level, travel_json)
        total = sum(body.estimate_kg for body in found.bodies)
        made.append(
            (
                letter,
                choices["vehicles"].get(draft.vehicle_id, "none chosen"),
                "; ".join(f"{body.body} {now.units.mm(one.length_mm)}" for body, one in zip(found.bodies, draft.bodies, strict=True)),
                now.units.kg(total),
                "; ".join(f"{now.units.kg(body.low_kg)} to {now.units.kg(body.high_kg)}" for body in found.bodies),
                headline(now, found.cases[0]).replace("**", "").removeprefix("Tightest limit: ") if found.cases else "no vehicle chosen",
            )
        )
    tables.table(
        Rows(("draft", "vehicle", "bodies", "mass", "range", "tightest limit"), made),
        "Drafts side by side",
        "side-by-side",
        now,
        abouts.ESTIMATE,
    )
    others = [letter for letter in drafts if letter != desk_top.letter()]
    other = st.segmented_control("What differs from", others, default=others[0], required=True, key=f"differs-{'-'.join(others)}")
    if desk_top.letter() in drafts and other in drafts:
        parts = live.ask_edition(draft_difference, to_json(drafts[other]), to_json(drafts[desk_top.letter()]))
        named = Rows(("body", "part", f"{other}_kg", f"{desk_top.letter()}_kg", "difference_kg", "sd_kg"), parts.rows)
        tables.table(
            named,
            "Parts in which the drafts differ",
            "difference",
            now,
            abouts.DIFFERENCE,
            empty="Their bodies do not differ.",
            columns=named.columns[:5],
        )
