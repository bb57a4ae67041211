"""Room for every block: rectangles pushed apart from where they belong until none covers another. Deterministic."""

from __future__ import annotations

import numpy as np

_PASSES = 200
_STEP = 0.45
"""Share of an overlap that each of a pair gives way in one pass; half would swing where three meet."""
_TOUCH = 0.25
"""An overlap, px, that nobody sees; passes end there, since the last of it goes ever slower."""
_FILL = 0.5
"""Largest share of the ground that blocks may cover; above it they cannot be pushed apart, so they shrink instead."""


_SHRINKS = (1.0, 0.85, 0.7, 0.55)
"""Where blocks cannot be pushed apart at one size, they are tried at the next."""


def arranged(
    centres: np.ndarray, wanted: np.ndarray, ground: tuple[float, float], least: float, gap: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Centres and sizes (n, 2) of blocks that stand as near as they can to where they belong, as large as there is room for.

    Args:
        centres: (n, 2) where each belongs.
        wanted: (n, 2) wanted sizes; they shrink alike where the ground is too full.
        least: smallest side of a block.
    """
    fitted = fitted_sizes(wanted, ground, least)
    for shrink in _SHRINKS:
        sizes = np.minimum(np.maximum(fitted * shrink, least), fitted)
        placed = spread(centres, sizes, ground, gap)
        if not _any_covered(placed, sizes):
            break
    return placed, sizes


def _any_covered(centres: np.ndarray, sizes: np.ndarray) -> bool:
    room = np.abs(centres[:, None, :] - centres[None, :, :]) - (sizes[:, None, :] + sizes[None, :, :]) / 2
    covered = (room < -_TOUCH).all(axis=-1)
    np.fill_diagonal(covered, False)
    return bool(covered.any())


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

    Each pass pushes every overlapping pair apart along its shorter overlap; blocks at one place part in their own order.
    Then each goes back towards where it belongs as far as there is room. A ground that is too full keeps some overlap.
    """
    half = sizes / 2
    least, most = half, np.maximum(np.array(ground) - half, half)
    home = np.clip(centres, least, most)
    if len(centres) < 2:
        return home
    order = np.arange(len(centres))
    nudge = np.sign(order[:, None] - order[None, :]) * 1e-6
    reach = half[:, None, :] + half[None, :, :] + gap
    reach_x, reach_y = reach[..., 0].copy(), reach[..., 1]
    np.fill_diagonal(reach_x, 0.0)
    sideways = _ways_to_part(sizes, ground)
    now = home
    for turn in range(_PASSES):
        apart_x, apart_y = now[:, None, 0] - now[None, :, 0], now[:, None, 1] - now[None, :, 1]
        over_x, over_y = reach_x - np.abs(apart_x), reach_y - np.abs(apart_y)
        covered = (over_x > _TOUCH) & (over_y > _TOUCH)
        if not covered.any():
            break
        shorter = over_x <= over_y if sideways is None else sideways
        along_x = ~shorter if sideways is None and turn > _PASSES // 2 and turn % 2 else shorter
        push_x = np.where(covered & along_x, np.sign(apart_x + nudge) * over_x, 0.0).sum(axis=1)
        push_y = np.where(covered & ~along_x, np.sign(apart_y - nudge) * over_y, 0.0).sum(axis=1)
        now = np.clip(now + _STEP * np.stack([push_x, push_y], axis=1), least, most)
    return _pulled_back(now, home, reach)


def _ways_to_part(sizes: np.ndarray, ground: tuple[float, float]) -> np.ndarray | None:
    """True: pairs part sideways alone, False: up and down alone, since no two blocks have room the other way; None: either."""
    room_x, room_y = (ground[axis] >= 2 * sizes[:, axis].min() for axis in (0, 1))
    return None if room_x == room_y else np.array(room_x)


def _pulled_back(now: np.ndarray, home: np.ndarray, reach: np.ndarray) -> np.ndarray:
    """Blocks drawn back towards home, one by one, as far as each can go without covering another."""
    now = now.copy()
    for _ in range(3):
        for at in range(len(now)):
            others = np.arange(len(now)) != at
            for share in (1.0, 0.5, 0.25, 0.1):
                there = now[at] + share * (home[at] - now[at])
                if (np.abs(there - now[others]) >= reach[at][others] - _TOUCH).any(axis=1).all():
                    now[at] = there
                    break
    return now
