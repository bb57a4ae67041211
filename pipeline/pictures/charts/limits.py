"""Charts of limits and margins: a dot with its interval against the line of a rating. Nothing here certifies anything."""

from __future__ import annotations

from typing import Any

import altair as alt
import numpy as np

from pipeline.pictures.charts.base import PICK, USUAL, Frame, Picture, Style, data, finish, known, nothing, reference, row_height, rows
from pipeline.pictures.palette import VERDICT_SHAPES, VERDICTS
from pipeline.pictures.units import plain

LIMIT_NAMES: dict[str, str] = {
    "gvm": "whole vehicle (GVM)",
    "front_axle": "front axle",
    "rear_axle": "rear axle",
    "front_tyres": "front tyres",
    "rear_tyres": "rear tyres",
    "gcm": "vehicle and trailer (GCM)",
    "towed": "trailer",
    "ball": "tow ball",
    "overhang": "rear overhang",
    "width": "width",
    "height": "height",
    "shop_rule": "our own rule for bodies",
    "heavy": "heavy-vehicle boundary",
    "seats": "seats",
    "side": "heavier side",
}
"""What a limit is called on pages and paper."""


def limits(frame: Frame, style: Style = USUAL, question: str = "How close does it come to each limit?") -> Picture:
    """Every limit as a dot with its interval, as a share of its rating, against the line of the rating.

    Args:
        frame: rows of a check of one job at one upgrade: `limit, unit, value, low, high, rating, margin, verdict`.
    """
    found = [row for row in known(rows(frame), "limit", "value", "rating") if row["rating"] > 0]
    if not found:
        return nothing(style, question, "Nothing to compare: no rating or no mass is known.")
    shown = [_limit(row, style) for row in found]
    order = [row["name"] for row in shown]
    base = alt.Chart(data(shown)).encode(y=alt.Y("name:N", sort=order, title=None))
    axis = alt.X("share:Q", title="share of the rating", axis=alt.Axis(format=".0%"), scale=alt.Scale(zero=False, padding=12))
    colour = alt.Color(
        "verdict:N", legend=None, scale=alt.Scale(domain=list(VERDICTS), range=[style.look.verdicts[name] for name in VERDICTS])
    )
    shape = alt.Shape("verdict:N", legend=None, scale=alt.Scale(domain=list(VERDICTS), range=list(VERDICT_SHAPES.values())))
    bars = base.mark_rule(strokeWidth=3).encode(x=alt.X("low_share:Q", title=axis["title"]), x2=alt.X2("high_share:Q"), color=colour)
    dots = base.mark_point(filled=True, size=110, opacity=1).encode(
        x=axis, color=colour, shape=shape, tooltip=[alt.Tooltip("name:N"), alt.Tooltip("said:N")]
    )
    text = base.mark_text(align="left", dx=8).encode(x=alt.X("end:Q"), text=alt.Text("said:N"))
    rating = reference(1.0, style)
    worst = min(shown, key=lambda row: row["margin_share"])
    said = f"Tightest: {worst['name']}, {worst['said']}. The line is the rating; masses are estimates until weighed"
    listed = "; ".join(f"{row['name']}: {row['said']}, {row['verdict']}" for row in shown)
    return finish(alt.layer(rating, bars, dots, text), style, question, said, row_height(len(shown), 30), f"{question} {listed}.")


def _limit(row: dict[str, Any], style: Style) -> dict[str, Any]:
    rating, value = row["rating"], row["value"]
    low, high = row.get("low", value), row.get("high", value)
    low, high = value if low is None else low, value if high is None else high
    return {
        "name": LIMIT_NAMES.get(row["limit"], row["limit"]),
        "share": value / rating,
        "low_share": low / rating,
        "high_share": high / rating,
        "end": max(high, rating) / rating,
        "margin_share": (rating - value) / rating,
        "verdict": row.get("verdict") or "unknown",
        "said": margin_said(rating - value, row.get("unit") or "", style)
        + (", may be over" if row.get("verdict") == "may be over" else ""),
    }


def margin_said(margin: float, unit: str, style: Style) -> str:
    """A margin in words.

    >>> margin_said(56, "kg", Style()), margin_said(-12.2, "kg", Style()), margin_said(101.6, "mm", Style(units="imperial"))
    ('56 kg left', '12 kg over', '4 in left')
    """
    shown = abs(margin)
    if unit == "kg":
        shown, unit = style.mass(shown) or 0.0, style.mass_unit
    elif unit == "mm":
        shown, unit = style.length(shown) or 0.0, style.length_unit
    return f"{plain(shown)} {unit} {'over' if margin < 0 else 'left'}".replace("  ", " ")


def margins(
    frame: Frame,
    style: Style = USUAL,
    bin_kg: float = 50.0,
    question: str = "How much margin did past jobs keep?",
    median_kg: float | None = None,
) -> Picture:
    """How many jobs kept how much margin; left of the line they are over the rating. With `style.pick` a span can be brushed.

    Args:
        frame: `margin_kg`, a row a job; or, where jobs are many, a row a bin with its lower edge and its `jobs`.
        bin_kg: width of a bin; one bin's edge is the rating itself.
        median_kg: of all jobs, for a frame of bins.
    """
    found = known(rows(frame), "margin_kg")
    values = np.array([row["margin_kg"] for row in found], dtype=np.float64)
    if not len(values):
        return nothing(style, question, "No job with a known margin matches.")
    weights = np.array([row.get("jobs", 1) for row in found], dtype=np.int64)
    bins, place = np.unique(np.floor(values / bin_kg).astype(int), return_inverse=True)
    counts = np.bincount(place, weights).astype(int)
    shown = [
        {
            "low": style.mass(float(at * bin_kg)),
            "high": style.mass(float((at + 1) * bin_kg)),
            "jobs": int(count),
            "side": "over" if at < 0 else "under",
        }
        for at, count in zip(bins, counts, strict=True)
    ]
    colour = alt.Color(
        "side:N",
        legend=None,
        scale=alt.Scale(domain=["over", "under"], range=[style.look.verdicts["over"], style.look.verdicts["under"]]),
    )
    axis = alt.X("low:Q", title=f"margin, {style.mass_unit} (negative: over the rating)", bin="binned")
    bars = (
        alt.Chart(data(shown))
        .mark_bar(stroke=style.look.paper)
        .encode(x=axis, x2=alt.X2("high:Q"), y=alt.Y("jobs:Q", title="jobs"), color=colour, tooltip=[alt.Tooltip("jobs:Q")])
    )
    if style.pick:
        bars = bars.add_params(alt.selection_interval(name=PICK, encodings=["x"]))
    half_kg = float(np.median(values)) if median_kg is None else median_kg
    said = f"{weights[values < 0].sum():,} of {weights.sum():,} over the rating; half of all keep more than {style.mass_said(half_kg)}"
    return finish(alt.layer(bars, reference(0, style)), style, question, said, 240)
