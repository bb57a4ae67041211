"""Estimates of history's own weighed bodies by models that never saw them: in folds, and quarter by quarter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.frames import take
from pipeline.mass.bodies import dates, numbers
from pipeline.mass.estimate import Estimates, estimate
from pipeline.mass.evidence import USED, only
from pipeline.mass.fit import Fitted, fit
from pipeline.mass.model import Model
from pipeline.settings_mass import MassSettings

FOLDS = 10
MOST_BODIES = 4_000
"""Bodies a cross-check is made with, evenly over a larger history: the figures do not get clearer beyond."""

QUARTERS = 8
LEAST_A_QUARTER = 3
LEAST_PAST = 20


@dataclass(frozen=True)
class Tried:
    """Bodies that a model without them has estimated, (n,) each; `row` points into the history's bodies.

    Attributes:
        sd_kg: predicted spread; reach: (n, levels) half width of the interval at `LEVELS`, kg.
        fold: which fold or quarter a body belongs to.
    """

    row: np.ndarray
    actual_kg: np.ndarray
    estimate_kg: np.ndarray
    sd_kg: np.ndarray
    reach: np.ndarray
    fold: np.ndarray

    @property
    def error_kg(self) -> np.ndarray:
        """Estimate minus scale."""
        return self.estimate_kg - self.actual_kg

    @property
    def z(self) -> np.ndarray:
        """Scale minus estimate over the predicted spread."""
        return -self.error_kg / self.sd_kg

    def at(self, index: np.ndarray) -> Tried:
        """The bodies at `index`."""
        return Tried(**{name: getattr(self, name)[index] for name in self.__dataclass_fields__})


LEVELS = (0.5, 0.8, 0.9, 0.95)


def judged_bodies(fitted: Fitted, settings: MassSettings) -> np.ndarray:
    """Positions of weighed bodies that are in the fit and not beyond `flag`: a gross error says nothing of the model."""
    every = fitted.spoken.body
    good = (every >= 0) & (np.abs(fitted.told.z) < settings.flag)
    weighed = ~np.isnan(numbers(fitted.evidence.history.bodies, "weighed_kg"))
    body = np.sort(every[good])
    return body[weighed[body]]


def in_folds(fitted: Fitted, settings: MassSettings, folds: int = FOLDS) -> Tried:
    """Every judged body by a model fitted without its fold; bodies of one drawing share a fold."""
    evidence = fitted.evidence
    used = np.flatnonzero(evidence.reason == USED)
    if len(used) > MOST_BODIES:
        used = used[np.linspace(0, len(used) - 1, MOST_BODIES).astype(np.int64)]
    judged = np.intersect1d(judged_bodies(fitted, settings), used)
    fold_of = (evidence.group * 2_654_435_761 % 4_294_967_296) % folds
    parts = []
    for fold in range(folds):
        test = judged[fold_of[judged] == fold]
        if len(test):
            model = fit(only(evidence.history, used[fold_of[used] != fold]), settings, fitted.usual)
            parts.append(_tried(fitted, model, test, fold))
    return _joined(parts)


def by_quarter(fitted: Fitted, settings: MassSettings, quarters: int = QUARTERS) -> tuple[Tried, list[str]]:
    """The newest quarters, each by a model fitted on everything before it; names like `2026-Q3` by fold number."""
    evidence = fitted.evidence
    dated = dates(evidence.history.bodies, "dated_on")
    judged = judged_bodies(fitted, settings)
    judged = judged[~np.isnat(dated[judged])]
    quarter = _quarter(dated)
    names: list[str] = []
    parts = []
    for one in np.unique(quarter[judged])[-quarters:]:
        test = judged[quarter[judged] == one]
        past = np.flatnonzero((evidence.reason == USED) & ~np.isnat(dated) & (quarter < one))
        if len(test) < LEAST_A_QUARTER or len(past) < LEAST_PAST:
            continue
        model = fit(only(evidence.history, past[-MOST_BODIES:]), settings, fitted.usual)
        test = test[np.argsort(dated[test], kind="stable")]
        parts.append(_tried(fitted, model, test, len(names)))
        names.append(f"{one // 4}-Q{one % 4 + 1}")
    return _joined(parts), names


def _quarter(dated: np.ndarray) -> np.ndarray:
    """(n,) year × 4 + quarter from 0; undated ones before all others."""
    months = dated.astype("datetime64[M]").astype(np.int64)
    return np.where(np.isnat(dated), -1, months // 3 + 1970 * 4)


def _tried(fitted: Fitted, model: Model, rows: np.ndarray, fold: int) -> Tried:
    found = _estimates(fitted, model, rows)
    reach = found.sd_kg[:, None] * np.array([model.reach(level) for level in LEVELS])
    actual = numbers(fitted.evidence.history.bodies, "weighed_kg")[rows]
    return Tried(rows, actual, found.estimate_kg, found.sd_kg, reach, np.full(len(rows), fold))


def _estimates(fitted: Fitted, model: Model, rows: np.ndarray) -> Estimates:
    history = only(fitted.evidence.history, rows)
    return estimate(model, take(fitted.evidence.history.bodies, rows), history.fitout)


def _joined(parts: list[Tried]) -> Tried:
    if not parts:
        none = np.zeros(0)
        return Tried(np.zeros(0, dtype=np.int64), none, none, none, np.zeros((0, len(LEVELS))), np.zeros(0, dtype=np.int64))
    return Tried(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in Tried.__dataclass_fields__})
