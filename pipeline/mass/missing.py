"""Is the list whole? Bodies that say an item was not written down, the share of such items, and what a complete list gains.

A body with an unlisted item weighs more than its list; lists are wrong in no other direction so often. The share is the
one under which the residuals are most likely: noise of one scale for all, plus items drawn as history's lists have them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.mass.bodies import KINDS, numbers
from pipeline.mass.calibrate import OutOfFold, leave_out
from pipeline.mass.design import DRAWN, PAIRED, WEIGHED
from pipeline.mass.evidence import BLOCK, Rows, Spoken, body_keys
from pipeline.mass.fit import Fitted
from pipeline.mass.nearest import item_kg
from pipeline.mass.robust import State, fit_rows, row_state
from pipeline.mass.solve import Solution

MOST_MISSING = 4
MOST_ROWS = 800
"""Rows from which the share is estimated, evenly over history: more would not make the answer clearer to a person."""

BIN_KG = 2.0
MOST_KG = 240.0
LEAST_SHARE, MOST_SHARE = 1e-4, 0.3
TRUE_SHARES = (0.02, 0.05, 0.08)
"""Shares of the made histories by which the answer is set right."""

OWN_ERROR = 1.25
"""Factor by which the setting right may itself be off; it widens the interval."""

LEAST_SEEN = 0.2
SEED = 20
OTHER_REASONS = 0.01
"""Share of bodies that are off for other reasons, evenly over ± 6 standard deviations; they must not decide."""

GROSS_RATIO = (0.6, 1.6)
"""Readings outside this ratio to their parts are errors of another sort."""

LEAST_ROWS = 20
LIKELY = 0.5
COMPANY = 0.95
COMPANY_LEAST = 15
"""An item whose bodies hold another in 19 of 20 cases (of at least 15) is expected to come with it."""

HALF_95 = 1.92
"""Half the 95 % point of chi-square with one degree of freedom: drop of the log likelihood at the ends of an interval."""


@dataclass(frozen=True)
class ShortList:
    """One body that says something is missing from its list.

    Attributes:
        excess_kg: mass on record minus what its list adds up to; None where only its company of items speaks.
        probability: that an item is missing, by its mass; cost: share of the model's whole misfit that it makes.
    """

    key: str
    excess_kg: float | None
    probability: float
    cost: float
    why: str


@dataclass(frozen=True)
class Completeness:
    """What the residuals say of the lists.

    Attributes:
        share, share_low, share_high: of items that nobody wrote down (95 % interval).
        error_now, error_complete: root mean square error as a share of the mass, now and with complete lists.
        checked: bodies whose list was checked; bodies: doubtful ones, dearest first.
    """

    share: float
    share_low: float
    share_high: float
    error_now: float
    error_complete: float
    checked: int
    bodies: tuple[ShortList, ...]

    def figures(self) -> dict[str, float]:
        """All but the bodies as plain numbers, with `gain`: the share of the error that whole lists would take away."""
        told = {name: getattr(self, name) for name in ("share", "share_low", "share_high", "error_now", "error_complete", "checked")}
        return told | {"gain": round(1.0 - self.error_complete / self.error_now, 3) if self.error_now > 0 else 0.0}


@dataclass(frozen=True)
class _Seen:
    """Rows with a mass, (n,) each: position of the body, residual and sd without itself, mass by the model, listed items, checked list."""

    body: np.ndarray
    residual: np.ndarray
    sd: np.ndarray
    mass: np.ndarray
    items: np.ndarray
    checked: np.ndarray

    def at(self, index: np.ndarray | slice) -> _Seen:
        return _Seen(**{name: getattr(self, name)[index] for name in self.__dataclass_fields__})


def completeness(fitted: Fitted) -> Completeness:
    """Estimate the share of unlisted items and rank the bodies that say so; nothing is known without weighed bodies.

    It fits made histories to set the share right, which costs several fits; `short_lists` alone costs a part of one.
    """
    seen, missing = _seen(fitted), _missing_masses(fitted)
    checked = int(np.sum(numbers(fitted.evidence.history.bodies, "list_whole") == 1))
    if len(seen.body) < LEAST_ROWS:
        return Completeness(0.0, 0.0, 1.0, 0.0, 0.0, checked, tuple(_companies(fitted, {})))
    best, low, high = _most_likely(_few(seen), missing)
    bodies = _ranked(fitted, seen, best, missing)
    if best.share > 0:
        seen_of_true = _seen_of_true(fitted, best, missing)
        low, high = low / seen_of_true / OWN_ERROR, min(high / seen_of_true * OWN_ERROR, MOST_SHARE)
        best = replace(best, share=min(best.share / seen_of_true, MOST_SHARE))
    now, complete = _errors(seen, best, missing)
    return Completeness(best.share, low, high, now, complete, checked, bodies)


def short_lists(fitted: Fitted) -> tuple[ShortList, ...]:
    """Bodies that say something is missing from their list, the dearest first."""
    seen, missing = _seen(fitted), _missing_masses(fitted)
    if len(seen.body) < LEAST_ROWS:
        return tuple(_companies(fitted, {}))
    return _ranked(fitted, seen, _most_likely(_few(seen), missing)[0], missing)


def _few(seen: _Seen) -> _Seen:
    return seen.at(np.linspace(0, len(seen.body) - 1, min(MOST_ROWS, len(seen.body))).astype(np.int64))


def _ranked(fitted: Fitted, seen: _Seen, law: _Law, missing: np.ndarray) -> tuple[ShortList, ...]:
    chance = _chance_of_missing(seen, law, missing)
    misfit = (seen.residual / seen.sd) ** 2
    cost = misfit / misfit.sum()
    by_mass = {}
    rows = np.flatnonzero((chance >= LIKELY) & (seen.residual > seen.sd))
    keys = body_keys(fitted.evidence.history.bodies, seen.body[rows]).tolist()
    for row, key in zip(rows.tolist(), keys, strict=True):
        more = float(seen.residual[row])
        why = f"weighs {more:.0f} kg more than its list: an item not written down?"
        by_mass[key] = ShortList(key, more, float(chance[row]), float(cost[row]), why)
    return tuple(sorted(_companies(fitted, by_mass), key=lambda one: (-one.cost, -one.probability, one.key)))


def _seen(fitted: Fitted) -> _Seen:
    told, spoken = fitted.told, fitted.spoken
    out = OutOfFold(told.residual_kg, told.sd_kg)
    return _rows_seen(spoken, told.pieces, out, _whole(fitted, spoken.body))


def _whole(fitted: Fitted, body: np.ndarray) -> np.ndarray:
    """(n,) rows of one body whose list was checked."""
    whole = numbers(fitted.evidence.history.bodies, "list_whole") == 1
    return (body >= 0) & (whole[body] if len(whole) else False)


def _rows_seen(rows: Rows | Spoken, pieces: np.ndarray, out: OutOfFold, whole: np.ndarray) -> _Seen:
    expected = rows.y_kg - out.residual_kg
    ratio = rows.y_kg / np.maximum(expected, 1.0)
    single = np.isin(rows.source, (WEIGHED, DRAWN)) & (rows.body >= 0) & (ratio > GROSS_RATIO[0]) & (ratio < GROSS_RATIO[1])
    return _Seen(rows.body[single], out.residual_kg[single], out.sd_kg[single], expected[single], pieces[single], whole[single])


@dataclass(frozen=True)
class _Law:
    """Share of unlisted items, scale of the noise, and what the fit has taken of the excess on average (kg)."""

    share: float
    scale: float
    taken_kg: float


def _missing_masses(fitted: Fitted) -> np.ndarray:
    """(missing + 1, bins) distribution of the mass of 0, 1, … unlisted items, drawn as listed ones are."""
    bins = int(MOST_KG / BIN_KG)
    kilograms, often = item_kg(fitted.model), fitted.model.item_records.astype(np.float64)
    often = often if often.sum() else np.ones(len(often))
    one = np.bincount(np.minimum((kilograms / BIN_KG).round().astype(np.int64), bins - 1), weights=often / often.sum(), minlength=bins)
    laws = [np.eye(1, bins)[0]]
    for _missing in range(MOST_MISSING):
        laws.append(np.convolve(laws[-1], one)[:bins])
    return np.array(laws)


def _rate(seen: _Seen, share: float) -> np.ndarray:
    return np.where(seen.checked, 0.0, share / (1.0 - share) * seen.items)


def _terms(seen: _Seen, law: _Law, missing: np.ndarray) -> np.ndarray:
    """(n, missing + 1) likelihood of each residual with 0, 1, … items missing."""
    rate = _rate(seen, law.share)
    sd = law.scale * seen.sd
    off = seen.residual[:, None] + law.taken_kg - np.arange(missing.shape[1]) * BIN_KG
    density = np.exp(-0.5 * (off / sd[:, None]) ** 2) / (sd[:, None] * np.sqrt(2 * np.pi))
    count = np.arange(len(missing))
    chance = np.exp(-rate)[:, None] * rate[:, None] ** count / np.cumprod(np.maximum(count, 1))
    even = OTHER_REASONS / (12.0 * seen.sd[:, None]) * chance
    return (1.0 - OTHER_REASONS) * chance * (density @ missing.T) + even


def _log_likelihood(seen: _Seen, law: _Law, missing: np.ndarray) -> float:
    return float(np.log(np.maximum(_terms(seen, law, missing).sum(axis=1), 1e-300)).sum())


def _most_likely(seen: _Seen, missing: np.ndarray) -> tuple[_Law, float, float]:
    """The most likely law, and the shares between which 95 % of the likelihood's evidence lies."""
    from scipy.optimize import minimize  # imported where it is used: estimating must not load it

    shares = np.concatenate([[LEAST_SHARE], np.geomspace(0.004, MOST_SHARE, 11)])
    free = np.array([np.log(0.8), 0.0])

    def at(share: float) -> tuple[float, _Law]:
        nonlocal free  # each share starts where the one before it ended

        def loss(values: np.ndarray) -> float:
            return -_log_likelihood(seen, _Law(share, float(np.exp(values[0])), float(values[1])), missing)

        found = minimize(loss, free, method="Nelder-Mead", options={"xatol": 0.02, "fatol": 0.05, "maxiter": 40})
        free = found.x
        return -float(found.fun), _Law(share, float(np.exp(free[0])), float(free[1]))

    tried = [at(float(share)) for share in shares]
    best = int(np.argmax([fit for fit, _law in tried]))
    around = shares[max(best - 1, 0)], shares[min(best + 1, len(shares) - 1)]
    finer = np.linspace(*around, 7)[1:-1]
    shares, tried = np.concatenate([shares, finer]), tried + [at(float(share)) for share in finer]
    fits = np.array([fit for fit, _law in tried])
    best = int(np.argmax(fits))
    inside = shares[fits >= fits[best] - HALF_95]
    law = tried[best][1]
    return (_Law(0.0, law.scale, law.taken_kg) if law.share <= LEAST_SHARE else law), _none(inside.min()), float(inside.max())


def _seen_of_true(fitted: Fitted, law: _Law, missing: np.ndarray) -> float:
    """Part of a true share that this estimate sees, by histories of the same bodies made with shares that are known.

    A fit takes some of the excess into its coefficients and some into its noise, and so the estimate is too low
    (indirect inference; a line through nothing, since one made history a share is a rough measure).
    """
    count = len(fitted.spoken)
    rows = fitted.rows(np.linspace(0, count - 1, min(2 * MOST_ROWS, count)).astype(np.int64))
    answers = []
    for share in TRUE_SHARES:
        made = _made(fitted, rows, replace(law, share=share), missing, np.random.default_rng(SEED))
        answers.append(_most_likely(made, missing)[0].share)
    true = np.array(TRUE_SHARES)
    return float(np.clip(true @ np.array(answers) / (true @ true), LEAST_SEEN, 1.0))


def _made(fitted: Fitted, rows: Rows, law: _Law, missing: np.ndarray, rng: np.random.Generator) -> _Seen:
    """The bodies of history with other masses: the model's, noise, and unlisted items at a share; fitted anew."""
    model, settings = fitted.model, fitted.settings
    design = model.design
    state = State(Solution(model.coef, model.factor), model.noise, model.noise)
    truth, _x = row_state(design, rows, state, settings)
    whole = _whole(fitted, rows.body)
    rate = np.where(whole | (rows.source == PAIRED), 0.0, law.share / (1 - law.share) * rows.x[:, design.at.each])
    one = rng.choice(missing.shape[1], size=(len(rows), MOST_MISSING), p=missing[1] / missing[1].sum()) * BIN_KG
    count = np.minimum(rng.poisson(rate), MOST_MISSING)
    extra = np.where(np.arange(MOST_MISSING) < count[:, None], one, 0.0).sum(axis=1)
    noise = rng.normal(0.0, law.scale, len(rows)) * np.sqrt(truth.var)
    made = replace(rows, y_kg=rows.y_kg - truth.residual_kg + extra + noise, robust=np.ones(len(rows)))
    found, made = fit_rows(design, made, settings)
    residuals, x = row_state(design, made, found, settings)
    out = leave_out(made.group, made.weight * made.robust, x, residuals, found.solution.factor)
    return _rows_seen(made, made.x[:, design.at.each], out, whole)


def _none(share: float) -> float:
    return 0.0 if share <= LEAST_SHARE else float(share)


def _chance_of_missing(seen: _Seen, law: _Law, missing: np.ndarray) -> np.ndarray:
    """(n,) chance that an item or more is missing from each list."""
    chance = np.empty(len(seen.body))
    for start in range(0, len(chance), BLOCK):
        here = slice(start, start + BLOCK)
        terms = _terms(seen.at(here), law, missing)
        chance[here] = 1.0 - terms[:, 0] / terms.sum(axis=1)
    return chance


def _errors(seen: _Seen, law: _Law, missing: np.ndarray) -> tuple[float, float]:
    """Error as a share of the mass, as it is and with complete lists."""
    second = float(missing[1] @ (np.arange(missing.shape[1]) * BIN_KG) ** 2)
    noise = (law.scale * seen.sd) ** 2 / seen.mass**2
    unlisted = _rate(seen, law.share) * second / seen.mass**2
    return float(np.sqrt(np.mean(noise + unlisted))), float(np.sqrt(np.mean(noise)))


def _companies(fitted: Fitted, by_mass: dict[str, ShortList]) -> list[ShortList]:
    """Add what the company of items says: an item without the one that it nearly always comes with."""
    told, design, body = fitted.told, fitted.model.design, fitted.spoken.body
    items = design.item_count
    found = dict(by_mass)
    for place in range(len(KINDS)):
        here = np.flatnonzero((body >= 0) & (told.kind == place))
        count = np.zeros((items, items))
        for start in range(0, len(here), BLOCK):
            stands = told.held(here[start : start + BLOCK], items).astype(np.float64)
            count += stands.T @ stands
        alone = np.diag(count).copy()
        usual = count / np.maximum(alone[:, None], 1.0)
        expected = np.argwhere((usual >= COMPANY) & (usual < 1.0) & (alone[:, None] >= COMPANY_LEAST))
        for item, other in expected.tolist():
            if usual[item, other] <= alone[other] / len(here) + (1 - COMPANY):
                continue
            words = f"{design.items[item].label} without {design.items[other].label}, which it nearly always comes with"
            held = told.held(here, items)
            lone = here[held[:, item] & ~held[:, other]]
            for key in fitted.evidence.keys(fitted.spoken.key[lone]).tolist():
                before = found.get(key)
                if before is None:
                    found[key] = ShortList(key, None, 0.0, 0.0, words)
                elif words not in before.why:
                    found[key] = ShortList(key, before.excess_kg, before.probability, before.cost, f"{before.why}; {words}")
    return list(found.values())
