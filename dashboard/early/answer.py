"""The answer to a draft: mass, where it sits, what it stands on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from dashboard import abouts, live
from dashboard.here import Here
from dashboard.parts import pictures, tables
from dashboard.parts.jobs import job_link
from dashboard.parts.sources import cautions, source
from dashboard.words import share_in_words
from pipeline.answers.draft import to_json
from pipeline.answers.early import BodyEstimate, EarlyAnswer, alike_builds
from pipeline.answers.files import Rows
from pipeline.pictures import charts
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
    source(now, f"estimate-{name}", abouts.ESTIMATE)
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
        f"Its centre of mass lies {now.units.mm(body.com_x_mm)} behind its front face "
        f"({now.units.mm(body.com_x_low_mm)} to {now.units.mm(body.com_x_high_mm)}), "
        f"{_side(now, body.com_y_mm)}."
    )
    _standing(body)
    draft = found.draft.bodies[place]
    row = {field: getattr(draft, field) for field in draft.__struct_fields__ if field != "lines"}
    lines = [{field: getattr(line, field) for field in line.__struct_fields__} for line in draft.lines]
    centre = Centre(body.com_x_mm, body.com_x_low_mm, body.com_x_high_mm, body.com_y_mm, body.com_y_low_mm, body.com_y_high_mm)
    shape = body_shape(row, lines, items, found.vehicle, centre, now.settings.mass)
    pictures.drawing(draw(shape, "page", now.look, title=f"The {kind} to scale", units=now.units.system), f"draft-{name}-{body.body}")
    _parts(now, body, name)
    _nearest(now, found, place, body, name)


def _parts(now: Here, body: BodyEstimate, name: str) -> None:
    pictures.chart(
        now,
        charts.contributions(body.parts.records(), now.style(), body.low_kg, body.high_kg),
        f"parts-{name}-{body.body}",
        abouts.ESTIMATE,
    )
    with st.expander(f"What the {body.body} is made of, in figures"):
        said = [(row["label"], row["kg"], 1.645 * row["sd_kg"], row["source"], row["records"]) for row in body.parts.records()]
        rows = Rows(("part", "adds_kg", "give_or_take_kg", "known from", "bodies on record"), said)
        tables.table(rows, "Parts that add up to the estimate", f"figures-{name}-{body.body}", now, abouts.ESTIMATE)


def _nearest(now: Here, found: EarlyAnswer, place: int, body: BodyEstimate, name: str) -> None:
    with st.expander(f"The nearest weighed builds to this {body.body.partition('-')[0]}", expanded=True):
        tables.table(
            body.nearest,
            "The nearest weighed builds, their mass, and what they have more or less",
            f"nearest-{name}-{body.body}",
            now,
            abouts.NEAREST,
            empty="No such body was weighed yet.",
            columns=("job_id", "mass_kg", "length_mm", "differs"),
        )
        for row in body.nearest.records()[:1]:
            job_link(row["job_id"])
    alike = live.ask(alike_builds, to_json(found.draft), place)
    if alike.too_few:
        st.caption(f"Alike past builds: {len(alike.bodies.rows)}, too few to say what they took or sold at.")
        return
    said = [f"**{len(alike.bodies.rows)} alike past builds**"]
    if alike.hours:
        said.append(f"their jobs took {alike.hours[0]:,.0f} to {alike.hours[1]:,.0f} hours")
    if alike.prices and now.may("see-prices"):
        said.append(f"and sold at {alike.prices[0]:,.0f} to {alike.prices[1]:,.0f} {now.settings.workshop.currency}".rstrip())
    st.markdown(", ".join(said) + " (8 of 10 of them).")


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
