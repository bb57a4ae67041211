"""Cells of wide sheets as people write them: units in the cell, thousands, money signs, dates of a stated format."""

from __future__ import annotations

import re
import unicodedata
from datetime import datetime
from decimal import Decimal, InvalidOperation

UNITS: dict[str, tuple[str, Decimal]] = {
    "mm": ("mm", Decimal(1)),
    "cm": ("mm", Decimal(10)),
    "m": ("mm", Decimal(1000)),
    "in": ("mm", Decimal("25.4")),
    "ft": ("mm", Decimal("304.8")),
    "kg": ("kg", Decimal(1)),
    "g": ("kg", Decimal("0.001")),
    "t": ("kg", Decimal(1000)),
    "lb": ("kg", Decimal("0.45359237")),
    "l": ("l", Decimal(1)),
    "h": ("h", Decimal(1)),
}
"""Unit → the contract's unit and the factor to it. Inch, foot and pound are exact by definition (NIST SP 811)."""

_ALSO = {
    "kgs": "kg",
    "lbs": "lb",
    "metre": "m",
    "metres": "m",
    "litre": "l",
    "litres": "l",
    "hr": "h",
    "hrs": "h",
    "inch": "in",
    '"': "in",
    "'": "ft",
}
_DATE_PARTS = {"YYYY": "%Y", "YY": "%y", "MMMM": "%B", "MMM": "%b", "MM": "%m", "M": "%m", "DD": "%d", "D": "%d"}
_DATE_TOKEN = re.compile(r"YYYY|YY|M{1,4}|D{1,2}|[^A-Za-z]|[A-Za-z]+")
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")
_NUMBER = {
    ".": re.compile(r"([+-]?)(\d{1,3}(?:[,' ]\d{3})+|\d*)(?:\.(\d*))?(?:[eE]([+-]?\d{1,3}))?"),
    ",": re.compile(r"([+-]?)(\d{1,3}(?:[.' ]\d{3})+|\d*)(?:,(\d*))?(?:[eE]([+-]?\d{1,3}))?"),
}


def dimension(column: str) -> str:
    """The unit that a column's name carries; empty where it has none.

    >>> dimension("length_mm"), dimension("kg"), dimension("quoted_h"), dimension("price")
    ('mm', 'kg', 'h', '')
    """
    ending = column.rsplit("_", 1)[-1]
    return ending if ending in ("mm", "kg", "l", "h") else ""


def unit_named(word: str) -> str | None:
    """The unit that a word means, or None.

    >>> unit_named("Lbs."), unit_named("furlong")
    ('lb', None)
    """
    plain = word.strip().rstrip(".").casefold()
    plain = _ALSO.get(plain, plain)
    return plain if plain in UNITS else None


def number_text(text: str, unit: str = "", decimal_mark: str = ".") -> str | None:
    """A number as the contract writes it, in the contract's unit; None where it cannot be read.

    Thousands are marked by the other of comma and dot, by a space or an apostrophe, in whole groups of three.

    Args:
        unit: unit of a bare number, one of UNITS; empty for a number without one. A unit in the cell goes before it, but
            must be of the same kind.
    Returns: the text with the same decimal mark.

    >>> [number_text(cell, "mm") for cell in ("1650mm", "1.65 m", "1,650", "1650", "310 kg", "1,65")]
    ['1650', '1650', '1650', '1650', None, None]
    >>> number_text("310 kg", "kg"), number_text("$21,290"), number_text("2,5", "mm", ","), number_text("683 lb", "kg")
    ('310', '21290', '2,5', '309.80358871')
    """
    plain = unicodedata.normalize("NFKC", text).replace("−", "-").strip()
    plain = "".join(letter for letter in plain if unicodedata.category(letter) != "Sc").strip()
    found = _NUMBER[decimal_mark].match(plain)
    if not found or not (found[2] or found[3]):
        return None
    word = plain[found.end() :].strip()
    written = unit_named(word) if word else unit
    if written is None or (word and (not unit or UNITS[written][0] != UNITS[unit][0])):
        return None
    try:
        value = Decimal(f"{found[1]}{re.sub('[^0-9]', '', found[2]) or '0'}.{found[3] or '0'}E{found[4] or '0'}")
        value *= UNITS[written][1] if written else 1
    except InvalidOperation:
        return None
    return _plain(value).replace(".", decimal_mark)


def _plain(value: Decimal) -> str:
    digits = f"{value:f}"
    return (digits.rstrip("0").rstrip(".") if "." in digits else digits) or "0"


def date_pattern(written: str) -> str | None:
    """The pattern of a date format in plain letters, or None where it is none.

    >>> date_pattern("DD/MM/YYYY"), date_pattern("D MMM YY"), date_pattern("day.month"), date_pattern("MM/YYYY")
    ('%d/%m/%Y', '%d %b %y', None, None)
    """
    parts = _DATE_TOKEN.findall(written)
    if any(part.isalpha() and part not in _DATE_PARTS for part in parts):
        return None
    kinds = sorted(part[0] for part in parts if part in _DATE_PARTS)
    return "".join(_DATE_PARTS.get(part, part.replace("%", "%%")) for part in parts) if kinds == ["D", "M", "Y"] else None


def date_text(text: str, patterns: list[str]) -> str | None:
    """A date as `2024-03-05`, or None where it is not of a stated format (ISO always is).

    >>> date_text("05/03/2024", ["%d/%m/%Y"]), date_text("2024-03-05", []), date_text("05/03/24", [])
    ('2024-03-05', '2024-03-05', None)
    """
    plain = text.strip()
    for pattern in patterns if not _ISO.fullmatch(plain) else ["%Y-%m-%d"]:
        try:
            return datetime.strptime(plain, pattern).date().isoformat()
        except ValueError:
            continue
    return None
