"""Charts as files: SVG for paper."""

from __future__ import annotations

from typing import Any


def chart_svg(chart: Any) -> str:
    """A chart as an SVG document; the chart must have a width in px."""
    import vl_convert

    return vl_convert.vegalite_to_svg(chart.to_dict())
