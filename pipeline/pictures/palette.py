"""Our own colours, light and dark, and the marks that stand beside them so that colour is never the only sign.

The colours of item groups and of series were found by a search of CAM02-UCS for the largest smallest distance as seen
by full, deutan, protan and tritan eyes (Machado, Oliveira & Fernandes 2009, full severity), chroma held down so that
a page stays calm. The tests measure those distances again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

GROUP_COLOURS: dict[str, str] = {
    "fridge": "#c7f1f6",
    "pantry": "#c6b093",
    "kitchen": "#f89331",
    "drawer": "#b75b0d",
    "power": "#e6ef83",
    "water": "#69a9fd",
    "storage": "#4a71c4",
    "lining": "#9d9dab",
    "door": "#5e4249",
    "outside": "#817268",
    "roof": "#4c398d",
    "under-tray": "#723107",
}
"""Fill of an item's block by its group; the same in both looks, since a block always wears an outline."""

GROUP_MARKS: dict[str, str] = {
    "fridge": "Fr",
    "pantry": "Pa",
    "kitchen": "Ki",
    "drawer": "Dr",
    "power": "Po",
    "water": "Wa",
    "storage": "St",
    "lining": "Li",
    "door": "Do",
    "outside": "Ou",
    "roof": "Ro",
    "under-tray": "Un",
}
"""Two letters written on a block: whoever sees no colour reads the group."""

NO_GROUP_COLOUR = "#ffffff"
NO_GROUP_MARK = "?"

VERDICTS = ("under", "may be over", "over", "unknown")
VERDICT_SHAPES: dict[str, str] = {"under": "circle", "may be over": "diamond", "over": "square", "unknown": "cross"}
"""Shape of a verdict's dot, in the names of the charting language."""


@dataclass(frozen=True)
class Look:
    """One look of pages and paper. Every colour is `#rrggbb`.

    `paper` lies behind all; `ink` and `muted` are for text (contrast with `paper` at least 4.5 : 1, WCAG 2.2 1.4.3);
    `rule` is for lines that carry meaning (3 : 1, 1.4.11), `grid` for lines that do not. `series` are for lines and
    dots that need telling apart (3 : 1); `ramp` runs from little to much.
    """

    name: str
    paper: str
    panel: str
    ink: str
    muted: str
    rule: str
    grid: str
    accent: str
    verdicts: dict[str, str]
    series: tuple[str, ...]
    ramp: tuple[str, ...]
    font: str = "system-ui, 'Segoe UI', 'Liberation Sans', 'DejaVu Sans', sans-serif"


LIGHT = Look(
    name="light",
    paper="#fbfaf7",
    panel="#f1efe9",
    ink="#1d272c",
    muted="#566168",
    rule="#79848a",
    grid="#dfe1de",
    accent="#0b6570",
    verdicts={"under": "#11707a", "may be over": "#8a5a00", "over": "#7a0044", "unknown": "#566168"},
    series=("#2644a8", "#c56c10", "#862d11", "#7b7de8", "#5a4252", "#8d6f80"),
    ramp=("#eef0ea", "#d9e4e1", "#c1d8d8", "#a6cbcf", "#8abcc4", "#6dacb7", "#4f9aa8", "#318796", "#187483", "#0b6570"),
)

DARK = Look(
    name="dark",
    paper="#15191c",
    panel="#1f2529",
    ink="#eceff0",
    muted="#a9b4ba",
    rule="#7c878e",
    grid="#2f373c",
    accent="#5cc4cc",
    verdicts={"under": "#4fc3d9", "may be over": "#f3c04a", "over": "#f76a8c", "unknown": "#a9b4ba"},
    series=("#7bd9f6", "#eddd4a", "#cb7c98", "#9e85fa", "#c1dcbc", "#9da11e"),
    ramp=("#1f2529", "#213338", "#244248", "#285259", "#2d636b", "#34757e", "#3d8891", "#479ba4", "#51b0b8", "#5cc4cc"),
)

PAPER = replace(LIGHT, name="paper", paper="#ffffff", panel="#f4f3ef")
"""The light look on white, for what is printed."""

LOOKS: dict[str, Look] = {look.name: look for look in (LIGHT, DARK)}


def group_colour(group: str | None) -> str:
    """Fill of a group's block; white where the group is not known."""
    return GROUP_COLOURS.get(group or "", NO_GROUP_COLOUR)


def group_mark(group: str | None) -> str:
    """The two letters of a group.

    >>> group_mark("fridge"), group_mark(None)
    ('Fr', '?')
    """
    return GROUP_MARKS.get(group or "", NO_GROUP_MARK)


def luminance(colour: str) -> float:
    """Relative luminance of `#rrggbb`, 0 to 1.

    Source: WCAG 2.2, definition of relative luminance.
    """
    parts = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21.

    Source: WCAG 2.2, definition of contrast ratio.

    >>> contrast("#ffffff", "#000000")
    21.0
    """
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@lru_cache(maxsize=256)
def text_on(colour: str) -> str:
    """Dark or white text, whichever stands out more on that fill (never under 4.5 : 1).

    >>> text_on("#c7f1f6"), text_on("#723107")
    ('#111111', '#ffffff')
    """
    return max(("#111111", "#ffffff"), key=lambda text: contrast(text, colour))


NUMBERS = {"decimal": ".", "thousands": ",", "grouping": [3], "currency": ["", ""], "percent": "\N{NO-BREAK SPACE}%"}
"""How charts write numbers (d3-format's locale): shares as tables write them, with a space (SI Brochure 2019, 5.4.7)."""


def chart_config(look: Look) -> dict[str, Any]:
    """The one chart theme, as the charting language's `config` object (Vega-Lite 6)."""
    text = {"labelColor": look.ink, "titleColor": look.ink, "labelFont": look.font, "titleFont": look.font}
    return {
        "background": look.paper,
        "font": look.font,
        "locale": {"number": NUMBERS},
        "view": {"stroke": None},
        "title": {"anchor": "start", "color": look.ink, "subtitleColor": look.muted, "fontSize": 16, "fontWeight": 600, "offset": 14}
        | {"subtitleFontSize": 12.5, "subtitlePadding": 5},
        "axis": text
        | {"domainColor": look.rule, "tickColor": look.rule, "gridColor": look.grid, "labelFontSize": 12, "titleFontSize": 12}
        | {"titleFontWeight": 400, "titlePadding": 8, "labelLimit": {"expr": "windowSize()[0] < 640 ? 150 : 320"}},
        "legend": text | {"labelFontSize": 12, "titleFontSize": 12, "titleFontWeight": 400, "orient": "top"},
        "header": text | {"labelFontSize": 12, "titleFontSize": 12},
        "range": {"category": list(look.series), "ordinal": list(look.ramp), "ramp": list(look.ramp), "heatmap": list(look.ramp)},
        "mark": {"color": look.accent},
        "text": {"color": look.ink, "fontSize": 12},
        "rule": {"color": look.rule},
    }
