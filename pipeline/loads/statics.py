"""Statics of a level, standing vehicle: masses at places to axle loads, and back.

x runs backwards from the front axle, y to the right of the centre line, both in mm; L is the wheelbase.
A mass W at x puts W·x/L on the rear axle and the rest on the front one, so that what hangs behind the rear axle
(x over L) lifts the front. Every function takes numbers or arrays that broadcast.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def axle_loads(kg: ArrayLike, x_mm: ArrayLike, wheelbase_mm: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Front and rear axle load of a mass at x; (front_kg, rear_kg).

    Source: lever rule, e.g. Hyundai, Body Builder Manual Part II LCV, 2015, A.2.

    >>> front, rear = axle_loads(1500.0, 4400.0, 3670.0)
    >>> print(round(float(rear)), round(float(front)))
    1798 -298
    """
    rear = np.asarray(kg, float) * np.asarray(x_mm, float) / np.asarray(wheelbase_mm, float)
    return np.asarray(kg, float) - rear, rear


def centre_from_axles(front_kg: ArrayLike, rear_kg: ArrayLike, wheelbase_mm: ArrayLike) -> np.ndarray:
    """Place of the centre of mass behind the front axle, mm; the inverse of axle_loads."""
    front, rear = np.asarray(front_kg, float), np.asarray(rear_kg, float)
    return np.asarray(wheelbase_mm, float) * rear / (front + rear)


def resultant(kg: ArrayLike, place_mm: ArrayLike) -> tuple[float, float]:
    """Sum of masses and the place of their common centre; NaN where the sum is zero."""
    masses, places = np.asarray(kg, float), np.asarray(place_mm, float)
    total = float(masses.sum())
    return total, float((masses * places).sum() / total) if total else float("nan")


def left_share(kg: ArrayLike, moment_y: ArrayLike, track_mm: ArrayLike) -> np.ndarray:
    """Share of the mass on the left wheels; `moment_y` is the first moment to the right, kg·mm.

    Source: Jazar, Vehicle Dynamics, eq. 2.198-2.200 at zero bank: left = b2 / w.
    """
    return 0.5 - np.asarray(moment_y, float) / (np.asarray(kg, float) * np.asarray(track_mm, float))


def moment_from_left_share(kg: ArrayLike, share: ArrayLike, track_mm: ArrayLike) -> np.ndarray:
    """First moment to the right, kg·mm, of a mass whose left wheels carry `share`; the inverse of left_share."""
    return (0.5 - np.asarray(share, float)) * np.asarray(kg, float) * np.asarray(track_mm, float)


def shifted(cov: np.ndarray, x_mm: ArrayLike, y_mm: ArrayLike = 0.0) -> np.ndarray:
    """Covariance of (mass, first moment along, across) seen from another origin.

    Args:
        cov: (n, 3, 3) in the body's frame; kg and kg·mm.
        x_mm, y_mm: place of the body's origin in the new frame, numbers or (n,).
    Returns: (n, 3, 3). The moments become mx + x·m and my + y·m.
    """
    turn = np.broadcast_to(np.eye(3), cov.shape).copy()
    turn[:, 1, 0] = x_mm
    turn[:, 2, 0] = y_mm
    return turn @ cov @ turn.transpose(0, 2, 1)
