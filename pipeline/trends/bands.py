"""How sure a share is, and a difference of two shares: bands that keep three sales from looking like a boom."""

from __future__ import annotations

import numpy as np

Z_95 = 1.959963984540054
"""Two-sided 95 % point of the normal distribution."""


def wilson(n: np.ndarray, of: np.ndarray, z: float = Z_95) -> tuple[np.ndarray, np.ndarray]:
    """Wilson's score band of the shares n / of; (0, 1) where nothing was counted.

    Source: E. B. Wilson (1927); R. G. Newcombe, Stat. Med. 17 (1998) 857-872, method 3.
    """
    n, of = np.asarray(n, dtype=float), np.asarray(of, dtype=float)
    some = np.maximum(of, 1.0)
    share = n / some
    centre = share + z**2 / (2 * some)
    half = z * np.sqrt(share * (1 - share) / some + z**2 / (4 * some**2))
    scale = 1 + z**2 / some
    low, high = (centre - half) / scale, (centre + half) / scale
    low, high = np.where(n <= 0, 0.0, low), np.where(n >= of, 1.0, high)
    return np.where(of > 0, low, 0.0), np.where(of > 0, high, 1.0)


def difference(n_a: np.ndarray, of_a: np.ndarray, n_b: np.ndarray, of_b: np.ndarray, z: float = Z_95) -> tuple[np.ndarray, np.ndarray]:
    """Band of the difference b - a of two independent shares, out of their Wilson bands.

    Source: R. G. Newcombe, Stat. Med. 17 (1998) 873-890, method 10.
    """
    (low_a, high_a), (low_b, high_b) = wilson(n_a, of_a, z), wilson(n_b, of_b, z)
    a = np.asarray(n_a, dtype=float) / np.maximum(of_a, 1)
    b = np.asarray(n_b, dtype=float) / np.maximum(of_b, 1)
    down = np.sqrt((b - low_b) ** 2 + (high_a - a) ** 2)
    up = np.sqrt((high_b - b) ** 2 + (a - low_a) ** 2)
    return b - a - down, b - a + up
