"""Room for every block: rectangles pushed apart from where they belong until none covers another. Deterministic."""

from __future__ import annotations

import numpy as np

_PASSES = 200
_FILL = 0.5
"""Largest share of the ground that blocks may cover; above it they cannot be pushed apart, so they shrink instead."""


def fitted_sizes(sizes: np.ndarray, ground: tuple[float, float], least: float) -> np.ndarray:
    """Sizes (n, 2) shrunk alike until they cover no more than a share of the ground and none is longer than it.

    Args:
        sizes: (n, 2) wanted width and height of each block.
        ground: width and height of what they stand on, same unit.
        least: smallest side of a block, so that it can still be read.
    """
    if not len(sizes):
        return sizes
    area, room = float(np.prod(sizes, axis=1).sum()), ground[0] * ground[1] * _FILL
    shrunk = sizes * min(1.0, float(np.sqrt(room / area)))
    largest = np.maximum(np.array(ground), 1e-9)
    return np.minimum(np.maximum(shrunk, np.minimum(least, largest)), largest)


def spread(centres: np.ndarray, sizes: np.ndarray, ground: tuple[float, float], gap: float = 0.0) -> np.ndarray:
    """Centres (n, 2) moved as little as it takes, so that no block covers another and none leaves the ground.

    Each pass pushes every overlapping pair apart along its shorter overlap and lets blocks lean back to where they
    belong; blocks at one place part in their own order. A ground that is too full keeps some overlap.
    """
    if len(centres) < 2:
        return _inside(centres, sizes, ground)
    order = np.arange(len(centres))
    nudge = np.stack([np.sign(order[:, None] - order[None, :]), np.sign(order[None, :] - order[:, None])], axis=-1) * 1e-6
    reach = (sizes[:, None, :] + sizes[None, :, :]) / 2 + gap
    now = _inside(centres, sizes, ground)
    for turn in range(_PASSES):
        apart = now[:, None, :] - now[None, :, :]
        apart = np.where(np.abs(apart) < 1e-9, nudge, apart)
        overlap = np.maximum(reach - np.abs(apart), 0.0)
        covered = overlap.min(axis=-1) > 1e-9
        np.fill_diagonal(covered, False)
        if not covered.any():
            break
        along_x = _along_x(overlap, sizes, ground, stuck=turn > _PASSES // 2 and turn % 2 == 1)
        push = np.where(covered[..., None] & np.stack([along_x, ~along_x], axis=-1), np.sign(apart) * overlap, 0.0)
        lean = (centres - now) * (0.04 if turn < _PASSES // 3 else 0.0)
        now = _inside(now + 0.35 * push.sum(axis=1) + lean, sizes, ground)
    return _pulled_back(now, _inside(centres, sizes, ground), reach)


def _pulled_back(now: np.ndarray, home: np.ndarray, reach: np.ndarray) -> np.ndarray:
    """Blocks drawn back towards home, one by one, as far as each can go without covering another."""
    now = now.copy()
    for _ in range(3):
        for at in range(len(now)):
            others = np.arange(len(now)) != at
            for share in (1.0, 0.5, 0.25, 0.1):
                there = now[at] + share * (home[at] - now[at])
                if (np.abs(there - now[others]) >= reach[at][others] - 1e-6).any(axis=1).all():
                    now[at] = there
                    break
    return now


def _along_x(overlap: np.ndarray, sizes: np.ndarray, ground: tuple[float, float], stuck: bool) -> np.ndarray:
    """Which pairs part sideways: along the shorter overlap, but never along a side where no two blocks have room."""
    room_x, room_y = (ground[axis] >= 2 * sizes[:, axis].min() for axis in (0, 1))
    if room_x != room_y:
        return np.full(overlap.shape[:2], room_x)
    shorter = overlap[..., 0] <= overlap[..., 1]
    return ~shorter if stuck else shorter


def _inside(centres: np.ndarray, sizes: np.ndarray, ground: tuple[float, float]) -> np.ndarray:
    half = sizes / 2
    return np.clip(centres, half, np.maximum(np.array(ground) - half, half))
