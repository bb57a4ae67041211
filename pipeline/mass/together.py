"""Finds pairs of items (or groups) that bring mass when they stand together: mounts, plumbing, dividers nobody lists."""

from __future__ import annotations

import numpy as np

from pipeline.mass.design import Design
from pipeline.mass.evidence import Rows
from pipeline.mass.robust import State, row_state
from pipeline.settings_mass import MassSettings


def find_pairs(design: Design, rows: Rows, state: State, settings: MassSettings) -> list[tuple[str, str]]:
    """Pairs whose bodies weigh more or less than the parts say, strongest first.

    Each candidate is judged by what it explains beside all columns of the design: score = c'Wr / sqrt(c'W(c − x A c)),
    with the weights of the fit without pairs; a pair counts from `together_z` on, and the next is judged with it taken in.
    """
    if not settings.find_together or len(rows) < 2 * settings.together_least:
        return []
    found, x = row_state(design, rows, state, settings)
    root = np.sqrt(found.robust * rows.weight / found.var)
    names, columns = _candidates(design, rows, settings)
    if not names:
        return []
    heavy = columns * root[:, None]
    part = (x * root[:, None]) @ state.solution.factor
    heavy_residual = found.residual_kg * root
    chosen: list[tuple[str, str]] = []
    basis = part
    # the rows' own factor: x V x' with the prior in it, so what the design may still explain is taken off softly
    for _pair in range(settings.find_together):
        shadow = basis.T @ heavy
        free = np.einsum("ij,ij->j", heavy, heavy) - np.einsum("ij,ij->j", shadow, shadow)
        scores = heavy.T @ heavy_residual / np.sqrt(np.maximum(free, 1e-9))
        scores[free < 1e-3 * np.einsum("ij,ij->j", heavy, heavy)] = 0.0
        best = int(np.argmax(np.abs(scores)))
        if abs(scores[best]) < settings.together_z:
            break
        chosen.append(names[best])
        taken = heavy[:, best] - basis @ shadow[:, best]
        size = float(np.sqrt(free[best]))
        pull = settings.together_spread_kg**2 / (settings.together_spread_kg**2 + 1 / size**2)
        heavy_residual = heavy_residual - taken * (pull * scores[best] / size)
        basis = np.column_stack([basis, taken / size])
    return chosen


def _candidates(design: Design, rows: Rows, settings: MassSettings) -> tuple[list[tuple[str, str]], np.ndarray]:
    """Item × item, item × group and group × group, where enough bodies hold both and enough hold only one."""
    stands = rows.x[:, design.at.item] > 0
    groups = sorted({item.group for item in design.items if item.group})
    ids = np.array([item.group for item in design.items], dtype=object)
    sides: list[tuple[str, str, np.ndarray]] = [(item.item_id, item.group, stands[:, place]) for place, item in enumerate(design.items)]
    sides += [(name, name, np.any(stands[:, ids == name], axis=1)) for name in groups if np.count_nonzero(ids == name) > 1]
    names, columns, seen = [], [], {tuple(sorted(pair)) for pair in design.pairs}
    for first, (one, one_group, one_stands) in enumerate(sides):
        for other, other_group, other_stands in sides[first + 1 :]:
            within = one_group == other_group and (one == one_group or other == other_group)
            if within or tuple(sorted((one, other))) in seen:
                continue
            both = one_stands & other_stands
            if both.sum() >= settings.together_least:
                names.append((one, other))
                columns.append(both)
    return names, np.column_stack(columns).astype(np.float64) if columns else np.zeros((len(stands), 0))
