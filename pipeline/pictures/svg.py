"""A few SVG elements over the standard library's tree, which escapes all text and attributes."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def clean(text: str) -> str:
    """Text without the characters that XML 1.0 cannot carry (control characters, lone surrogates).

    >>> clean("a\\x00b")
    'a\ufffdb'
    """
    return _NOT_XML.sub("\ufffd", text)


def add(parent: ET.Element, tag: str, text: str = "", **attributes: object) -> ET.Element:
    """Append an element. Attribute names take `_` for `-`; numbers are rounded to 0.01 so that output is stable."""
    element = ET.SubElement(parent, tag, {name.rstrip("_").replace("_", "-"): _value(value) for name, value in attributes.items()})
    if text:
        element.text = clean(text)
    return element


def _value(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.2f}".rstrip("0").rstrip(".").replace("-0", "0") if abs(value) < 0.005 else f"{value:.2f}".rstrip("0").rstrip(".")
    return clean(str(value))


def root(width_px: float, height_px: float, title: str, description: str) -> ET.Element:
    """An `<svg>` that names and describes itself to a screen reader."""
    element = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {_value(width_px)} {_value(height_px)}",
            "width": _value(width_px),
            "height": _value(height_px),
            "role": "img",
            "aria-label": clean(f"{title}. {description}"),
        },
    )
    add(element, "title", title)
    add(element, "desc", description)
    return element


def to_text(element: ET.Element) -> str:
    """The tree as text, without an XML declaration."""
    return ET.tostring(element, encoding="unicode")
