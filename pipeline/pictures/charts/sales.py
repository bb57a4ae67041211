"""Charts of what sells: shares over time, what changed, and how quotes turn into orders."""

from __future__ import annotations

from typing import Any

import altair as alt

from pipeline.pictures.charts.base import USUAL, Frame, Picture, Style, data, finish, known, nothing, picking, reference, row_height, rows

MOST_LINES = 6
"""More lines than this cannot be told apart; the rest is named in the subtitle and shown in the table below."""


def shares(frame: Frame, style: Style = USUAL, question: str = "What share of sold bodies has it?") -> Picture:
    """Shares over time with their bands, a line a value, named at its end.

    Args:
        frame: `quarter, value, share, low, high` (shares 0 to 1), and `count, of` for the tooltip.
    """
    found = known(rows(frame), "quarter", "value", "share")
    if not found:
        return nothing(style, question, "Nothing was sold in this period.")
    names = _largest_last(found)
    shown = [row for row in found if row["value"] in names[:MOST_LINES]]
    quarters = sorted({row["quarter"] for row in found})
    x = alt.X("quarter:O", title=None, sort=quarters, axis=alt.Axis(labelAngle=0, labelOverlap=True, labelSeparation=12))
    y = alt.Y("share:Q", title="share of bodies", axis=alt.Axis(format=".0%"), scale=alt.Scale(domainMin=0))
    colour = _series(names[:MOST_LINES], style)
    base = alt.Chart(data(shown)).encode(x=x, color=colour)
    tooltip = [alt.Tooltip(f"{name}:N") for name in ("quarter", "value")] + [
        alt.Tooltip("share:Q", format=".0%"),
        alt.Tooltip("of:Q", title="bodies"),
    ]
    bands = base.mark_area(opacity=0.13).encode(y=alt.Y("low:Q", title=y["title"]), y2=alt.Y2("high:Q"))
    lines = base.mark_line(strokeWidth=2.2).encode(y=y)
    dots = picking(
        base.mark_point(filled=True, size=46, opacity=1).encode(y=y, tooltip=tooltip, shape=_shapes(names)), style, ["quarter", "value"]
    )
    text = _end_names(shown, "quarter", "share", style, x, y, colour)
    more = f"; {len(names) - MOST_LINES} rarer ones are in the table" if len(names) > MOST_LINES else ""
    said = f"Bands show what chance alone allows (95 %){more}"
    return finish(alt.layer(bands, lines, dots, text), style, question, said, 300, f"{question} {_last_said(shown)}")


def _largest_last(found: list[dict[str, Any]]) -> list[str]:
    last: dict[str, tuple[str, float]] = {}
    for row in found:
        last[row["value"]] = max(last.get(row["value"], ("", 0.0)), (row["quarter"], row["share"]))
    return sorted(last, key=lambda name: (-last[name][1], name))


def _series(names: list[str], style: Style) -> alt.Color:
    return alt.Color("value:N", scale=alt.Scale(domain=names, range=list(style.look.series[: len(names)])), legend=None)


def _shapes(names: list[str]) -> alt.Shape:
    shapes = ["circle", "square", "triangle-up", "diamond", "cross", "triangle-down"]
    return alt.Shape("value:N", scale=alt.Scale(domain=names[:MOST_LINES], range=shapes[: len(names)]), legend=None)


def _end_names(shown: list[dict[str, Any]], at: str, height: str, style: Style, x: alt.X, y: alt.Y, colour: alt.Color) -> alt.Chart:
    """Each line's name at its last point, those of near ends moved apart."""
    ends: dict[str, dict[str, Any]] = {}
    for row in shown:
        if row["value"] not in ends or row[at] >= ends[row["value"]][at]:
            ends[row["value"]] = dict(row)
    span = max((row.get("high") or row[height] for row in shown), default=1.0) or 1.0
    placed: list[dict[str, Any]] = []
    for row in sorted(ends.values(), key=lambda end: end[height]):
        floor = placed[-1]["label_at"] + 0.055 * span if placed else 0.0
        placed.append(row | {"label_at": max(row[height], floor)})
    return (
        alt.Chart(data(placed))
        .mark_text(align="left", dx=9, fontWeight=600, limit=185)
        .encode(x=x, y=alt.Y("label_at:Q", title=y["title"]), text=alt.Text("value:N"), color=colour)
    )


def _last_said(shown: list[dict[str, Any]]) -> str:
    last = max(row["quarter"] for row in shown)
    said = [f"{row['value']} {100 * row['share']:.0f} %" for row in shown if row["quarter"] == last]
    return f"In {last}: {', '.join(said)}."


_UPRIGHT = "M-0.2,-1H0.2V1H-0.2Z"
"""A short stroke across an interval; the library's own lies along it and is not seen."""
_SIGNED = "datum.value ? format(datum.value * 100, '+.0f') : '0'"


def changes(frame: Frame, style: Style = USUAL, question: str = "What really changed?") -> Picture:
    """Changes of share with their intervals, the best supported first; an interval clear of the line is no chance.

    Args:
        frame: `label, share_before, share_now` and `low, high` of the difference, as shares, in order of evidence, and `changed`
            (held against false discoveries).
    """
    found = known(rows(frame), "label", "share_before", "share_now")
    if not found:
        return nothing(style, question, "Nothing to compare with yet.")
    shown = [_change(row) for row in found]
    base = alt.Chart(data(shown)).encode(y=alt.Y("label:N", sort=[row["label"] for row in shown], title=None))
    axis = alt.X("change:Q", title="change, bodies in 100", axis=alt.Axis(labelExpr=_SIGNED, tickCount=8, tickMinStep=0.01))
    both = [True, False]
    colour = alt.Color("changed:N", legend=None, scale=alt.Scale(domain=both, range=[style.look.accent, style.look.rule]))
    shape = alt.Shape("changed:N", legend=None, scale=alt.Scale(domain=both, range=["circle", _UPRIGHT]))
    bars = base.mark_rule(strokeWidth=2.5).encode(x=alt.X("low:Q", title=axis["title"]), x2=alt.X2("high:Q"), color=colour)
    dots = base.mark_point(filled=True, size=90, opacity=1, strokeWidth=0).encode(x=axis, color=colour, shape=shape)
    # a rim in the colour of the page, so that words stay readable where they cross the line of no change
    rim = base.mark_text(align="left", dx=8, stroke=style.look.paper, strokeWidth=4).encode(x=alt.X("high:Q"), text=alt.Text("said:N"))
    text = base.mark_text(align="left", dx=8).encode(x=alt.X("high:Q"), text=alt.Text("said:N"))
    real = [row for row in shown if row["changed"]]
    said = f"{len(real)} of {len(shown)} are more than chance and have a dot; what has a short stroke may be chance alone"
    listed = "; ".join(f"{row['label']} {row['said']}" for row in real[:5]) or "none"
    layers = alt.layer(reference(0, style), bars, picking(dots, style, ["label"]), rim, text)
    return finish(layers, style, question, said, row_height(len(shown)), f"{question} {said}. {listed}.")


def _change(row: dict[str, Any]) -> dict[str, Any]:
    before, now = row["share_before"], row["share_now"]
    said = f"{100 * before:.0f} → {100 * now:.0f} in 100"
    ends = {"low": row.get("low"), "high": row.get("high")}
    return {"label": row["label"], "change": now - before, "said": said, "changed": bool(row.get("changed"))} | ends


def conversion(frame: Frame, style: Style = USUAL, question: str = "How many quotes become orders, and when?") -> Picture:
    """Share of quotes ordered by age, a step line a group, with its band; open quotes count only as long as they lasted.

    Args:
        frame: `value, days, share, low, high`, sorted by days within a value.
    """
    found = known(rows(frame), "value", "days", "share")
    if not found:
        return nothing(style, question, "No quote with a date matches.")
    names = _largest_last([row | {"quarter": f"{row['days']:09.1f}"} for row in found])
    shown = [row for row in found if row["value"] in names[:MOST_LINES]]
    x = alt.X("days:Q", title="days since the quote")
    y = alt.Y("share:Q", title="ordered", axis=alt.Axis(format=".0%"), scale=alt.Scale(domainMin=0))
    colour = _series(names[:MOST_LINES], style)
    base = alt.Chart(data(shown)).encode(x=x, color=colour)
    bands = base.mark_area(opacity=0.13, interpolate="step-after").encode(y=alt.Y("low:Q", title=y["title"]), y2=alt.Y2("high:Q"))
    lines = base.mark_line(strokeWidth=2.2, interpolate="step-after").encode(y=y)
    text = _end_names(shown, "days", "share", style, x, y, colour)
    last = {row["value"]: row["share"] for row in shown}
    said = ", ".join(f"{name} {100 * last[name]:.0f} %" for name in names[:MOST_LINES])
    return finish(alt.layer(bands, lines, text), style, question, f"Ordered in the end: {said}", 300)


def counts(frame: Frame, style: Style = USUAL, question: str = "What sells most?", what: str = "bodies") -> Picture:
    """Counts, a bar a value, the number at its end.

    Args:
        frame: `value, count`, in the order to be shown.
        what: what is counted, for the axis.
    """
    found = known(rows(frame), "value", "count")
    if not found:
        return nothing(style, question, "Nothing matches.")
    shown = [row | {"said": f"{row['count']:,.0f}"} for row in found]
    top = max(found, key=lambda row: row["count"])
    # room for the number behind the longest bar on a phone
    room = alt.Scale(domainMax=1.25 * top["count"], nice=False)
    base = alt.Chart(data(shown)).encode(
        y=alt.Y("value:N", sort=[row["value"] for row in shown], title=None),
        x=alt.X("count:Q", title=what, scale=room, axis=alt.Axis(tickCount=6)),
    )
    bars = picking(base.mark_bar(height=14, cornerRadius=2, color=style.look.accent), style, ["value"])
    text = base.mark_text(align="left", dx=5).encode(text=alt.Text("said:N"))
    return finish(alt.layer(bars, text), style, question, f"Most: {top['value']}, {top['count']:,.0f} {what}", row_height(len(shown), 24))
