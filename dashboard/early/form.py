"""The form of a draft: vehicle, bodies, fit-out line by line. Plain widgets only, so that a keyboard and a phone reach everything."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

import streamlit as st

from dashboard.early import desk_top
from dashboard.here import Here
from pipeline.answers.draft import DraftBody, DraftLine
from pipeline.contract.tables import BODY_KINDS, TABLES, ZONES
from pipeline.mass.bodies import USUAL

_ZONE_WORDS = {zone: zone.replace("-", ", ") for zone in ZONES}
_STEP_MM = {
    "length_mm": 50.0,
    "width_mm": 10.0,
    "height_mm": 10.0,
    "offset_mm": 10.0,
    "sticks_out_mm": 10.0,
    "sheet_mm": 0.5,
    "floor_mm": 0.5,
}
_LABELS = {
    "length_mm": "Length", "width_mm": "Width", "height_mm": "Height",
    "offset_mm": "Gap to the headboard", "sticks_out_mm": "Sticks out behind",
    "sheet_mm": "Wall sheet", "floor_mm": "Floor or deck sheet",
}  # fmt: skip


def form(now: Here, choices: Mapping[str, Any]) -> None:
    """Draw the form of the draft that is being worked on, and keep what it says."""
    _vehicle(choices)
    for place, body in enumerate(desk_top.drafts()[desk_top.letter()].bodies):
        with st.container(border=True):
            _body(now, place, body, choices)
    _more_bodies()


def _vehicle(choices: Mapping[str, Any]) -> None:
    draft = desk_top.drafts()[desk_top.letter()]
    vehicles: dict[str, str] = choices["vehicles"]
    ids = list(vehicles)
    vehicle_id = st.selectbox(
        "Vehicle", ids, index=ids.index(draft.vehicle_id) if draft.vehicle_id in vehicles else None,
        format_func=vehicles.__getitem__, key=desk_top.key("vehicle"),
        placeholder="none chosen: mass only, no margins",
    )  # fmt: skip
    upgrades: dict[str, str] = choices["upgrades"].get(vehicle_id, {})
    upgrade_id = None
    if upgrades:
        ids = list(upgrades)
        upgrade_id = st.selectbox(
            "Upgrade", ids, index=ids.index(draft.upgrade_id) if draft.upgrade_id in upgrades else None, format_func=upgrades.__getitem__,
            key=desk_top.key(f"upgrade-{vehicle_id}"), placeholder="none",
        )  # fmt: skip
    if (vehicle_id, upgrade_id) != (draft.vehicle_id, draft.upgrade_id):
        desk_top.change(vehicle_id=vehicle_id, upgrade_id=upgrade_id)


def _body(now: Here, place: int, body: DraftBody, choices: Mapping[str, Any]) -> None:
    kind = body.body.partition("-")[0]
    st.subheader(body.body.replace("-2", ", the second").capitalize(), anchor=False)
    fields: dict[str, Any] = {}
    sizes = ("length_mm", "width_mm") if kind == "tray" else ("length_mm", "width_mm", "height_mm")
    with st.container(horizontal=True):
        for name in sizes:
            fields[name] = _millimetres(now, place, body, name, required=name != "height_mm")
    with st.expander("More about this body"):
        with st.container(horizontal=True):
            for name in ("sheet_mm", "floor_mm") if kind != "tray" else ("floor_mm",):
                fields[name] = _millimetres(now, place, body, name, always_mm=True)
            if kind != "tray":
                fields["doors"] = st.number_input(
                    "Side doors",
                    0,
                    20,
                    None if body.doors is None else int(body.doors),
                    key=desk_top.key(f"{place}-doors"),
                    placeholder="usual",
                    width=130,
                )
        with st.container(horizontal=True):
            for name in ("offset_mm", "sticks_out_mm"):
                fields[name] = _millimetres(now, place, body, name)
        fields["painted"] = _yes_no("Painted outside", body.painted, f"{place}-painted")
        fields["sits_on"] = _one_of("Sits on", ("tray", "chassis"), body.sits_on, f"{place}-sits-on")
        fields["lift_off"] = _yes_no("Comes off on legs", body.lift_off, f"{place}-lift-off")
    fields["lines"] = _lines(place, body, choices["items"])
    if any(fields[name] != getattr(body, name) for name in fields):
        desk_top.change_body(place, **fields)
    if len(desk_top.drafts()[desk_top.letter()].bodies) > 1:
        st.button(f"Remove this {kind}", key=desk_top.key(f"{place}-remove"), on_click=desk_top.drop_body, args=(place,), type="tertiary")


def _lines(place: int, body: DraftBody, items: Mapping[str, Mapping[str, Any]]) -> tuple[DraftLine, ...]:
    """The fit-out: which items, and folded away where each sits and how many there are."""
    ordered = sorted(items, key=lambda one: (items[one]["group"], items[one]["label"]))
    held = list(dict.fromkeys(line.item_id for line in body.lines if line.item_id in items))
    chosen = st.multiselect(
        "Fit-out", ordered, held, format_func=lambda one: items[one]["label"], key=desk_top.key(f"{place}-items"), select_all=False,
        placeholder="type or choose items",
    )  # fmt: skip
    kept = [line for line in body.lines if line.item_id in chosen or line.item_id not in items]
    there = {line.item_id for line in kept}
    lines = [*kept, *(DraftLine(one, zone=_usual_zone(items[one])) for one in chosen if one not in there)]
    unfolded = st.expander("Where each sits, and how many", on_change="rerun", key=f"places-{desk_top.letter()}-{place}")
    if not unfolded.open:
        return tuple(lines)
    with unfolded:
        placed = tuple(
            _line(place, number, line, items.get(line.item_id, {}).get("label", line.item_id)) for number, line in enumerate(lines)
        )
        _one_more(place, placed, items)
        return placed


def _line(place: int, number: int, line: DraftLine, label: str) -> DraftLine:
    name = desk_top.key(f"{place}-{line.item_id}-{number}")
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        zones = list(ZONES)
        zone = st.selectbox(
            f"{label}: where", zones, index=zones.index(line.zone) if line.zone in ZONES else None, format_func=_ZONE_WORDS.__getitem__,
            key=f"{name}-zone", placeholder="not said",
        )  # fmt: skip
        least = min(1.0, line.qty)
        qty = st.number_input("How many", least, 200.0, float(line.qty), 1.0, format="%g", key=f"{name}-qty", width=130)
    moved = (zone or "") != line.zone
    x_mm, y_mm = (None, None) if moved else (line.x_mm, line.y_mm)
    return DraftLine(line.item_id, float(qty or line.qty), zone or "", line.length_mm, x_mm, y_mm)


def _one_more(place: int, lines: Sequence[DraftLine], items: Mapping[str, Mapping[str, Any]]) -> None:
    """The same item once more, at another place."""
    held = list(dict.fromkeys(line.item_id for line in lines if line.item_id in items))
    name = desk_top.key(f"{place}-again-{len(lines)}")
    st.selectbox(
        "The same once more, elsewhere", held, index=None, format_func=lambda one: items[one]["label"],
        key=name, placeholder="choose an item",
        on_change=partial(_again, place, name),
    )  # fmt: skip


def _again(place: int, name: str) -> None:
    item_id = st.session_state.get(name)
    if item_id:
        desk_top.add_line(place, DraftLine(item_id))


def _usual_zone(item: Mapping[str, Any]) -> str:
    """Where history mostly put it, else nowhere in particular."""
    return item.get("usual_zone") or ""


def _millimetres(now: Here, place: int, body: DraftBody, name: str, required: bool = False, always_mm: bool = False) -> float | None:
    """A length in the units of the page; what is not touched keeps its millimetres to the last digit."""
    column, value = TABLES["bodies"].column(name), getattr(body, name)
    per = 1.0 if always_mm else now.units.mm_per_unit
    shown = None if value is None else round(value / per, 2)
    low, high = (None if bound is None else bound / per for bound in (column.low, column.high))
    given = st.number_input(
        f"{_LABELS[name]}, {'mm' if always_mm else now.units.length}", low, high, shown, _STEP_MM[name] if per == 1.0 else 0.5,
        format="%g" if per == 1.0 else "%.2f", key=desk_top.key(f"{place}-{name}-{now.units.system}"),
        required=required, placeholder="usual", width=150,
    )  # fmt: skip
    if given is None:
        return value if required else None
    return value if given == shown else given * per


def _yes_no(label: str, value: bool | None, name: str) -> bool | None:
    chosen = _one_of(label, ("yes", "no"), None if value is None else "yes" if value else "no", name)
    return None if chosen is None else chosen == "yes"


def _one_of(label: str, options: Sequence[str], value: str | None, name: str) -> str | None:
    return st.segmented_control(label, options, default=value, key=desk_top.key(name))


def _more_bodies() -> None:
    draft = desk_top.drafts()[desk_top.letter()]
    names = [body.body for body in draft.bodies]
    free = [kind if kind not in names else f"{kind}-2" for kind in BODY_KINDS if f"{kind}-2" not in names]
    if len(draft.bodies) < 4 and free:
        with st.container(horizontal=True):
            for name in free:
                kind = name.partition("-")[0]
                usual = USUAL[kind]
                made = DraftBody(name, usual["length_mm"], usual["width_mm"], height_mm=None if kind == "tray" else usual["height_mm"])
                st.button(f"Add a {kind}", key=desk_top.key(f"add-{name}"), on_click=desk_top.add_body, args=(made,), type="tertiary")
