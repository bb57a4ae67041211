"""What people do without the model: kilograms per metre, sums of datasheets, plain least squares, gradient boosting.

All rivals see the same bodies as the model does, with the same gross errors among them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Bodies:
    """Weighed bodies as rivals see them.

    Attributes:
        x: (n, p) the model's own design; believed_kg: (n,) what datasheets and geometry add up to.
        kind, length_m, y_kg: (n,); masses of bodies to be estimated are not looked at.
    """

    x: np.ndarray
    believed_kg: np.ndarray
    kind: np.ndarray
    length_m: np.ndarray
    y_kg: np.ndarray

    def at(self, index: np.ndarray) -> Bodies:
        """The bodies at `index`."""
        return Bodies(**{name: getattr(self, name)[index] for name in self.__dataclass_fields__})


Rival = Callable[[Bodies, Bodies], np.ndarray]
"""Masses of new bodies (second) by what past ones (first) say."""


def kg_per_metre(past: Bodies, new: Bodies) -> np.ndarray:
    """Mean kilograms a metre of the kind, times the length."""
    overall = past.y_kg.sum() / past.length_m.sum()
    rates = {kind: past.y_kg[past.kind == kind].sum() / past.length_m[past.kind == kind].sum() for kind in np.unique(past.kind)}
    return np.array([rates.get(kind, overall) for kind in new.kind]) * new.length_m


def datasheets(_past: Bodies, new: Bodies) -> np.ndarray:
    """Datasheets and geometry as they stand."""
    return new.believed_kg


def datasheets_lifted(past: Bodies, new: Bodies) -> np.ndarray:
    """The same times one factor for all."""
    return new.believed_kg * past.y_kg.sum() / past.believed_kg.sum()


def plain_least_squares(past: Bodies, new: Bodies) -> np.ndarray:
    """Least squares on all columns of the design, nothing believed beforehand."""
    return new.x @ np.linalg.lstsq(past.x, past.y_kg, rcond=None)[0]


def gradient_boosting(past: Bodies, new: Bodies) -> np.ndarray:
    """Gradient-boosted trees on all columns of the design."""
    from sklearn.ensemble import HistGradientBoostingRegressor  # slow to import, and only the report needs it
    from threadpoolctl import threadpool_limits

    varies = past.x.std(axis=0) > 0
    # its threads wait for each other in a busy loop, which on a shared machine takes minutes
    with threadpool_limits(1):
        return HistGradientBoostingRegressor(random_state=0).fit(past.x[:, varies], past.y_kg).predict(new.x[:, varies])


RIVALS: dict[str, Rival] = {
    "kg per metre": kg_per_metre,
    "sum of datasheets": datasheets,
    "sum of datasheets times one factor": datasheets_lifted,
    "plain least squares": plain_least_squares,
    "gradient boosting": gradient_boosting,
}
