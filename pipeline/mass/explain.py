"""What an estimate is made of: the shell, each item, what items bring together; parts that add up to the estimate.

A part's kilograms are its columns times their coefficients, its spread comes from the same covariance as the interval's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.frames import Columns, take
from pipeline.mass.bodies import KINDS, NO_ITEM
from pipeline.mass.design import SHELL_COUNT, Design
from pipeline.mass.estimate import LEAST_KG, Drafts, read_drafts
from pipeline.mass.features import count_items, line_matrix, matrix
from pipeline.mass.model import Model
from pipeline.mass.solve import quadratic

SHELL_PARTS = (
    ("frame", ("frame",)),
    ("sheet of walls and roof", ("sheet",)),
    ("floor", ("floor",)),
    ("edges", ("edges",)),
    ("length", ("length", "bend", "long")),
    ("doors", ("doors",)),
    ("paint", ("paint",)),
    ("size of the vehicle", ("class fullsize", "class truck")),
)
"""Columns of the shell as people would name them; several columns of one thing are one part."""

MOSTLY_HISTORY, MOSTLY_BEFORE = 0.15, 0.6
"""Share of the variance believed before that is left: below, history speaks; above, the datasheet or geometry does."""


@dataclass(frozen=True)
class Part:
    """One part of an estimate.

    Attributes:
        kind: `shell`, `item`, `together` or `full`.
        kg, sd_kg: what it adds, and how sure that is (one standard deviation).
        source: `history`, `datasheet` (of the shell: `geometry`) or `both`.
        records: bodies with mass on record that hold the item; None for other parts.
    """

    label: str
    kind: str
    kg: float
    sd_kg: float
    source: str
    item_id: str | None = None
    qty: float | None = None
    records: int | None = None


@dataclass(frozen=True)
class Difference:
    """One part of two drafts: kg in the first, in the second, second minus first and how sure that difference is."""

    label: str
    first_kg: float
    second_kg: float
    difference_kg: float
    sd_kg: float


@dataclass(frozen=True)
class _Shares:
    """Columns that each part takes, (parts, p); they add up to the body's row of the design."""

    names: list[tuple[str, str, str | None, float | None]]
    rows: np.ndarray


def explain(model: Model, bodies: Columns, fitout: Columns, row: int) -> list[Part]:
    """Parts of the estimate of the body at `row`, largest first within shell, items and the rest; they add up to it."""
    shares = _shares(model, _one(model, bodies, fitout, row))
    kilograms = shares.rows @ model.coef
    after = quadratic(shares.rows, model.factor)
    before = (shares.rows**2) @ model.design.spread**2
    records = dict(zip(model.design.item_ids, model.item_records.tolist(), strict=True))
    parts = []
    for (label, kind, item_id, qty), kg, late, early in zip(shares.names, kilograms, after, before, strict=True):
        known = records.get(item_id) if item_id else None
        parts.append(Part(label, kind, float(kg), float(np.sqrt(late)), _source(kind, late, early, known), item_id, qty, known))
    total = float(kilograms.sum())
    if total < LEAST_KG:
        parts.append(Part("nothing weighs less than this", "full", LEAST_KG - total, 0.0, "geometry"))
    return parts


def difference(model: Model, bodies: Columns, fitout: Columns, first: int, second: int) -> list[Difference]:
    """Parts in which two drafts differ, largest difference first; differences add up to that of the estimates."""
    one, other = (_shares(model, _one(model, bodies, fitout, row)) for row in (first, second))
    keys = list(dict.fromkeys([(kind, item or label) for label, kind, item, _qty in (*one.names, *other.names)]))
    labels = {(kind, item or label): label.split(" × ")[0] for label, kind, item, _qty in (*one.names, *other.names)}
    width = len(model.coef)
    left, right = (_by_key(shares, width) for shares in (one, other))
    none = np.zeros(width)
    found = []
    for key in keys:
        before, after = left.get(key, none), right.get(key, none)
        if np.array_equal(before, after):
            continue
        change = after - before
        sd = float(np.sqrt(quadratic(change[None], model.factor)[0]))
        found.append(Difference(labels[key], float(before @ model.coef), float(after @ model.coef), float(change @ model.coef), sd))
    return sorted(found, key=lambda part: -abs(part.difference_kg))


def design_row(model: Model, bodies: Columns, fitout: Columns, row: int) -> list[tuple[str, str, float, float]]:
    """The design of one body, to be printed: name, unit, value, kg that it adds, of every column that is not zero."""
    draft = _one(model, bodies, fitout, row)
    x = matrix(model.design, draft.bodies, count_items(model.design, draft.bodies, draft.lines))[0]
    return [
        (column.name, column.unit, float(value * column.reference), float(value * coef))
        for column, value, coef in zip(model.design.columns, x, model.coef, strict=True)
        if value
    ]


def _one(model: Model, bodies: Columns, fitout: Columns, row: int) -> Drafts:
    own = take(fitout, fitout["body_row"] == row)
    own["body_row"] = np.zeros(len(own["body_row"]), dtype=np.int64)
    return read_drafts(model, take(bodies, np.array([row])), own)


def _shares(model: Model, draft: Drafts) -> _Shares:
    design = model.design
    x = matrix(design, draft.bodies, count_items(design, draft.bodies, draft.lines))[0]
    names: list[tuple[str, str, str | None, float | None]] = []
    rows = []
    for label, taken in _shell_slots(design, int(draft.bodies.kind[0])):
        if np.any(x[taken]):
            part = np.zeros(len(x))
            part[taken] = x[taken]
            names.append((label, "shell", None, None))
            rows.append(part)
    each = line_matrix(design, draft.bodies, draft.lines)
    for item in dict.fromkeys(draft.lines.item[draft.lines.item != NO_ITEM].tolist()):
        lines = draft.lines.item == item
        qty = float(draft.lines.qty[lines].sum())
        one = design.items[item]
        names.append((one.label if qty == 1 else f"{one.label} × {qty:g}", "item", one.item_id, qty))
        rows.append(each[lines].sum(axis=0))
    for place in range(design.at.pair.start, design.at.full.stop):
        if x[place]:
            part = np.zeros(len(x))
            part[place] = x[place]
            is_pair = place < design.at.pair.stop
            names.append((design.columns[place].name if is_pair else "a full body", "together" if is_pair else "full", None, None))
            rows.append(part)
    return _Shares(names, np.array(rows).reshape(-1, len(x)))


def _shell_slots(design: Design, kind: int) -> list[tuple[str, np.ndarray]]:
    first = kind * SHELL_COUNT
    place = {design.columns[first + slot].name.split(": ")[1]: first + slot for slot in range(SHELL_COUNT)}
    return [(f"{KINDS[kind]}: {label}", np.array([place[name] for name in taken])) for label, taken in SHELL_PARTS]


def _by_key(shares: _Shares, width: int) -> dict[tuple[str, str], np.ndarray]:
    found: dict[tuple[str, str], np.ndarray] = {}
    for (label, kind, item, _qty), part in zip(shares.names, shares.rows, strict=True):
        key = (kind, item or label)
        found[key] = found.get(key, np.zeros(width)) + part
    return found


def _source(kind: str, after: float, before: float, records: int | None) -> str:
    said = "datasheet" if kind == "item" else "geometry" if kind == "shell" else "common practice"
    if records == 0 or after > MOSTLY_BEFORE * before:
        return said
    return "history" if after < MOSTLY_HISTORY * before else "both"
