"""Charts and drawings on a page, each with its words and a way to take it along."""

from __future__ import annotations

import html
from collections.abc import Sequence
from functools import partial
from typing import Any, cast

import streamlit as st

from dashboard.here import Here
from dashboard.parts.sources import About, source
from dashboard.parts.tables import take_along
from dashboard.words import escaped
from pipeline.answers.files import Rows
from pipeline.pictures.charts.base import Picture
from pipeline.pictures.drawing import Drawing
from pipeline.pictures.palette import text_on

_FILE_WIDTH_PX = 900


def chart(now: Here, picture: Picture, name: str, about: About, rows: Rows | None = None) -> dict[str, Any]:
    """Show a chart; its description is its alternative text. Below it: the picture and its rows as files, and where it comes from.

    Returns: what was picked in it, by selection; empty where it cannot be picked in.
    """
    spec = picture.to_dict()
    picks = _picks(spec)
    _heading(spec["title"])
    # without this the page would take the axis out of the height that the rows of a chart need
    on_page = {part: value for part, value in spec.items() if part != "title"} | {"autosize": {"type": "fit-x", "contains": "padding"}}
    shown = st.vega_lite_chart(
        spec=on_page,
        theme=None,
        key=f"chart-{name}",
        alt=None if spec.get("description") else name,
        on_select="rerun" if picks else "ignore",
    )
    with st.container(horizontal=True, gap="small"):
        with st.popover("Save picture", type="tertiary", key=f"picture-{name}"):
            _save(name, "PNG", partial(_png, spec), "image/png")
            _save(name, "SVG", partial(_svg, spec), "image/svg+xml")
        source(now, name, about)
        if rows is not None:
            take_along(rows, name, now)
    return dict(cast(Any, shown)["selection"]) if picks else {}


def _heading(title: dict[str, Any]) -> None:
    """A chart's question and answer as text of the page, which breaks where the page does and is read aloud."""
    question, answer = (" ".join(said) if isinstance(said, list) else said for said in (title["text"], title.get("subtitle", "")))
    st.markdown(f"**{escaped(question)}**" + (f"  \n:small[{escaped(answer)}]" if answer else ""))


def drawing(picture: Drawing, name: str) -> None:
    """Show a drawing to scale with what its letters stand for and what a reader must know about it."""
    st.image(picture.svg, alt=picture.alt, width="stretch")
    key_to(picture.key)
    if picture.notes:
        st.caption(" ".join(picture.notes))
    with st.popover("Save drawing", type="tertiary", key=f"drawing-{name}"):
        _save(name, "PNG", partial(_drawn_png, picture.svg), "image/png")
        _save(name, "SVG", picture.svg, "image/svg+xml")


def key_to(key: Sequence[tuple[str, str, str]]) -> None:
    """What the letters on blocks stand for, in the blocks' colours: `(letters, what, colour)`."""
    entries = [
        f'<li><span style="background:{colour};color:{text_on(colour)}">{html.escape(letters)}</span>{html.escape(what)}</li>'
        for letters, what, colour in key
    ]
    if entries:
        st.html(f'<ul class="key" aria-label="What the letters stand for">{"".join(entries)}</ul>')


def _save(name: str, kind: str, data: Any, mime: str) -> None:
    st.download_button(kind, data, f"{name}.{kind.lower()}", mime, key=f"save-{name}-{kind}", on_click="ignore", width="stretch")


def _picks(spec: dict[str, Any]) -> bool:
    return any("select" in entry for entry in spec.get("params", ()))


def _png(spec: dict[str, Any]) -> bytes:
    import vl_convert

    return vl_convert.vegalite_to_png(_for_file(spec), scale=2)


def _svg(spec: dict[str, Any]) -> bytes:
    import vl_convert

    return vl_convert.vegalite_to_svg(_for_file(spec)).encode("utf-8")


def _drawn_png(svg: str) -> bytes:
    import vl_convert

    return vl_convert.svg_to_png(svg, scale=2)


def _for_file(spec: dict[str, Any]) -> dict[str, Any]:
    return spec | {"width": _FILE_WIDTH_PX} if spec.get("width") == "container" else spec
