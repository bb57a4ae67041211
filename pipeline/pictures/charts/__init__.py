"""Charts for pages and paper: each takes a plain frame and a Style and returns a finished chart (Vega-Lite) whose title asks
the question, whose subtitle answers it, and whose `description` is the alternative text."""

from pipeline.pictures.charts.base import PICK, Style
from pipeline.pictures.charts.estimates import contributions, error_by_group, mass_by_length, reliability
from pipeline.pictures.charts.limits import LIMIT_NAMES, limits, margin_said, margins
from pipeline.pictures.charts.sales import changes, conversion, counts, shares
from pipeline.pictures.charts.watching import completeness, ewma, individuals

__all__ = [
    "LIMIT_NAMES",
    "PICK",
    "Style",
    "changes",
    "completeness",
    "contributions",
    "conversion",
    "counts",
    "error_by_group",
    "ewma",
    "individuals",
    "limits",
    "margin_said",
    "margins",
    "mass_by_length",
    "reliability",
    "shares",
]
