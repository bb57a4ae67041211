"""Headings of columns in people's words."""

from __future__ import annotations

HEADINGS = {
    "job_id": "job",
    "vehicle_id": "vehicle",
    "vehicle": "vehicle",
    "upgrade_id": "upgrade",
    "item_id": "item",
    "hand_in": "hand-in",
    "loaded_on": "loaded",
    "read": "rows read",
    "left_out": "left out",
    "taken_up": "taken up",
    "of": "out of",
    "n": "how many",
    "p_over": "chance of going over",
    "why": "why",
    "lift": "times as often as chance",
    "support": "share of bodies with both",
    "confidence": "share of a that also has b",
    "item_a": "with this",
    "item_b": "also this",
    "estimate_kg": "estimate, kg",
    "estimate_lb": "estimate, lb",
    "com_x_mm": "centre of mass behind the front face, mm",
    "lost_why": "lost because",
    "labour_h": "hours booked",
    "quoted_h": "hours quoted",
}
_UNITS = {"_kg": "kg", "_lb": "lb", "_mm": "mm", "_in": "in", "_l": "l", "_h": "h"}


def heading(name: str) -> str:
    """A column's heading.

    >>> heading("weighed_kg"), heading("job_id"), heading("sold_on"), heading("read")
    ('weighed, kg', 'job', 'sold', 'rows read')
    """
    if name in HEADINGS:
        return HEADINGS[name]
    for ending, unit in _UNITS.items():
        if name.endswith(ending):
            return f"{name.removesuffix(ending).replace('_', ' ')}, {unit}"
    return name.removesuffix("_on").replace("_", " ")
