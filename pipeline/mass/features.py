"""The design matrix: bodies and lines in, one row a body and one column a declared feature out.

No loop over bodies: two tables of counts (pieces, and pieces × metres) of every item carry all that lines add.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.mass.bodies import KINDS, NO_ITEM, Lines, Plain
from pipeline.mass.design import FULL_STEP_KG, LONG_STEP_M, SHELL_COUNT, Design


@dataclass(frozen=True)
class Counts:
    """What stands in each body.

    Attributes:
        pieces: (n, items) quantity of each item.
        metres: (n, items) quantity × length in m.
        sheet_kg: (n,) sum of datasheet masses.
    """

    pieces: np.ndarray
    metres: np.ndarray
    sheet_kg: np.ndarray


def count_items(design: Design, bodies: Plain, lines: Lines) -> Counts:
    """Pieces and metres of each item in each body; lines of unknown items are left out."""
    known = lines.item != NO_ITEM
    body, item, qty = (lines.body, lines.item, lines.qty) if known.all() else (lines.body[known], lines.item[known], lines.qty[known])
    own = lines.own_mm if known.all() else lines.own_mm[known]
    shape = (len(bodies), design.item_count)
    cell = body * design.item_count + item
    size = shape[0] * shape[1]
    pieces = np.bincount(cell, weights=qty, minlength=size).reshape(shape)
    has_own = ~np.isnan(own)
    metres = pieces * (bodies.length_mm * 1e-3)[:, None]
    if has_own.any():
        extra = (own[has_own] - bodies.length_mm[body[has_own]]) * 1e-3
        metres += np.bincount(cell[has_own], weights=qty[has_own] * extra, minlength=size).reshape(shape)
    return Counts(pieces, metres, pieces @ design.base_kg + metres @ design.per_m_kg)


def matrix(design: Design, bodies: Plain, counts: Counts) -> np.ndarray:
    """(n, p) design matrix; every column over its reference value, so that coefficients are kg on the reference body."""
    at = design.at
    out = np.zeros((len(bodies), at.count))
    shell = shell_columns(design, bodies)
    for place in range(len(KINDS)):
        rows = bodies.kind == place
        out[rows, place * SHELL_COUNT : (place + 1) * SHELL_COUNT] = shell[rows]
    _item_columns(design, bodies, counts, out)
    _together_columns(design, counts, out)
    for place, knot in zip(range(at.full.start, at.full.stop), design.full_kg, strict=True):
        out[:, place] = np.maximum(0.0, counts.sheet_kg - knot) / FULL_STEP_KG
    out /= design.reference
    return out


def shell_columns(design: Design, bodies: Plain) -> np.ndarray:
    """(n, shell) raw columns of the body's own kind, in the units of `SHELL`."""
    length, width, tall = bodies.length_mm * 1e-3, bodies.width_mm * 1e-3, bodies.height_mm * 1e-3
    closed = tall > 0
    deck = length * width
    walls = 2 * tall * (length + width) + np.where(closed, deck, 0.0)
    reference = np.array([design.usual[kind]["length_mm"] for kind in KINDS])[bodies.kind] * 1e-3
    long = np.array([design.long_m[kind] for kind in KINDS])[bodies.kind]
    columns = [
        np.ones(len(bodies)),
        walls * bodies.sheet_mm * 1e-3 * bodies.density,
        deck * bodies.floor_mm * 1e-3 * bodies.density,
        np.where(closed, 4 * (length + width + tall), 2 * (length + width)),
        length - reference,
        (length - reference) ** 2,
        np.maximum(0.0, length - long) / LONG_STEP_M,
        bodies.doors,
        bodies.painted * np.where(closed, walls, deck),
        bodies.size == 1,
        bodies.size == 2,
    ]
    return np.column_stack(columns)


def _item_columns(design: Design, bodies: Plain, counts: Counts, out: np.ndarray) -> None:
    at, (fixed, grown) = design.at, design.ratio
    out[:, at.item] = counts.pieces * fixed
    out[:, at.item] += counts.metres * grown
    out[:, at.slope] = counts.metres - design.length_m * counts.pieces
    out[:, at.uplift] = counts.sheet_kg / 100.0
    out[:, at.each] = counts.pieces.sum(axis=1)
    if design.drifts:
        masks = design.drift_masks
        kilograms = counts.pieces @ (masks * design.base_kg[:, None]) + counts.metres @ (masks * design.per_m_kg[:, None])
        out[:, at.drift] = kilograms * (bodies.years / 50.0)[:, None]


def _together_columns(design: Design, counts: Counts, out: np.ndarray) -> None:
    if design.pairs:
        first, second = design.pair_sides
        stands = (counts.pieces > 0).astype(np.float64)
        out[:, design.at.pair] = (stands @ first > 0) & (stands @ second > 0)


def line_matrix(design: Design, bodies: Plain, lines: Lines) -> np.ndarray:
    """(m, p) what each line by itself adds to its body's row, but for pairs and full bodies, which are nobody's alone."""
    host = bodies.rows(lines.body)
    own = Lines(np.arange(len(lines)), lines.item, lines.qty, lines.own_mm, lines.x_mm, lines.y_mm)
    out = np.zeros((len(lines), design.at.count))
    _item_columns(design, host, count_items(design, host, own), out)
    out /= design.reference
    return out
