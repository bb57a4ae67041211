"""Charts that watch: readings against what to expect of them, and how complete the records are."""

from __future__ import annotations

import altair as alt

from pipeline.pictures.charts.base import USUAL, Frame, Picture, Style, data, finish, known, nothing, picking, row_height, rows, utc
from pipeline.pictures.palette import text_on
from pipeline.pictures.units import plain


def individuals(frame: Frame, style: Style = USUAL, unit: str = "kg", question: str = "Is anything out of the ordinary?") -> Picture:
    """Reading after reading against the mean and its limits; those outside are squares.

    Args:
        frame: `on` (date), `value, centre, low, high`, `outside` (1/0), and `job_id` where there is one; in order.
        unit: unit of the readings, for the axis.
    """
    return _control(frame, style, unit, question, "value", "readings")


def ewma(frame: Frame, style: Style = USUAL, unit: str = "kg", question: str = "Are readings drifting?") -> Picture:
    """The exponentially weighted mean after each reading against its limits, the readings themselves faint behind.

    Args:
        frame: as for individuals, and `smoothed`; `low, high` are the limits of `smoothed`.
    """
    return _control(frame, style, unit, question, "smoothed", "smoothed readings")


def _control(frame: Frame, style: Style, unit: str, question: str, field: str, what: str) -> Picture:
    found = known(rows(frame), "on", field)
    if not found:
        return nothing(style, question, "No reading to watch yet.")
    shown = [row | {"state": "outside" if row.get("outside") else "inside"} for row in found]
    out = [row for row in shown if row["state"] == "outside"]
    x, y = utc("on", "date"), alt.Y(f"{field}:Q", title=unit, scale=alt.Scale(zero=False))
    base = alt.Chart(data(shown)).encode(x=x)
    band = base.mark_area(opacity=0.1, color=style.look.accent).encode(y=alt.Y("low:Q", title=unit), y2=alt.Y2("high:Q"))
    mean = base.mark_line(color=style.look.rule, strokeDash=[4, 3]).encode(y=alt.Y("centre:Q", title=unit))
    line = base.mark_line(color=style.look.accent, strokeWidth=1.2).encode(y=y)
    colours = alt.Scale(domain=["inside", "outside"], range=[style.look.accent, style.look.verdicts["over"]])
    shapes = alt.Scale(domain=["inside", "outside"], range=["circle", "square"])
    dots = base.mark_point(filled=True, size=60, opacity=1).encode(
        y=y,
        color=alt.Color("state:N", scale=colours, legend=None),
        shape=alt.Shape("state:N", scale=shapes, legend=None),
        tooltip=[alt.Tooltip("on:T"), alt.Tooltip(f"{field}:Q", format=".1f")],
    )
    layers = [band, mean]
    if field == "smoothed":
        layers.append(base.mark_point(size=22, opacity=0.4, color=style.look.muted).encode(y=alt.Y("value:Q", title=unit)))
    said = f"{len(out)} of {len(shown)} {what} outside the limits" + (f", the last on {out[-1]['on'][:10]}" if out else "")
    return finish(alt.layer(*layers, line, picking(dots, style, ["on"])), style, question, said, 260)


def completeness(frame: Frame, style: Style = USUAL, question: str = "What do we write down, and since when?") -> Picture:
    """Share of rows in which a column is known, a cell a quarter.

    Args:
        frame: `column, quarter, share, rows`; columns in the order to be shown.
    """
    found = known(rows(frame), "column", "quarter", "share")
    if not found:
        return nothing(style, question, "No records yet.")
    columns = list(dict.fromkeys(row["column"] for row in found))
    quarters = sorted({row["quarter"] for row in found})
    ramp = style.look.ramp
    shown = [
        row | {"said": plain(100 * row["share"]), "ink": text_on(ramp[min(round(row["share"] * (len(ramp) - 1)), len(ramp) - 1)])}
        for row in found
    ]
    base = alt.Chart(data(shown)).encode(
        x=alt.X("quarter:O", sort=quarters, title=None, axis=alt.Axis(labelAngle=0, labelOverlap=True)),
        y=alt.Y("column:N", sort=columns, title=None),
    )
    scale = alt.Scale(domain=[0, 1], range=list(ramp))
    tooltip = [alt.Tooltip("column:N"), alt.Tooltip("quarter:N"), alt.Tooltip("share:Q", format=".0%"), alt.Tooltip("rows:Q")]
    cells = base.mark_rect(stroke=style.look.paper, strokeWidth=1.5).encode(
        color=alt.Color("share:Q", scale=scale, legend=None), tooltip=tooltip
    )
    layers = [cells]
    if len(quarters) <= 16:
        layers.append(base.mark_text(fontSize=11).encode(text=alt.Text("said:N"), color=alt.Color("ink:N", scale=None)))
    least = min(found, key=lambda row: row["share"])
    said = f"Numbers are rows in 100 that say it; least: {least['column']} in {least['quarter']}, {100 * least['share']:.0f} in 100"
    return finish(alt.layer(*layers).resolve_scale(color="independent"), style, question, said, row_height(len(columns), 24))
