"""The answer to a draft: mass, where it sits, what it stands on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from dashboard.here import Here
from dashboard.parts import pictures
from dashboard.parts.sources import cautions, source
from dashboard.words import share_in_words
from pipeline.answers.early import BodyEstimate, EarlyAnswer
from pipeline.pictures.drawing import draw
from pipeline.pictures.shape import Centre, body_shape

_STANDING = {
    "inside": "History covers this well.",
    "edge": "At the edge of what history covers",
    "outside": "Outside of what history covers",
}


def answer(now: Here, found: EarlyAnswer, choices: Mapping[str, Any], name: str) -> None:
    """Show the answer to one draft."""
    _total(now, found)
    for place, body in enumerate(found.bodies):
        _body(now, found, place, body, choices["items"], name)
    source(
        now, f"estimate-{name}", "What past bodies with these measures and items weighed, put together part by part. The range is as wide as it had to be for past "
        "bodies that the reckoning had not seen.", "Weighed bodies count most, then weighbridge tickets, then drawings with what drawings leave out.", ("estimate", "weigh"),
    )  # fmt: skip
    cautions("estimate", "weigh", "interval")


def _total(now: Here, found: EarlyAnswer) -> None:
    if len(found.bodies) > 1:
        total = sum(body.estimate_kg for body in found.bodies)
        st.markdown(f"All bodies together: about **{now.units.kg(total)}**.")


def _body(now: Here, found: EarlyAnswer, place: int, body: BodyEstimate, items: Mapping[str, Mapping[str, Any]], name: str) -> None:
    kind = body.body.partition("-")[0]
    st.subheader(f"The {kind}: about {now.units.kg(body.estimate_kg)}", anchor=False)
    st.markdown(
        f"{share_in_words(body.level)} bodies like this fall between **{now.units.kg(body.low_kg)}** and **{now.units.kg(body.high_kg)}**. "
        f"Its centre of mass lies {now.units.mm(body.com_x_mm)} behind its front face ({now.units.mm(body.com_x_low_mm)} to {now.units.mm(body.com_x_high_mm)}), "
        f"{_side(now, body.com_y_mm)}."
    )
    _standing(body)
    draft = found.draft.bodies[place]
    row = {field: getattr(draft, field) for field in draft.__struct_fields__ if field != "lines"}
    lines = [{field: getattr(line, field) for field in line.__struct_fields__} for line in draft.lines]
    centre = Centre(body.com_x_mm, body.com_x_low_mm, body.com_x_high_mm, body.com_y_mm, body.com_y_low_mm, body.com_y_high_mm)
    shape = body_shape(row, lines, items, found.vehicle, centre, now.settings.mass)
    pictures.drawing(draw(shape, "page", now.look, title=f"The {kind} to scale"), f"draft-{name}-{body.body}")


def _side(now: Here, y_mm: float) -> str:
    if abs(y_mm) < 5:
        return "on the centre line"
    return f"{now.units.mm(abs(y_mm))} to the {'right' if y_mm > 0 else 'left'} of the centre line"


def _standing(body: BodyEstimate) -> None:
    if body.standing == "inside":
        st.markdown(_STANDING["inside"])
        if body.why:
            st.caption(". ".join(body.why))
        return
    st.warning(f"**{_STANDING[body.standing]}**: {'; '.join(body.why)}.")
