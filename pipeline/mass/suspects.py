"""Records that the fit does not believe, each with what it probably is, for a person to settle; nothing is dropped."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.mass.bodies import KINDS, numbers, texts
from pipeline.mass.design import DRAWN, PAIRED, TICKET, WEIGHED
from pipeline.mass.evidence import body_keys
from pipeline.mass.fit import Fitted
from pipeline.settings_mass import MassSettings

POUNDS = 1.0 / 0.45359237
NEAR = 2.5
"""A cause is named where it leaves an error of no more than so many predicted standard deviations."""

SLIPS = (10.0, 0.1)
FEW_TRAYS = 5
COLUMNS = {WEIGHED: ("bodies", "weighed_kg"), DRAWN: ("bodies", "cad_kg"), PAIRED: ("bodies", "cad_kg"), TICKET: ("weighings", "total_kg")}
"""Table and column in doubt, by source."""


@dataclass(frozen=True)
class Suspect:
    """One record to look at.

    Attributes:
        table, key: as settled records name them; column: the one in doubt.
        value_kg, expected_kg: on record, and by the model without it; z: how many standard deviations apart.
        why: probable cause in words; probably_kg: what it would be then (None: no guess).
    """

    table: str
    key: str
    column: str
    value_kg: float
    expected_kg: float
    z: float
    why: str
    probably_kg: float | None


@dataclass(frozen=True)
class _Guess:
    """A cause, what the mass would be then, how far from the expected it may be, and its rank (simple causes first)."""

    why: str
    kg: float
    within_kg: float
    rank: int


def suspects(fitted: Fitted, settings: MassSettings) -> list[Suspect]:
    """All records beyond `flag` that nobody has settled as right, the furthest first."""
    rows, told = fitted.spoken, fitted.told
    beyond = np.flatnonzero((np.abs(told.z) > settings.flag) & ~rows.trusted)
    keys = dict(zip(beyond.tolist(), fitted.evidence.keys(rows.key[beyond]).tolist(), strict=True))
    others, tray = _others(fitted, rows.key[beyond]), _usual_tray(fitted)
    scale_in_doubt = {keys[row] for row in beyond[rows.source[beyond] == WEIGHED].tolist()}
    found = []
    for row in beyond[np.argsort(-np.abs(told.z[beyond]), kind="stable")].tolist():
        source, key = int(rows.source[row]), keys[row]
        if source == PAIRED and key in scale_in_doubt:
            continue  # the drawing is far from a reading that is itself far from its parts: one question, not two
        expected = float(rows.y_kg[row] - told.residual_kg[row])
        value = float(rows.y_kg[row])
        if source == PAIRED:
            value, expected = value + float(rows.paired_kg[row]), expected + float(rows.paired_kg[row])
        sd = float(told.sd_kg[row])
        guesses = _slips(value, sd) + (_along(value, expected, sd, others.get(key, []), tray) if source == WEIGHED else [])
        why, probably = _cause(value, expected, guesses)
        table, column = COLUMNS[source]
        found.append(Suspect(table, key, column, value, expected, float(told.z[row]), why, probably))
    return found


def _cause(value: float, expected: float, guesses: list[_Guess]) -> tuple[str, float | None]:
    """Say what a gross error probably is: each cause is tried, the simplest that fits is named."""
    ratio = value / max(expected, 1.0)
    told = (
        f"{ratio:.1f} times what its parts add up to"
        if ratio > 1.6 or ratio < 0.6
        else f"{abs(value - expected):.0f} kg {'more' if value > expected else 'less'} than its parts"
    )
    fitting = [guess for guess in guesses if abs(guess.kg - expected) <= guess.within_kg and guess.kg > 0]
    if not fitting:
        more = "something weighed along, or items not written down?" if value > expected else "not finished, or items taken out?"
        return f"{told}: {more}", None
    best = min(fitting, key=lambda guess: (guess.rank, abs(guess.kg - expected)))
    return f"{told}: {best.why}", round(best.kg, 1)


def _slips(value: float, sd: float) -> list[_Guess]:
    """Units and digits; a digit can be mistyped into almost anything, so that it is named last."""
    near = NEAR * sd
    found = [_Guess("pounds typed as kilograms?", value / POUNDS, near, 0), _Guess("kilograms read as pounds?", value * POUNDS, near, 0)]
    found += [_Guess("a slipped digit?", value * slip, near, 0) for slip in SLIPS]
    digits = f"{value:.0f}"
    swapped = {digits[:at] + digits[at + 1] + digits[at] + digits[at + 2 :] for at in range(len(digits) - 1)} - {digits}
    found += [_Guess("two digits swapped?", float(one), near, 2) for one in sorted(swapped)]
    typed = [
        digits[:at] + other + digits[at + 1 :] for at in range(max(len(digits) - 1, 1)) for other in "0123456789" if other != digits[at]
    ]
    return found + [_Guess("one digit mistyped?", float(one), near, 3) for one in typed]


def _along(value: float, expected: float, sd: float, others: list[float], tray: tuple[float, float] | None) -> list[_Guess]:
    """The other body of the job weighed along, or in its place; a tray that nobody recorded."""
    near = NEAR * sd
    found = [_Guess(f"weighed with the other body of the job ({other:.0f} kg)?", value - other, near, 0) for other in others]
    found += [
        _Guess(f"the other body of the job ({other:.0f} kg) in its place?", expected, near, 0)
        for other in others
        if abs(value - other) <= 1
    ]
    if tray is not None and not others:
        middle, spread = tray
        found.append(_Guess(f"a tray weighed along (they weigh about {middle:.0f} kg)?", value - middle, near + 2 * spread, 1))
    return found


def _usual_tray(fitted: Fitted) -> tuple[float, float] | None:
    """Middle and spread of history's tray masses; None where fewer than five are known."""
    told = fitted.told
    trays = (fitted.spoken.body >= 0) & (told.kind == KINDS.index("tray")) & (told.robust > 0)
    if trays.sum() < FEW_TRAYS:
        return None
    masses = told.mass_kg[trays]
    return float(np.median(masses)), float(np.median(np.abs(masses - np.median(masses))))


def _others(fitted: Fitted, told: np.ndarray) -> dict[str, list[float]]:
    """Masses (weighed, else drawn) of the other bodies of the jobs of those rows (by their `Spoken.key`), by `job_id/body`."""
    bodies = fitted.evidence.history.bodies
    wanted = set(texts(bodies, "job_id")[told[told >= 0]].tolist())
    here = np.flatnonzero([job in wanted for job in texts(bodies, "job_id").tolist()])
    if not len(here):
        return {}
    keys, jobs = body_keys(bodies, here).tolist(), texts(bodies, "job_id")[here].tolist()
    mass = numbers(bodies, "weighed_kg")[here]
    mass = np.where(np.isnan(mass), numbers(bodies, "cad_kg")[here], mass)
    by_job: dict[str, list[int]] = {}
    for row, job in enumerate(jobs):
        by_job.setdefault(job, []).append(row)
    return {
        keys[row]: [float(mass[other]) for other in company if other != row and not np.isnan(mass[other])]
        for company in by_job.values()
        if len(company) > 1
        for row in company
    }
