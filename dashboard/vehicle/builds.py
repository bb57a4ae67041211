"""Made-up typical builds: first of all numbers what is left, then the drawing, what is in it, and how common it is."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl
import streamlit as st

from dashboard import live
from dashboard.early.choices import choices
from dashboard.here import Here
from dashboard.parts import tables
from dashboard.parts.builds import draft_shape
from dashboard.sheets import sheet_buttons
from dashboard.vehicle.choice import kind_first
from pipeline.answers.customer import CustomerBuild, Group, Left, build_answer, changed, items_to_choose, key_of, made_up
from pipeline.answers.draft import Draft
from pipeline.errors import NoModel
from pipeline.mass.standing import PLURAL
from pipeline.pictures.drawing import draw

_STEP_MM = 50


def side_by_side(now: Here, vehicle_id: str, chosen: list[Group]) -> None:
    """Two or three typical builds, each in a column of its own."""
    for column, group in zip(st.columns(len(chosen), gap="large"), chosen, strict=True):
        with column:
            draft = live.ask(made_up, vehicle_id, group)
            answer = _asked(now, draft)
            st.subheader(tables.escaped(kind_first(group)), anchor=False)
            place = f"{group.family}-{group.kind}"
            if answer:
                what_is_left(now, answer, place)
            what_it_weighs(now, answer, group)
            picture_and_list(now, draft)
            if answer:
                sheet_buttons(now, draft, kind_first(group), f"build-{place}", for_customer=True)
    st.markdown("Choose one of them alone to change it a little.")


def one_build(now: Here, base: Draft, group: Group | None) -> None:
    """One build large, to be changed a little: what is left and what it weighs follow."""
    place = f"{base.vehicle_id}-{group.family if group else 'bare'}-{base.bodies[0].body}"
    said, drawn = st.columns([1, 1], gap="large")
    with said:
        if group:
            st.subheader(tables.escaped(kind_first(group)), anchor=False)
        # above the controls on the page, but known only when they are read
        above = st.container()
        draft = _change(now, base, place)
    answer = _asked(now, draft)
    with above:
        if answer:
            what_is_left(now, answer, "one")
            if draft != base:
                _against(now, answer, _asked(now, base))
            if not answer.inside:
                st.warning("We have built few like this so far, so take it as a first guess.")
        what_it_weighs(now, answer, group if draft == base else None)
    with drawn:
        picture_and_list(now, draft)
        if answer:
            sheet_buttons(now, draft, kind_first(group) if group and draft == base else "", "one", for_customer=True)


def _change(now: Here, base: Draft, place: str) -> Draft:
    """Another length, an item more or less."""
    st.subheader("Change it a little", anchor=False)
    body = base.bodies[0]
    label = {item_id: item["label"] for item_id, item in live.ask(choices)["items"].items()}
    lengths = [body.length_mm + step * _STEP_MM for step in range(-8, 13) if body.length_mm + step * _STEP_MM >= 600]
    wanted = st.select_slider("Length", lengths, body.length_mm, format_func=now.units.mm, key=f"length-{place}")
    held = [line.item_id for line in body.lines]
    more = [item_id for item_id in live.ask(items_to_choose) if item_id not in held]
    added, without = (
        st.multiselect(
            asked, offered, format_func=lambda one: label.get(one, one), key=f"{key}-{place}", placeholder="nothing", select_all=False
        )
        for asked, offered, key in (("Put in", more, "in"), ("Leave out", held, "out"))
    )
    draft = changed(base, length_mm=wanted)
    for item_id in without:
        draft = changed(draft, take_out=item_id)
    for item_id in added:
        draft = changed(draft, add=item_id)
    return draft


def what_is_left(now: Here, answer: CustomerBuild, place: str) -> None:
    """First of all numbers: what is left for people, luggage and ball."""
    left = answer.left
    if left.left_kg is None:
        st.markdown("What is left on this vehicle we can say once we know its ratings.")
        return
    with st.container(key=f"left-for-{place}", gap="small"):
        st.metric("Left for people, luggage and tow ball, with a full tank", now.units.kg(max(left.left_kg, 0.0)))
        careful = f" Plan with **{now.units.kg(max(left.left_low_kg, 0.0))}** until then." if left.left_low_kg is not None else ""
        over = f"That is **{now.units.kg(-left.left_kg)}** over what the vehicle is rated for. " if left.left_kg < 0 else ""
        st.markdown(f"{over}To be confirmed on the weighbridge.{careful}")
    _with_load(now, {"as it is": left} | {f"with {label}": other for label, other in answer.with_upgrades.items()})


def _with_load(now: Here, cases: Mapping[str, Left]) -> None:
    """What is left and the margin with the travel load of the settings, with and without an upgrade."""
    travel = now.settings.travel
    people = len(travel.people)
    who = f"with {people} {'person' if people == 1 else 'people'} and {now.units.kg(travel.luggage_kg)} of luggage"
    rows = [
        (tables.escaped(case), _spare(now, left.left_kg), _spare(now, left.margin_kg))
        for case, left in cases.items()
        if left.left_kg is not None
    ]
    st.table(pl.DataFrame(rows, ["the vehicle", "left", who], orient="row"), border="horizontal", hide_index=True, alt="What is left")


def _spare(now: Here, kg: float | None) -> str:
    """A mass that never breaks from its unit."""
    said = now.units.kg(kg if kg is None else abs(kg)).replace(" ", "\N{NO-BREAK SPACE}")
    return f"{said} over its rating" if kg is not None and kg < 0 else said


def _against(now: Here, answer: CustomerBuild, base: CustomerBuild | None) -> None:
    """What the change does, against the build it began with."""
    if base is None or base.left.left_kg is None or answer.left.left_kg is None:
        return
    more = answer.left.left_kg - base.left.left_kg
    if more:
        st.markdown(f"Your change leaves **{now.units.kg(abs(more))} {'more' if more > 0 else 'less'}** than the build it began with.")
    else:
        st.markdown("Your change makes next to no difference to that.")


def what_it_weighs(now: Here, answer: CustomerBuild | None, group: Group | None) -> None:
    """How heavy such builds come out, and how common they are."""
    if group and group.low_kg is not None and group.high_kg is not None:
        between = f"**{now.units.kg(group.low_kg)}** and **{now.units.kg(group.high_kg)}**"
        st.markdown(f"8 in 10 such {PLURAL[group.kind]} that we built weigh between {between}.")
    if answer:
        between = f"between {now.units.kg(answer.low_kg)} and {now.units.kg(answer.high_kg)}"
        st.markdown(f"All that we would build for you: about **{now.units.kg(answer.mass_kg)}**, likely {between}.")
    if group:
        st.markdown(_common(group))


def picture_and_list(now: Here, draft: Draft) -> None:
    """The first body to scale with the list of what is in it, and what is in the others."""
    shape = draft_shape(now.settings, draft, draft.bodies[0].body)
    if shape:
        drawn = draw(shape, "narrow", now.look, title=f"{shape.kind} to scale", units=now.units.system)
        st.image(drawn.svg, alt=drawn.alt, width="stretch")
        listed = [f"- **{mark.key}** {tables.escaped(mark.label)}{_times(mark.qty)}" for mark in shape.items]
        st.markdown("\n".join([f"**In the {shape.kind}**", "", *(listed or ["- nothing yet"])]))
    items = live.ask(choices)["items"]
    for body in draft.bodies[1:]:
        said = [items.get(line.item_id, {}).get("label", line.item_id) + _times(line.qty) for line in body.lines]
        st.markdown(f"**On the {body.body.partition('-')[0]}:** {tables.escaped(', '.join(said) or 'nothing yet')}")


def _times(qty: float) -> str:
    return "" if qty == 1 else f" (× {qty:g})"


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
