"""Numbers as people read them: kg and mm, or lb and in by a switch."""

from __future__ import annotations

from pipeline.contract.model import KG_PER_LB, MM_PER_IN

METRIC, IMPERIAL = "metric", "imperial"
MASS_UNITS = {METRIC: "kg", IMPERIAL: "lb"}
LENGTH_UNITS = {METRIC: "mm", IMPERIAL: "in"}


def mass(kg: float | None, units: str = METRIC) -> float | None:
    """A mass in the shown unit; not known stays not known."""
    return None if kg is None else kg if units == METRIC else kg / KG_PER_LB


def length(mm: float | None, units: str = METRIC) -> float | None:
    """A length in the shown unit."""
    return None if mm is None else mm if units == METRIC else mm / MM_PER_IN


def plain(value: float | None, digits: int = 0) -> str:
    """A number without a minus zero; not known is a dash.

    >>> plain(-0.2), plain(None), plain(1234.5, 1)
    ('0', '–', '1234.5')
    """
    if value is None or value != value:
        return "–"
    said = f"{value:.{digits}f}"
    return said.removeprefix("-") if not float(said) else said.replace("-", "\N{MINUS SIGN}")


def mass_said(kg: float | None, units: str = METRIC) -> str:
    """A mass with its unit.

    >>> mass_said(311.6), mass_said(100, IMPERIAL)
    ('312 kg', '220 lb')
    """
    return f"{plain(mass(kg, units))} {MASS_UNITS[units]}"


def length_said(mm: float | None, units: str = METRIC) -> str:
    """A length with its unit; inches to the quarter.

    >>> length_said(1650.2), length_said(1650.0, IMPERIAL)
    ('1650 mm', '65 in')
    """
    shown = length(mm, units)
    if units == IMPERIAL and shown is not None:
        return f"{round(shown * 4) / 4:g} in"
    return f"{plain(shown)} {LENGTH_UNITS[units]}"
