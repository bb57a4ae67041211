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
    "label": "what",
    "rmse_kg": "usual error, kg",
    "rmse_lb": "usual error, lb",
    "mape": "usual error, share of the mass",
    "bias_kg": "too heavy (+) or light, kg",
    "bias_lb": "too heavy (+) or light, lb",
    "coverage_90": "in the range for 9 of 10",
    "width_90_kg": "width of that range, kg",
    "width_90_lb": "width of that range, lb",
    "labour_h_before": "hours booked before",
    "words": "in words",
    "n_before": "how many before",
    "of_before": "out of, before",
    "n_now": "how many now",
    "of_now": "out of, now",
    "gvm_kg": "GVM, kg",
    "gvm_lb": "GVM, lb",
    "order_days": "days to the order",
    "handover_days": "days to the handover",
    "open_quotes": "still open",
    "item_kg": "mass of one, kg",
    "adds_kg": "adds to the mean body, kg",
    "each_before": "a body before",
    "each_now": "a body now",
    "differs": "what differs",
    "jobs_priced": "jobs with a price",
    "jobs_with_hours": "jobs with hours",
    "jobs_with_cost": "jobs with a cost",
    "body_source": "bodies known by",
    "laden_source": "total known by",
    "measured": "weighed or drawn",
    "family": "number",
    "gone_without": "alike builds without it",
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
