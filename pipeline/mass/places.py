"""Where the parts of a body sit: shares of its mass times places by the makers' figures; numpy alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.mass.bodies import KINDS, NO_ITEM, Lines, Plain
from pipeline.mass.design import Design
from pipeline.mass.features import Counts


@dataclass(frozen=True)
class Placed:
    """Where the parts of bodies sit by the makers' figures.

    Attributes:
        share_x, share_y: (n, items + kinds) share of the mass whose offset moves the centre along, across
            (across: signed by side, so that an offset points outward).
        x_mm, y_mm: (n,) centre if every offset were nothing.
    """

    share_x: np.ndarray
    share_y: np.ndarray
    x_mm: np.ndarray
    y_mm: np.ndarray


@dataclass(frozen=True)
class PieceMass:
    """Mass of a piece: fixed + grown × metres + years × (fixed_year + grown_year × metres), kg; (items,) each."""

    fixed: np.ndarray
    grown: np.ndarray
    fixed_year: np.ndarray
    grown_year: np.ndarray


def piece_mass(design: Design, coef: np.ndarray) -> PieceMass:
    """What a line adds to its body by the coefficients, its part of uplift, fixings and change included."""
    at, (fixed, grown) = design.at, design.ratio
    uplift = coef[at.uplift] / 100.0
    year = design.drift_masks @ coef[at.drift] / 50.0 if design.drifts else np.zeros(design.item_count)
    return PieceMass(
        fixed=fixed * coef[at.item] - design.length_m * coef[at.slope] + uplift * design.base_kg + coef[at.each],
        grown=grown * coef[at.item] + coef[at.slope] + uplift * design.per_m_kg,
        fixed_year=year * design.base_kg,
        grown_year=year * design.per_m_kg,
    )


def place(design: Design, piece: PieceMass, bodies: Plain, lines: Lines, counts: Counts, mass_kg: np.ndarray) -> Placed:
    """Shares and places of all parts; what no line carries (shell, pairs) sits at half the length, in the middle."""
    known = lines.item != NO_ITEM
    if not known.all():
        lines = Lines(**{name: getattr(lines, name)[known] for name in lines.__dataclass_fields__})
    metres = np.where(np.isnan(lines.own_mm), bodies.length_mm[lines.body], lines.own_mm) * 1e-3
    item = lines.item
    year = bodies.years[lines.body]
    each = piece.fixed[item] + piece.grown[item] * metres
    if np.any(piece.fixed_year) or np.any(piece.grown_year):
        each += year * (piece.fixed_year[item] + piece.grown_year[item] * metres)
    line_kg = lines.qty * each
    count, items = len(bodies), design.item_count
    side_kg = np.bincount(lines.body * items + item, weights=line_kg * np.sign(lines.y_mm), minlength=count * items)
    item_kg = counts.pieces * piece.fixed + counts.metres * piece.grown
    if np.any(piece.fixed_year) or np.any(piece.grown_year):
        item_kg += bodies.years[:, None] * (counts.pieces * piece.fixed_year + counts.metres * piece.grown_year)
    share_x, share_y = np.zeros((2, count, items + len(KINDS)))
    np.divide(item_kg, mass_kg[:, None], out=share_x[:, :items])
    np.divide(side_kg.reshape(count, items), mass_kg[:, None], out=share_y[:, :items])
    rest = 1.0 - share_x[:, :items].sum(axis=1)
    share_x[np.arange(count), items + bodies.kind] = rest
    share_y[np.arange(count), items + bodies.kind] = rest
    x_mm = np.bincount(lines.body, weights=line_kg * lines.x_mm, minlength=count) / mass_kg + rest * bodies.length_mm / 2
    y_mm = np.bincount(lines.body, weights=line_kg * lines.y_mm, minlength=count) / mass_kg
    return Placed(share_x, share_y, x_mm, y_mm)


@dataclass(frozen=True)
class Axis:
    """What history taught about one axis (along or across).

    Attributes:
        offset_mm: (items + kinds) offset of each item and of each kind's shell.
        factor: (items + kinds)² covariance factor of the offsets.
        noise_mm: spread of a measured centre about its estimate.
        factors: (levels,) as in `calibrate.factors`.
        drawn_mm: what drawings are off by.
        rows: centres it stands on.
    """

    offset_mm: np.ndarray
    factor: np.ndarray
    noise_mm: float
    factors: np.ndarray
    drawn_mm: float
    rows: int
