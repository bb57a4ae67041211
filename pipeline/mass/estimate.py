"""Mass and centre of mass of drafts by a model, with interval and standing; numpy alone, all drafts at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.errors import WrongCall
from pipeline.frames import Columns, height
from pipeline.mass.bodies import Lines, Plain, numbers, plain_bodies, plain_lines
from pipeline.mass.design import DRAWN, WEIGHED
from pipeline.mass.features import Counts, count_items, matrix
from pipeline.mass.model import Model
from pipeline.mass.places import place
from pipeline.mass.solve import quadratic
from pipeline.mass.standing import judge

BLOCK = 4_096
LEAST_KG = 1.0
"""A body weighs something, whatever the coefficients say of a draft far outside history."""


@dataclass(frozen=True)
class Estimates:
    """One entry a body, in the order of the frame; kg and mm.

    Attributes:
        cov: (n, 3, 3) covariance of mass (kg) and first moments along and across (kg·mm) in the body's frame.
        standing, why: `inside`, `edge` or `outside`, and the reasons in words.
        source: `estimate`, `weighed` or `drawn`.
    """

    estimate_kg: np.ndarray
    low_kg: np.ndarray
    high_kg: np.ndarray
    sd_kg: np.ndarray
    com_x_mm: np.ndarray
    com_x_low_mm: np.ndarray
    com_x_high_mm: np.ndarray
    com_y_mm: np.ndarray
    com_y_low_mm: np.ndarray
    com_y_high_mm: np.ndarray
    standing: np.ndarray
    why: np.ndarray
    source: np.ndarray
    cov: np.ndarray
    level: float


@dataclass(frozen=True)
class Drafts:
    """Drafts as numbers, ready for the model."""

    frame: Columns
    bodies: Plain
    lines: Lines


def read_drafts(model: Model, bodies: Columns, fitout: Columns) -> Drafts:
    """Frames as numbers, by the model's usual bodies and items."""
    design = model.design
    plain = plain_bodies(bodies, design.usual, design.density_kg_m3, np.datetime64(design.today))
    lines = plain_lines(fitout, plain, design.item_ids, design.places, design.side_fraction)
    return Drafts(bodies, plain, lines)


def estimate(model: Model, bodies: Columns, fitout: Columns, level: float = 0.9) -> Estimates:
    """Estimate every draft.

    Args:
        bodies, fitout: house frames; `fitout.body_row` points into `bodies`.
        level: wanted coverage of the intervals, 0.50 to 0.99.
    Raises: WrongCall: a level outside that range.
    """
    if not 0.5 <= level <= 0.99:
        raise WrongCall("level of the interval", got=f"{level:g}", expected="0.50 to 0.99")
    count = height(bodies)
    drafts = read_drafts(model, bodies, fitout)
    out = {name: np.empty(count) for name in NUMBERS}
    out["cov"] = np.empty((count, 3, 3))
    standing, why = np.empty(count, dtype=object), np.empty(count, dtype=object)
    for first in range(0, count, BLOCK):
        last = min(count, first + BLOCK)
        part, lines = drafts.bodies.rows(slice(first, last)), drafts.lines.between(first, last)
        counts = count_items(model.design, part, lines)
        x = matrix(model.design, part, counts)
        leverage = quadratic(x, model.factor)
        found = _block(model, part, lines, counts, x, leverage, level)
        for name, values in found.items():
            out[name][first:last] = values
        standing[first:last], why[first:last] = judge(model, drafts.frame, first, part, lines, counts, leverage, found["estimate_kg"])
    source = np.full(count, "estimate", dtype=object)
    return Estimates(**out, standing=standing, why=why, source=source, level=level)


NUMBERS = (
    "estimate_kg", "low_kg", "high_kg", "sd_kg", "com_x_mm", "com_x_low_mm", "com_x_high_mm", "com_y_mm", "com_y_low_mm", "com_y_high_mm",
)  # fmt: skip


def _block(
    model: Model, part: Plain, lines: Lines, counts: Counts, x: np.ndarray, leverage: np.ndarray, level: float,
) -> dict[str, np.ndarray]:  # fmt: skip
    mass = np.maximum(x @ model.coef, LEAST_KG)
    sd = np.sqrt((model.noise[WEIGHED] * mass) ** 2 + model.step_kg**2 / 12.0 + leverage)
    half = model.reach(level) * sd
    placed = place(model.design, model.piece, part, lines, counts, mass)
    axes = []
    for axis, share, base in ((model.along, placed.share_x, placed.x_mm), (model.across, placed.share_y, placed.y_mm)):
        middle = base + share @ axis.offset_mm
        spread = np.sqrt(axis.noise_mm**2 + quadratic(share, axis.factor))
        axes.append((middle, spread, float(np.interp(level, model.levels, axis.factors)) * spread))
    (com_x, sd_x, half_x), (com_y, sd_y, half_y) = axes
    return {
        "estimate_kg": mass, "low_kg": np.maximum(mass - half, 0.0), "high_kg": mass + half, "sd_kg": sd,
        "com_x_mm": com_x, "com_x_low_mm": com_x - half_x, "com_x_high_mm": com_x + half_x,
        "com_y_mm": com_y, "com_y_low_mm": com_y - half_y, "com_y_high_mm": com_y + half_y,
        "cov": covariance(mass, sd, com_x, sd_x, com_y, sd_y),
    }  # fmt: skip


def covariance(
    mass: np.ndarray, sd: np.ndarray, com_x: np.ndarray, sd_x: np.ndarray, com_y: np.ndarray, sd_y: np.ndarray,
) -> np.ndarray:  # fmt: skip
    """(n, 3, 3) covariance of mass and first moments: an error of mass sits at the centre, an error of the centre carries the mass."""
    arm = np.stack([np.ones(len(mass)), com_x, com_y], axis=1)
    out = sd[:, None, None] ** 2 * arm[:, :, None] * arm[:, None, :]
    out[:, 1, 1] += (mass * sd_x) ** 2
    out[:, 2, 2] += (mass * sd_y) ** 2
    return out


def given_or_estimated(model: Model, bodies: Columns, fitout: Columns, level: float = 0.9) -> Estimates:
    """As `estimate`, but a body with `weighed_kg` is taken at it ± half the scale's division, one with `cad_kg` corrected by the bias.

    A drawn mass keeps the larger of the drawing's own noise; a given centre of mass stands as given.
    """
    found = estimate(model, bodies, fitout, level)
    weighed, drawn = numbers(bodies, "weighed_kg"), numbers(bodies, "cad_kg")
    on_scale = ~np.isnan(weighed)
    on_paper = ~np.isnan(drawn) & ~on_scale
    step = numbers(bodies, "scale_step_kg")
    half_step = np.where(np.isnan(step), model.step_kg, step) / 2.0
    corrected = drawn / (1.0 - model.drawing_bias)
    paper_sd = corrected * np.hypot(model.noise[DRAWN], model.drawing_bias_sd)
    mass = np.where(on_scale, weighed, np.where(on_paper, corrected, found.estimate_kg))
    sd = np.where(on_scale, half_step / np.sqrt(3.0), np.where(on_paper, paper_sd, found.sd_kg))
    half = np.where(on_scale, half_step, np.where(on_paper, model.reach(level) * paper_sd, found.high_kg - found.estimate_kg))
    axes: dict[str, np.ndarray] = {}
    for name in ("com_x", "com_y"):
        given = numbers(bodies, f"{name}_mm")
        shift = np.where(np.isnan(given), 0.0, given - getattr(found, f"{name}_mm"))
        axes |= {f"{name}{end}_mm": getattr(found, f"{name}{end}_mm") + shift for end in ("", "_low", "_high")}
    spread = [np.sqrt(np.maximum(_own(found, axis), 0.0)) / found.estimate_kg for axis in (1, 2)]
    source = np.where(on_scale, "weighed", np.where(on_paper, "drawn", "estimate")).astype(object)
    return Estimates(
        estimate_kg=mass, low_kg=np.maximum(mass - half, 0.0), high_kg=mass + half, sd_kg=sd, **axes,
        standing=found.standing, why=found.why, source=source,
        cov=covariance(mass, sd, axes["com_x_mm"], spread[0], axes["com_y_mm"], spread[1]), level=level,
    )  # fmt: skip


def _own(found: Estimates, axis: int) -> np.ndarray:
    """Part of a moment's variance that the mass does not bring."""
    centre = found.com_x_mm if axis == 1 else found.com_y_mm
    return found.cov[:, axis, axis] - found.cov[:, 0, 0] * centre**2
