"""Standing of a draft: does history cover it, is it at the edge, or outside, and why, in words.

Ranges and record counts find what is too long, too full or never built; leverage finds rare combinations.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.frames import Columns
from pipeline.mass.bodies import KINDS, NO_ITEM, Lines, Plain, numbers
from pipeline.mass.design import WEIGHED
from pipeline.mass.features import Counts
from pipeline.mass.model import Model

INSIDE, EDGE, OUTSIDE = range(3)
WORDS = ("inside", "edge", "outside")
PLURAL = {"canopy": "canopies", "tray": "trays", "box": "boxes"}

Finding = tuple[int, np.ndarray, str]
"""How far (EDGE or OUTSIDE), which drafts (mask or positions), and why; `{…}` in the words is filled by kind."""


def judge(
    model: Model, frame: Columns, first: int, part: Plain, lines: Lines, counts: Counts, leverage: np.ndarray, mass_kg: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Standing and reasons of a block of drafts, as two (n,) object arrays.

    Args:
        frame: the drafts' frame, of which `part` holds the rows from `first` on; read for what was not given.
        leverage: (n,) x V x', kg².
    """
    worst = np.zeros(len(part), dtype=np.int64)
    told: dict[int, list[tuple[int, str]]] = {}
    for how, rows, words in _findings(model, part, lines, counts, leverage, mass_kg):
        at = np.flatnonzero(rows) if rows.dtype == bool else rows
        worst[at] = np.maximum(worst[at], how)
        for row in at.tolist():
            reason = (-how, words)
            if reason not in told.setdefault(row, []):
                told[row].append(reason)
    for rows, words in _assumed(model, frame, first, part):
        for row in np.flatnonzero(rows).tolist():
            told.setdefault(row, []).append((0, words))
    why = np.full(len(part), "", dtype=object)
    for row, found in told.items():
        why[row] = "; ".join(words for _how, words in sorted(found, key=lambda reason: reason[0]))
    return np.array(WORDS, dtype=object)[worst], why


def _findings(
    model: Model, part: Plain, lines: Lines, counts: Counts, leverage: np.ndarray, mass_kg: np.ndarray,
) -> Iterator[Finding]:  # fmt: skip
    beyond = model.facts["beyond"]
    yield OUTSIDE, np.unique(lines.body[lines.item == NO_ITEM]), "an item that the list does not have was left out"
    pieces = counts.pieces.sum(axis=1)
    relative = leverage / (model.noise[WEIGHED] * mass_kg) ** 2
    for place, kind in enumerate(KINDS):
        here = part.kind == place
        if not here.any():
            continue
        seen = model.ranges[kind]
        many = PLURAL[kind]
        if not seen.records:
            yield OUTSIDE, here, f"no {kind} was ever weighed or drawn: this is what datasheets and geometry add up to"
            continue
        if seen.weighed < model.facts["few_weighed"]:
            yield OUTSIDE, here, f"{seen.weighed} {kind if seen.weighed == 1 else many} on record with a weighed mass, too few to rely on"
        longest, shortest, full, most = seen.length_high_mm, seen.length_low_mm, seen.fitout_high_kg, seen.items_high
        yield OUTSIDE, here & (part.length_mm > longest * (1 + beyond)), f"no {kind} over {longest:,.0f} mm was ever weighed or drawn"
        yield OUTSIDE, here & (part.length_mm < shortest * (1 - beyond)), f"no {kind} under {shortest:,.0f} mm was ever weighed or drawn"
        fuller = here & (counts.sheet_kg > full * (1 + beyond) + 1)
        yield OUTSIDE, fuller, f"no {kind} on record holds more than {full:,.0f} kg of items by datasheet"
        yield OUTSIDE, here & (pieces > most * (1 + beyond)), f"no {kind} on record holds more than {most:g} items"
        yield EDGE, here & (relative > seen.leverage_high), "a combination that history hardly knows"
    yield from _items(model, counts)


def _items(model: Model, counts: Counts) -> Iterator[Finding]:
    """Items of which history holds few masses or none, named together; pairs that it kept apart."""
    stands = counts.pieces > 0
    never = model.item_records == 0
    seldom = ~never & (model.item_records < model.facts["few_records"])
    yield from _named(model, stands, never, OUTSIDE, "never built with a mass on record: {}; datasheets speak for it")
    yield from _named(model, stands, seldom, EDGE, "built only once or twice with a mass on record: {}")
    for first, second in model.unseen_pairs:
        both = stands[:, first] & stands[:, second]
        if both.any():
            names = [model.design.items[place].label for place in (first, second)]
            yield EDGE, both, f"{names[0]} and {names[1]} never stood together"


def _named(model: Model, stands: np.ndarray, which: np.ndarray, how: int, words: str) -> Iterator[Finding]:
    items = np.flatnonzero(which)
    rows = np.flatnonzero(stands[:, items].any(axis=1)) if len(items) else items
    companies: dict[tuple[str, ...], list[int]] = {}
    for row in rows.tolist():
        names = tuple(model.design.items[item].label for item in items[stands[row, items]])
        companies.setdefault(names, []).append(row)
    for names, members in companies.items():
        yield how, np.array(members), words.format(", ".join(names))


MEASURE_WORDS = {
    "width_mm": "width {:,.0f} mm",
    "height_mm": "height {:,.0f} mm",
    "sheet_mm": "sheet {:g} mm",
    "floor_mm": "floor {:g} mm",
    "doors": "{:g} doors",
}


def _assumed(model: Model, frame: Columns, first: int, part: Plain) -> Iterator[tuple[np.ndarray, str]]:
    """What was not given and is taken from the usual body; this is no standing, only said."""
    rows = slice(first, first + len(part))
    for name, words in MEASURE_WORDS.items():
        missing = np.isnan(numbers(frame, name)[rows])
        for place, kind in enumerate(KINDS):
            usual = model.design.usual[kind][name]
            if usual > 0:
                yield missing & (part.kind == place), f"not given, taken as usual: {words.format(usual)}"
