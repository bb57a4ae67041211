"""What things are called in lists to choose from, and so in addresses: always unlike each other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping


def family(number: int, name: str) -> str:
    """A layout family; its number lasts from edition to edition.

    >>> family(3, "plain tray")
    '3: plain tray'
    """
    return f"{number}: {name}"


def unlike(labels: Mapping[str, str]) -> dict[str, str]:
    """Labels by id; where two are the same, the id stands behind them.

    >>> unlike({"V1": "dual cab", "V2": "dual cab", "V3": "single cab"})
    {'V1': 'dual cab (V1)', 'V2': 'dual cab (V2)', 'V3': 'single cab'}
    """
    often = Counter(labels.values())
    return {key: label if often[label] == 1 else f"{label} ({key})" for key, label in labels.items()}
