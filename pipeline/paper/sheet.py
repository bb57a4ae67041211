"""The customer's sheet as PDF: set by Typst from data, offline, tagged for screen readers, the same bytes for the same content.

Content reaches the typesetter as JSON and is shown as text, so no name, however odd, is ever read as markup.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipeline.answers.sheet_content import LimitLine, LoadLine, SheetBody, SheetContent
from pipeline.errors import InputRefused, WrongCall, did_you_mean
from pipeline.paper.typeset import PAPERS, typeset
from pipeline.pictures.charts.base import USUAL
from pipeline.pictures.charts.limits import LIMIT_NAMES, margin_said
from pipeline.pictures.palette import GROUP_MARKS, PAPER, VERDICT_SHAPES, group_colour, text_on
from pipeline.pictures.units import plain

_TEMPLATE = Path(__file__).with_name("sheet.typ")
_GROUP_OF_MARK = {mark: group for group, mark in GROUP_MARKS.items()}
_GROUPS = {"stays": "What stays", "comes off": "What comes off", "we build": "What we build", "people bring": "What people bring"}
_SCALE_FROM = 0.7
"""Left end of the strips, as a share of the rating; what lies further left is an arrow at the edge."""
_SCALE_TO = 1.1
_LOGO_BYTES = 1_000_000


def sheet_pdf(content: SheetContent, paper: str = "a4") -> bytes:
    """The sheet as a PDF document.

    Args:
        paper: `a4` or `letter`.
    Raises:
        WrongCall: unknown paper.
        InputRefused: the logo is neither PNG nor SVG, or cannot be read.
    """
    if paper not in PAPERS:
        raise WrongCall("no such paper", got=paper, expected=" or ".join(PAPERS), do=did_you_mean(paper, PAPERS))
    return typeset(_TEMPLATE, sheet_data(content) | {"paper": PAPERS[paper]})


def sheet_data(content: SheetContent) -> dict[str, Any]:
    """What the template is given: text, numbers as text, places as shares of a strip, colours."""
    judged = [line for line in content.limits if line.value is not None and line.rating and line.verdict != "unknown"]
    return {
        "title": content.draft,
        "workshop": content.workshop,
        "description": f"Estimated mass and what is left on the vehicle; edition {content.edition}",
        "keywords": [content.code, f"edition {content.edition}"],
        "date": {"year": content.dated_on.year, "month": content.dated_on.month, "day": content.dated_on.day},
        "about": _about(content),
        "colours": {name: getattr(PAPER, name) for name in ("ink", "muted", "accent", "panel", "grid")},
        "logo": _logo(content.logo, content.workshop),
        "left": _left(content),
        "bodies": [_body(body, content.level) for body in content.bodies],
        "loads": _loads(content.loads),
        "total": {"label": "all together", "kg": plain(sum(line.kg for line in content.loads))},
        "limits": _strips(judged),
        "limits_note": _limits_note(content.level),
        "not_judged": _terms("Not judged", [_not_judged(line) for line in content.limits if line not in judged]),
        "may_add": _terms("What may still be added", content.may_add),
        "assumed": _terms("What we assumed", content.assumptions),
        "cautions": _terms("Please note", content.cautions),
        "foot": f"{content.workshop} · {content.code} · edition {content.edition}{_records_to(content.records_to)}",
        "close": f"Our code for this draft: {content.code}. Under it we find the draft again, as it is on this sheet.",
    }


def in_words(level: float) -> str:
    """A level as people say it.

    >>> in_words(0.9), in_words(0.95)
    ('9 in 10', '95 in 100')
    """
    tenths = round(level * 10, 6)
    return f"{tenths:.0f} in 10" if tenths == int(tenths) else f"{level * 100:.0f} in 100"


def day_said(day: dt.date) -> str:
    """A date as people write it.

    >>> day_said(dt.date(2026, 10, 3))
    '3 October 2026'
    """
    return f"{day.day} {day:%B %Y}"


def _about(content: SheetContent) -> list[str]:
    upgrade = f", with {content.upgrade}" if content.upgrade else ""
    lines = [f"For: {content.vehicle}{upgrade}", f"Sheet of {day_said(content.dated_on)}"]
    return lines + ([f"Price: {content.price}"] if content.price else [])


def _records_to(day: dt.date | None) -> str:
    return f" · records to {day_said(day)}" if day else ""


def _left(content: SheetContent) -> dict[str, str]:
    left, confirm = content.left, "To be confirmed on the weighbridge."
    question = "What is left for people, luggage and tow ball, with a full tank"
    if left.kg is None:
        return {"question": question, "answer": "not known yet", "detail": f"{left.why}. {confirm}".lstrip(". ")}
    span = ""
    if left.low_kg is not None and left.high_kg is not None:
        span = f"{in_words(content.level)} vehicles like this fall between {plain(left.low_kg)} and {plain(left.high_kg)} kg. "
    answer = f"about {plain(left.kg)} kg" if left.kg >= 0 else f"nothing: about {plain(-left.kg)} kg over the rating"
    return {"question": question, "answer": answer, "detail": span + confirm}


def _body(body: SheetBody, level: float) -> dict[str, Any]:
    doubts = {"edge": "close to the edge of what we have built", "outside": "outside of what we have built so far"}
    stands_on = body.stands_on
    if body.standing in doubts:
        stands_on = f"{stands_on} This body is {doubts[body.standing]}{f': {body.why}' if body.why else ''}.".strip()
    return {
        "heading": body.heading,
        "mass": _mass_said(body, level),
        "stands_on": stands_on,
        "svg": body.drawing.svg,
        "alt": body.drawing.alt,
        "notes": list(body.drawing.notes),
        "fitout": [_fitout_line(line.key, line.label, line.qty, line.place) for line in body.fitout],
    }


def _mass_said(body: SheetBody, level: float) -> str:
    if body.mass_kg is None:
        return f"Its finished mass is not known yet: {body.why}." if body.why else "Its finished mass is not known yet."
    said = f"Finished mass, {body.mass_from}: about {plain(body.mass_kg)} kg"
    if body.low_kg is None or body.high_kg is None:
        return f"{said}."
    return f"{said}; {in_words(level)} bodies like this fall between {plain(body.low_kg)} and {plain(body.high_kg)}."


def _fitout_line(key: str, label: str, qty: float, place: str) -> dict[str, str]:
    colour = group_colour(_GROUP_OF_MARK.get(key.rstrip("0123456789")))
    count = "" if qty == 1 else f" × {qty:g}"
    return {"key": key, "label": f"{label}{count}", "place": place, "colour": colour, "ink": text_on(colour)}


def _loads(loads: tuple[LoadLine, ...]) -> list[dict[str, Any]]:
    """Lines with a heading where a group begins; groups in the order of the list."""
    shown: list[dict[str, Any]] = []
    group = None
    for line in loads:
        if line.group != group:
            group = line.group
            shown.append({"group": _GROUPS.get(group, group), "label": "", "kg": "", "basis": ""})
        shown.append({"group": None, "label": line.label, "kg": plain(line.kg), "basis": line.basis})
    return shown


def _strips(judged: list[LimitLine]) -> list[dict[str, Any]]:
    """Rows of the table of limits; places along the strip are shares of its length."""
    ends = [(line.high or line.value or 0.0) / (line.rating or 1.0) for line in judged]
    top = max([_SCALE_TO, *(end + 0.04 for end in ends)])

    def at(value: float, rating: float) -> float:
        return min(max((value / rating - _SCALE_FROM) / (top - _SCALE_FROM), 0.03), 1.0)

    return [_strip(line, at) for line in judged]


def _strip(line: LimitLine, at: Any) -> dict[str, Any]:
    value, rating = line.value or 0.0, line.rating or 1.0
    low, high = value if line.low is None else line.low, value if line.high is None else line.high
    span = f" ({plain(low)} to {plain(high)})" if high - low >= 1 else ""
    return {
        "name": LIMIT_NAMES.get(line.limit, line.limit),
        "said": f"{plain(value)}{span} of {plain(rating)} {line.unit}",
        "margin": margin_said(rating - value, line.unit, USUAL) + (", may be over" if line.verdict == "may be over" else ""),
        "colour": PAPER.verdicts[line.verdict],
        "shape": VERDICT_SHAPES[line.verdict],
        "rating_at": at(rating, rating),
        "value_at": at(value, rating),
        "low_at": at(low, rating),
        "high_at": at(high, rating),
        "off_scale": value / rating < _SCALE_FROM,
    }


def _limits_note(level: float) -> str:
    return (
        f"The upright line is the rating, the dot what we expect, the bar where {in_words(level)} fall. Round: under; tilted square: "
        f"may be over; square: over; arrow: under {100 * _SCALE_FROM:.0f} % of the rating. A margin certifies nothing."
    )


def _not_judged(line: LimitLine) -> str:
    name = LIMIT_NAMES.get(line.limit, line.limit)
    return f"{name}: {line.why}" if line.why else name


def _terms(heading: str, lines: Sequence[str]) -> dict[str, Any]:
    return {"heading": heading, "lines": list(lines)}


def _logo(path: Path | None, workshop: str) -> dict[str, Any] | None:
    if path is None:
        return None
    kind = path.suffix.lower().lstrip(".")
    if kind not in ("png", "svg"):
        raise InputRefused("the logo is neither PNG nor SVG", where=str(path), expected="a file ending in .png or .svg")
    try:
        read = path.read_bytes()
    except OSError as error:
        raise InputRefused("the logo cannot be read", where=str(path), got=str(error), do="mend `workshop.logo` in the settings") from error
    if len(read) > _LOGO_BYTES:
        raise InputRefused("the logo is too large", where=str(path), got=f"{len(read)} bytes", expected=f"up to {_LOGO_BYTES}")
    return {"data": list(read), "format": kind, "alt": f"Logo of {workshop}"}
