"""Numbers in words that need no statistics."""

from __future__ import annotations

_SHARES = {0.5: "Half of all", 0.8: "8 of 10", 0.9: "9 of 10", 0.95: "19 of 20", 0.99: "99 of 100"}
LEVELS = tuple(_SHARES)


def share_in_words(level: float) -> str:
    """A level as people say it.

    >>> share_in_words(0.9), share_in_words(0.7)
    ('9 of 10', '70 of 100')
    """
    return _SHARES.get(round(level, 4)) or f"{100 * level:.0f} of 100"


def escaped(text: str) -> str:
    """Text that Markdown leaves alone.

    >>> escaped("a*b")
    'a\\\\*b'
    """
    return "".join(f"\\{letter}" if letter in "\\`*_{}[]()#+!|<>~:$" else letter for letter in text)
