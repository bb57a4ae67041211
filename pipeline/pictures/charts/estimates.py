"""Charts of mass estimates: what they are made of, what they stand beside, and how far they can be trusted."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt

from pipeline.pictures.charts.base import USUAL, Frame, Picture, Style, data, finish, known, nothing, picking, reference, row_height, rows
from pipeline.pictures.units import plain

_NINE_IN_TEN = 1.645
"""Half-width of a central 90 % interval of a normal, in standard deviations."""
_MOST_PARTS = 16


def contributions(parts: Frame, style: Style = USUAL, low_kg: float | None = None, high_kg: float | None = None) -> Picture:
    """What an estimate is made of, part by part, each with the range that nine in ten would fall in.

    Args:
        parts: `label, kg, sd_kg`; they add up to the estimate. The smallest beyond sixteen are shown as one.
        low_kg, high_kg: the estimate's own interval.
    """
    found = known(rows(parts), "label", "kg")
    if not found:
        return nothing(style, "What makes up this estimate?", "There is no estimate yet.")
    total_kg = sum(row["kg"] for row in found)
    shown = [_part(row, style) for row in _largest(found)]
    order = [row["label"] for row in shown]
    base = alt.Chart(data(shown)).encode(y=alt.Y("label:N", sort=order, title=None))
    axis = alt.X("value:Q", title=f"what the part adds, {style.mass_unit}", axis=alt.Axis(tickCount=6))
    bars = base.mark_bar(height=9, cornerRadius=2, opacity=0.55, color=style.look.accent).encode(x=axis, tooltip=_tooltip("label", "said"))
    spread = base.mark_rule(strokeWidth=2, color=style.look.ink).encode(x=alt.X("low:Q", title=axis["title"]), x2=alt.X2("high:Q"))
    text = base.mark_text(align="left", dx=6, color=style.look.ink).encode(x=alt.X("end:Q"), text=alt.Text("said:N"))
    within = f" (9 in 10 fall between {plain(style.mass(low_kg))} and {plain(style.mass(high_kg))})" if low_kg is not None else ""
    return finish(
        alt.layer(reference(0, style), bars, spread, text),
        style,
        f"What makes up these {style.mass_said(total_kg)}?",
        f"The parts add up to {style.mass_said(total_kg)}{within}; thin lines show how sure each part is",
        row_height(len(shown)),
        f"Parts of the estimate of {style.mass_said(total_kg)}: " + ", ".join(f"{row['label']} {row['said']}" for row in shown[:6]) + ".",
    )


def _largest(found: list[dict[str, Any]]) -> list[dict[str, Any]]:
    ordered = sorted(found, key=lambda row: -abs(row["kg"]))
    if len(ordered) <= _MOST_PARTS:
        return ordered
    rest = ordered[_MOST_PARTS - 1 :]
    return [*ordered[: _MOST_PARTS - 1], {"label": f"{len(rest)} smaller parts", "kg": sum(row["kg"] for row in rest)}]


def _part(row: dict[str, Any], style: Style) -> dict[str, Any]:
    kg, sd_kg = row["kg"], row.get("sd_kg")
    half = _NINE_IN_TEN * sd_kg if sd_kg is not None else 0.0
    low, high = style.mass(kg - half), style.mass(kg + half)
    said = f"{plain(style.mass(kg), 0 if abs(kg) >= 10 else 1)} {style.mass_unit}"
    return {"label": row["label"], "value": style.mass(kg), "low": low, "high": high, "end": max(high or 0.0, 0.0), "said": said}


def mass_by_length(
    history: Frame,
    style: Style = USUAL,
    draft: dict[str, Any] | None = None,
    nearest: Sequence[str] = (),
    question: str = "How heavy do bodies of this length come out?",
) -> Picture:
    """Finished mass against length, the draft among the bodies it stands on.

    Args:
        history: `job_id, body, length_mm, mass_kg`, and `source` (`weighed` or `drawn`).
        draft: `length_mm, estimate_kg, low_kg, high_kg`.
        nearest: job_ids that are ringed and named.
    """
    found = known(rows(history), "length_mm", "mass_kg")
    if not found and draft is None:
        return nothing(style, question, "No body with a known mass matches.")
    points = [
        row
        | {"length": style.length(row["length_mm"]), "mass": style.mass(row["mass_kg"]), "source": row.get("source") or "weighed"}
        | {"near": row.get("job_id") in set(nearest)}
        for row in found
    ]
    x = alt.X("length:Q", title=f"length, {style.length_unit}", scale=alt.Scale(zero=False))
    y = alt.Y("mass:Q", title=f"finished mass, {style.mass_unit}", scale=alt.Scale(zero=False))
    shape = alt.Shape("source:N", title="mass from", scale=alt.Scale(domain=["weighed", "drawn"], range=["circle", "triangle-up"]))
    base = alt.Chart(data(points))
    dots = base.mark_point(filled=True, size=34, opacity=0.45, color=style.look.accent)
    tooltip = [alt.Tooltip("job_id:N"), alt.Tooltip("body:N"), alt.Tooltip("length:Q", format=".0f"), alt.Tooltip("mass:Q", format=".0f")]
    layers = [picking(dots.encode(x=x, y=y, shape=shape, tooltip=tooltip), style, ["job_id", "body"])]
    near = [row for row in points if row["near"]]
    ring = alt.Chart(data(near)).encode(x=x, y=y)
    layers += (
        [ring.mark_point(size=140, strokeWidth=2, color=style.look.ink), ring.mark_text(dy=-13).encode(text=alt.Text("job_id:N"))]
        if near
        else []
    )
    layers += _draft_marks(draft, style, x, y) if draft else []
    said = f"{len(found)} bodies" + (f"; the {len(near)} most alike are ringed" if near else "")
    return finish(alt.layer(*layers), style, question, said, 340, f"{question} {said}.{_draft_said(draft, style)}")


def _draft_marks(draft: dict[str, Any], style: Style, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    row = {
        "length": style.length(draft["length_mm"]),
        "mass": style.mass(draft["estimate_kg"]),
        "low": style.mass(draft["low_kg"]),
        "high": style.mass(draft["high_kg"]),
        "name": "this draft",
    }
    base, colour = alt.Chart(data([row])).encode(x=x), style.look.series[2]
    return [
        base.mark_rule(strokeWidth=3, color=colour).encode(y=alt.Y("low:Q", title=y["title"]), y2=alt.Y2("high:Q")),
        base.mark_point(shape="diamond", filled=True, opacity=1, size=170, color=colour).encode(y=y),
        base.mark_text(align="left", dx=11, fontWeight=600, color=colour).encode(y=y, text=alt.Text("name:N")),
    ]


def _draft_said(draft: dict[str, Any] | None, style: Style) -> str:
    if not draft:
        return ""
    low, high = plain(style.mass(draft["low_kg"])), plain(style.mass(draft["high_kg"]))
    return f" This draft: about {style.mass_said(draft['estimate_kg'])}, {low} to {high}."


def reliability(frame: Frame, style: Style = USUAL) -> Picture:
    """Whether intervals hold what they promise: promised against found coverage.

    Args:
        frame: `level, covered, low, high` as shares, and `n` bodies.
    """
    question = "Do the intervals hold what they promise?"
    found = known(rows(frame), "level", "covered")
    if not found:
        return nothing(style, question, "Too few weighed bodies to tell.")
    tenths = alt.Axis(format=".0%", values=[0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
    x = alt.X("level:Q", title="promised share inside", axis=tenths, scale=alt.Scale(domain=[0.45, 1.0]))
    y = alt.Y("covered:Q", title="found inside", axis=alt.Axis(format=".0%"), scale=alt.Scale(zero=False))
    line = alt.Chart(data([{"level": at, "covered": at} for at in (0.45, 1.0)])).mark_line(color=style.look.rule, strokeDash=[4, 3])
    base = alt.Chart(data(found)).encode(x=x)
    tooltip = [alt.Tooltip("level:Q", format=".0%"), alt.Tooltip("covered:Q", format=".1%"), alt.Tooltip("n:Q")]
    bars = base.mark_rule(strokeWidth=2, color=style.look.ink).encode(y=alt.Y("low:Q", title=y["title"]), y2=alt.Y2("high:Q"))
    dots = base.mark_point(filled=True, opacity=1, size=90, color=style.look.accent).encode(y=y, tooltip=tooltip)
    ninety = min(found, key=lambda row: abs(row["level"] - 0.9))
    said = (
        f"Of intervals that promise {100 * ninety['level']:.0f} %, {100 * ninety['covered']:.0f} % held; on the dashed line they do exactly"
    )
    return finish(alt.layer(line.encode(x=x, y=y), bars, dots), style, question, said, 280)


def error_by_group(frame: Frame, style: Style = USUAL, question: str = "Where are estimates off?") -> Picture:
    """Mean error of estimates by group, with its interval; right of the line bodies came out heavier than estimated.

    Args:
        frame: `group, n, error_kg, low_kg, high_kg`, in the order to be shown.
    """
    found = known(rows(frame), "group", "error_kg")
    if not found:
        return nothing(style, question, "No weighed body to compare with yet.")
    shown = [
        row
        | {"name": f"{row['group']} ({row['n']:.0f})", "at": style.mass(row["error_kg"])}
        | {"from": style.mass(row.get("low_kg")), "to": style.mass(row.get("high_kg"))}
        for row in found
    ]
    base = alt.Chart(data(shown)).encode(y=alt.Y("name:N", sort=[row["name"] for row in shown], title=None))
    axis = alt.X("at:Q", title=f"weighed less estimated, {style.mass_unit}")
    bars = base.mark_rule(strokeWidth=2, color=style.look.ink).encode(x=alt.X("from:Q", title=axis["title"]), x2=alt.X2("to:Q"))
    dots = base.mark_point(filled=True, opacity=1, size=80, color=style.look.accent).encode(x=axis, tooltip=_tooltip("name", "at"))
    worst = max(found, key=lambda row: abs(row["error_kg"]))
    way = "too low" if worst["error_kg"] > 0 else "too high"
    said = f"Furthest off: {worst['group']}, {style.mass_said(abs(worst['error_kg']))} {way} on average"
    return finish(alt.layer(reference(0, style), bars, picking(dots, style, ["group"])), style, question, said, row_height(len(shown)))


def _tooltip(*fields: str) -> list[alt.Tooltip]:
    return [alt.Tooltip(f"{field}:N") for field in fields]
