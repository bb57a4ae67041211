"""What all charts share: rows out of any plain frame, units, and the last touch that gives title, look and description."""

from __future__ import annotations

import datetime as dt
import json
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import numpy as np
from altair.utils.schemapi import disable_debug_mode

from pipeline import frames
from pipeline.pictures import units
from pipeline.pictures.palette import LIGHT, Look, chart_config

# The library would check every part of a chart while it is made, for longer than all the rest takes. Whether charts are valid
# Vega-Lite hangs on our code alone; a test checks them whole. A channel named by a text alone would be looked up in the schema:
# it is always given as what it is (`alt.X2("high:Q")`).
disable_debug_mode()

Frame = Any
"""Columns, a polars frame, or a sequence of row dicts."""

_NARROW_PX = 340
"""What a phone of 375 px leaves a chart."""

PICK = "picked"
"""Name of the selection of a chart that lets rows be picked, and of the event it sends."""


@dataclass(frozen=True)
class Style:
    """How a chart is dressed.

    `width` is px, or `container` on a page. With `pick` the chart's dots can be chosen (selection `PICK`); paper leaves it off.
    `units` is `metric` (kg, mm) or `imperial` (lb, in).
    """

    look: Look = LIGHT
    width: int | str = "container"
    height: int | None = None
    pick: bool = False
    units: str = "metric"

    @property
    def mass_unit(self) -> str:
        return units.MASS_UNITS[self.units]

    @property
    def length_unit(self) -> str:
        return units.LENGTH_UNITS[self.units]

    def mass(self, kg: float | None) -> float | None:
        """A mass in the shown unit; not known stays not known."""
        return units.mass(kg, self.units)

    def length(self, mm: float | None) -> float | None:
        """A length in the shown unit."""
        return units.length(mm, self.units)

    def mass_said(self, kg: float) -> str:
        """A mass as people read it, with its unit."""
        return units.mass_said(kg, self.units)


USUAL = Style()
"""Light, as wide as the page allows, in kg and mm."""


def rows(frame: Frame) -> list[dict[str, Any]]:
    """Row dicts of JSON values: dates as ISO text, NaN and NaT as None.

    Args:
        frame: Columns (arrays by name), a frame with `to_dicts` (polars), or row dicts.
    """
    if isinstance(frame, Mapping):
        found: Iterable[Mapping[str, Any]] = frames.rows(frame)  # type: ignore[arg-type]
    elif hasattr(frame, "to_dicts"):
        found = frame.to_dicts()
    else:
        found = frame
    return [{name: _json(value) for name, value in row.items()} for row in found]


def _json(value: Any) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or value != value:
        return None
    if isinstance(value, dt.datetime | dt.date):
        return value.isoformat()
    return value


def known(records: Sequence[dict[str, Any]], *names: str) -> list[dict[str, Any]]:
    """Rows in which all of these are known."""
    return [row for row in records if all(row.get(name) is not None for name in names)]


def data(records: Sequence[Mapping[str, Any]]) -> alt.Data:
    """Inline rows for one layer.

    As text until the chart is finished: the library copies and checks rows value by value, again and again.
    """
    return alt.Data(values=json.dumps(list(records)))


@dataclass(frozen=True)
class Picture:
    """A finished chart, in Vega-Lite."""

    spec: Mapping[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """The chart as plain values, to be drawn."""
        return dict(self.spec)


def finish(chart: Any, style: Style, question: str, answer: str, height: int, alternative: str = "") -> Picture:
    """Give a chart its title, size, look and description.

    Args:
        chart: a chart or a layered one.
        question: the title; it asks what the picture answers.
        answer: one line under it, the finding in words.
        alternative: the description for whoever cannot see it; empty: question and answer.
    """
    layered = chart if isinstance(chart, alt.LayerChart) else alt.layer(chart)
    whole = layered.properties(
        width=style.width,
        height=style.height or height,
        title=alt.TitleParams(text=_lines(question, style, 10.0), subtitle=_lines(answer, style, 7.4) if answer else alt.Undefined),
        description=alternative or f"{question} {answer}".strip(),
    ).configure(**chart_config(style.look))
    spec = whole.to_dict(validate=False)
    for part in (spec, *spec["layer"]):
        if "data" in part:
            part["data"] = {"values": json.loads(part["data"]["values"])}
    return Picture(spec)


def _lines(text: str, style: Style, letter_px: float) -> str | list[str]:
    """Text broken for the narrowest screen that it may stand on, since a chart's title does not wrap by itself."""
    width_px = _NARROW_PX if isinstance(style.width, str) else max(style.width, _NARROW_PX)
    lines = textwrap.wrap(text, int(width_px / letter_px))
    return lines if len(lines) > 1 else text


def nothing(style: Style, question: str, why: str) -> Picture:
    """The designed empty state: the question, and why there is nothing to show yet."""
    mark = alt.Chart(data([{"why": why}])).mark_text(fontSize=14, color=style.look.muted, align="center").encode(text=alt.Text("why:N"))
    return finish(mark, style, question, "", 120, f"{question} {why}")


def reference(value: float, style: Style) -> alt.Chart:
    """An upright line at one value."""
    return alt.Chart(data([{"at": value}])).mark_rule(color=style.look.ink, strokeWidth=1.5).encode(x=alt.X("at:Q"))


def picking(chart: alt.Chart, style: Style, fields: Sequence[str]) -> alt.Chart:
    """Let dots be chosen one by one (or several with shift), by these fields."""
    if not style.pick:
        return chart
    return chart.add_params(alt.selection_point(name=PICK, fields=list(fields)))


def row_height(count: int, each: int = 26, least: int = 60) -> int:
    """Height of a chart with a row a thing, px."""
    return max(least, count * each)


def utc(field: str, title: str) -> alt.X:
    """A date axis that does not shift a day where the clock is behind UTC."""
    return alt.X(f"{field}:T", title=title, scale=alt.Scale(type="utc"))
