"""Made-up typical builds side by side: first what is left, then the drawing, the mass, and what is in it."""

from __future__ import annotations

import streamlit as st

from dashboard import live
from dashboard.early.choices import choices
from dashboard.here import Here
from dashboard.parts import tables
from dashboard.parts.builds import draft_drawing
from dashboard.sheets import sheet_buttons
from dashboard.vehicle.choice import kind_first
from pipeline.answers.customer import CustomerBuild, Group, Left, build_answer, changed, key_of, made_up
from pipeline.answers.draft import Draft
from pipeline.errors import NoModel

_ZONES_MM = 50


def builds(now: Here, vehicle_id: str, chosen: list[Group]) -> None:
    """Each chosen group's typical build in a column of its own."""
    for column, group in zip(st.columns(len(chosen), gap="large"), chosen, strict=True):
        with column:
            draft = live.ask(made_up, vehicle_id, group)
            answer = _asked(now, draft)
            st.subheader(tables.escaped(kind_first(group)), anchor=False)
            if answer:
                what_is_left(now, answer)
            picture(now, draft)
            st.markdown(_common(group))
            if group.low_kg is not None and group.high_kg is not None:
                st.markdown(
                    f"Such a {group.kind} weighs between **{now.units.kg(group.low_kg)}** and **{now.units.kg(group.high_kg)}** "
                    "(8 of 10 of them)."
                )
            what_is_in(draft)
            if answer:
                sheet_buttons(now, draft, kind_first(group), f"build-{group.family}")


def change_it(now: Here, vehicle_id: str, chosen: list[Group]) -> None:
    """Change the first of the chosen builds a little, and see what follows."""
    group = chosen[0]
    base = live.ask(made_up, vehicle_id, group)
    items = live.ask(choices)["items"]
    st.header("Change it a little", anchor=False)
    st.markdown(f"Starting from the {tables.escaped(group.name)}.")
    left, right = st.columns([5, 6], gap="large")
    with left:
        length = base.bodies[0].length_mm
        lengths = [length + step * _ZONES_MM for step in range(-8, 13) if length + step * _ZONES_MM >= 600]
        wanted = st.select_slider("Length", lengths, length, format_func=now.units.mm, key=f"length-{vehicle_id}-{group.family}")
        held = [line.item_id for line in base.bodies[0].lines]
        label = {item_id: item["label"] for item_id, item in items.items()}
        without = st.multiselect(
            "Leave out",
            held,
            format_func=lambda one: label.get(one, one),
            key=f"out-{vehicle_id}-{group.family}",
            placeholder="nothing",
            select_all=False,
        )
        more = sorted((item_id for item_id in items if item_id not in held), key=lambda one: label[one])
        added = st.multiselect(
            "Put in",
            more,
            format_func=lambda one: label.get(one, one),
            key=f"in-{vehicle_id}-{group.family}",
            placeholder="nothing",
            select_all=False,
        )
    draft = changed(base, length_mm=wanted)
    for item_id in without:
        draft = changed(draft, take_out=item_id)
    for item_id in added:
        draft = changed(draft, add=item_id)
    answer = _asked(now, draft)
    with right:
        if answer:
            st.markdown(
                f"About **{now.units.kg(answer.mass_kg)}** for everything we build, "
                f"likely {now.units.kg(answer.low_kg)} to {now.units.kg(answer.high_kg)}."
            )
            if not answer.inside:
                st.warning("We have not built anything quite like this yet, so this is a first guess.")
            what_is_left(now, answer)
        picture(now, draft)
        if answer:
            sheet_buttons(now, draft, "", "changed")


def what_is_left(now: Here, answer: CustomerBuild) -> None:
    """First of all numbers: what is left for people, luggage and ball."""
    left = answer.left
    if left.left_kg is None:
        st.markdown("What is left on this vehicle we can say once we know its ratings.")
        return
    st.metric(
        "Left for people, luggage and ball",
        now.units.kg(left.left_kg),
        help="On the finished vehicle with a full tank. To be confirmed on the weighbridge.",
    )
    st.markdown(_with_load(now, left))
    for label, other in answer.with_upgrades.items():
        if other.left_kg is not None:
            st.markdown(f"With *{tables.escaped(label)}*: **{now.units.kg(other.left_kg)}** left.")


def _with_load(now: Here, left: Left) -> str:
    if left.margin_kg is None:
        return ""
    people = len(now.settings.travel.people)
    who = f"{people} {'person' if people == 1 else 'people'} and {now.units.kg(now.settings.travel.luggage_kg)} of luggage"
    if left.margin_kg < 0:
        return f"With {who} it would be **{now.units.kg(-left.margin_kg)} over** what the vehicle is rated for."
    return f"With {who} there are still about **{now.units.kg(left.margin_kg)}** to spare."


def picture(now: Here, draft: Draft) -> None:
    """The first body of a build to scale."""
    drawn = draft_drawing(now, draft, draft.bodies[0].body, "sheet")
    if drawn:
        st.image(drawn.svg, alt=drawn.alt, width="stretch")


def what_is_in(draft: Draft) -> None:
    """What is in each body, in words."""
    items = live.ask(choices)["items"]
    for body in draft.bodies:
        said = [
            items.get(line.item_id, {}).get("label", line.item_id) + (f" (× {line.qty:g})" if line.qty != 1 else "") for line in body.lines
        ]
        st.markdown(f"**In the {body.body.partition('-')[0]}:** {tables.escaped(', '.join(said) or 'nothing yet')}.")


def _common(group: Group) -> str:
    return (
        "Nearly every such body is like this."
        if group.one_in == 1
        else f"About 1 in {group.one_in} who choose a {group.kind} choose one like this."
    )


def _asked(now: Here, draft: Draft) -> CustomerBuild | None:
    try:
        return live.ask_edition(build_answer, key_of(draft), now.role.value)
    except NoModel:
        st.caption("Masses are shown once the mass model is fitted.")
        return None
