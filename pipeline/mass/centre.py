"""Centre of mass from first moments: every part where its maker says it sits, plus an offset that history teaches.

centre − sum of share × place = sum of share × offset; the shares are the mass model's kilograms over its total.
Offsets are shrunk toward nothing; across, an item's offset points outward on either side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.mass.bodies import KINDS, numbers
from pipeline.mass.calibrate import factors, leave_out
from pipeline.mass.design import Design
from pipeline.mass.evidence import BLOCK, USED, Evidence
from pipeline.mass.features import count_items, matrix
from pipeline.mass.places import Axis, Placed, piece_mass, place
from pipeline.mass.robust import MAD_TO_SD, MOST_SHARE, TRIM_TO_SD, Residuals, bisquare
from pipeline.mass.solve import Solution, cross_products, quadratic, ridge
from pipeline.settings_mass import MassSettings

MEASURED, FROM_DRAWING, FROM_AXLES = range(3)
CENTRE_PASSES = 12
STEADY = 0.01
"""Relative change of noise and weights at which the passes stop early."""


@dataclass(frozen=True)
class CentreRows:
    """Centres that history knows, against their places by the makers' figures; (n,) and (n, items + kinds + 1).

    Attributes:
        share: of the mass, whose offset moves the centre; its last column is 1 where a drawing tells the centre.
    """

    share: np.ndarray
    miss_mm: np.ndarray
    source: np.ndarray
    fixed_var: np.ndarray
    group: np.ndarray


def centre_rows(design: Design, coef: np.ndarray, evidence: Evidence) -> tuple[CentreRows, CentreRows]:
    """Rows along and across: measured centres, drawn ones, and (along) those from axle tickets."""
    bodies, group = evidence.history.bodies, evidence.group
    x_mm, y_mm = numbers(bodies, "com_x_mm"), numbers(bodies, "com_y_mm")
    weighed = ~np.isnan(numbers(bodies, "weighed_kg"))
    known = np.flatnonzero((evidence.reason == USED) & ~(np.isnan(x_mm) & np.isnan(y_mm)))
    source = np.where(weighed[known], MEASURED, FROM_DRAWING)
    share_x, share_y = np.empty((2, len(known), design.item_count + len(KINDS) + 1))
    share_x[:, -1] = share_y[:, -1] = source == FROM_DRAWING
    miss_x, miss_y = x_mm[known], y_mm[known]
    for start in range(0, len(known), BLOCK):
        here = slice(start, start + BLOCK)
        placed, _mass = _placed(design, coef, evidence, known[here])
        share_x[here, :-1], share_y[here, :-1] = placed.share_x, placed.share_y
        miss_x[here] -= placed.x_mm
        miss_y[here] -= placed.y_mm
    along = CentreRows(share_x, miss_x, source, np.zeros(len(known)), group[known])
    across = CentreRows(share_y, miss_y, source, np.zeros(len(known)), group[known])
    axles = _axle_rows(design, coef, evidence)
    if axles is not None:
        along = CentreRows(*(np.concatenate(pair) for pair in zip(_fields(along), _fields(axles), strict=True)))
    return _known(along), _known(across)


def _fields(rows: CentreRows) -> tuple[np.ndarray, ...]:
    return rows.share, rows.miss_mm, rows.source, rows.fixed_var, rows.group


def _known(rows: CentreRows) -> CentreRows:
    kept = ~np.isnan(rows.miss_mm)
    return rows if kept.all() else CentreRows(*(values[kept] for values in _fields(rows)))


def _placed(design: Design, coef: np.ndarray, evidence: Evidence, rows: np.ndarray) -> tuple[Placed, np.ndarray]:
    """Places and masses by the model of the bodies at `rows`."""
    bodies, own = evidence.plain.rows(rows), evidence.lines.of(rows)
    counts = count_items(design, bodies, own)
    mass = np.maximum(matrix(design, bodies, counts) @ coef, 1.0)
    return place(design, piece_mass(design, coef), bodies, own, counts, mass), mass


def _axle_rows(design: Design, coef: np.ndarray, evidence: Evidence) -> CentreRows | None:
    """First moments of axle tickets, as one centre of all bodies of the job together."""
    readings, bodies = evidence.readings, evidence.history.bodies
    offset = np.nan_to_num(numbers(bodies, "offset_mm"))
    weighed = numbers(bodies, "weighed_kg")
    found = []
    for row in np.flatnonzero(~np.isnan(readings.moment_kg_mm + readings.headboard_mm + readings.wheelbase_mm)):
        rows = np.concatenate([readings.bodies[row], readings.weighed_too[row]])
        placed, mass = _placed(design, coef, evidence, rows)
        part = mass / mass.sum()
        kg = readings.kg[row] + weighed[readings.weighed_too[row]].sum()
        front = readings.wheelbase_mm[row] - readings.headboard_mm[row] + offset[rows]
        miss = readings.moment_kg_mm[row] / kg - part @ (front + placed.x_mm)
        found.append((np.append(part @ placed.share_x, 0.0), miss, readings.moment_var[row] / kg**2, evidence.group[rows[0]]))
    if not found:
        return None
    share, miss, var, group = (np.array(values) for values in zip(*found, strict=True))
    return CentreRows(share, miss, np.full(len(found), FROM_AXLES), var, group)


def fit_axis(design: Design, rows: CentreRows, settings: MassSettings, axis: int) -> Axis:
    """Shrunk offsets of one axis (0 along, 1 across) by robust passes."""
    items = design.item_count
    spread = np.concatenate([
        np.full(items, settings.item_place_spread_mm[axis]), np.full(len(KINDS), settings.shell_place_spread_mm[axis]),
        [settings.drawn_place_spread_mm[axis]],
    ])  # fmt: skip
    believed = np.array([settings.place_noise_mm[axis]] * 3)
    if not len(rows.miss_mm):
        return Axis(
            np.zeros(items + len(KINDS)), np.diag(spread[:-1]), float(believed[0]), factors(np.zeros(0), settings.noise_rows), 0.0, 0
        )
    x = rows.share
    solution, noise = Solution(np.zeros(len(spread)), np.diag(spread)), believed
    robust = (np.abs(rows.miss_mm - np.median(rows.miss_mm)) <= 4 * MAD_TO_SD * _mad(rows.miss_mm)).astype(np.float64)
    for _pass in range(CENTRE_PASSES):
        var = noise[rows.source] ** 2 + rows.fixed_var
        solution = ridge(cross_products(x, rows.miss_mm, robust / var), np.zeros(len(spread)), spread)
        residual = rows.miss_mm - x @ solution.coef
        leverage = quadratic(x, solution.factor)
        left = 1.0 - np.minimum(robust * leverage / var, MOST_SHARE)
        z = residual / left / np.sqrt(var + leverage / left)
        fitted = robust
        before, noise = noise, _axis_noise(rows.source, z, robust, noise, believed, settings.noise_rows)
        robust = bisquare(z, settings.place_cut)
        if np.max(np.abs(noise / before - 1.0)) < STEADY and np.max(np.abs(robust - fitted)) < STEADY:
            break
    found = Residuals(np.zeros(len(z)), residual, var, leverage, robust, z)
    out = leave_out(rows.group, fitted, x, found, solution.factor)
    judged = (rows.source == MEASURED) & (np.abs(z) < settings.flag)
    lead = MEASURED
    if not judged.any():
        judged, lead = (rows.source == FROM_DRAWING) & (np.abs(z) < settings.flag), FROM_DRAWING
    degrees = max(1.0, float(robust.sum() - np.sum(np.minimum(robust * leverage / var, 1.0))))
    scale = factors(np.abs(out.residual_kg[judged]) / out.sd_kg[judged], degrees)
    kept = items + len(KINDS)
    return Axis(solution.coef[:kept], solution.factor[:kept], float(noise[lead]), scale, float(solution.coef[kept]), len(z))


def _mad(values: np.ndarray) -> float:
    return float(max(np.median(np.abs(values - np.median(values))), 1e-6))


def _axis_noise(
    source: np.ndarray, z: np.ndarray, robust: np.ndarray, noise: np.ndarray, believed: np.ndarray, believed_rows: float,
) -> np.ndarray:  # fmt: skip
    found = believed.copy()
    for place_ in range(len(believed)):
        here = source == place_
        if robust[here].sum() > 0:
            median = MAD_TO_SD * float(np.median(np.abs(z[here])))
            trimmed = float(np.sqrt(np.sum(robust[here] * z[here] ** 2) / robust[here].sum())) / TRIM_TO_SD
            seen = noise[place_] * (median + trimmed) / 2
            found[place_] = np.sqrt((here.sum() * seen**2 + believed_rows * believed[place_] ** 2) / (here.sum() + believed_rows))
    return found
