"""The honest report: error and coverage of the model on bodies it never saw, beside what people do without it.

Plain values only (numbers, texts, lists, dicts), so that a command prints it as JSON and a page shows it as tables.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import msgspec
import numpy as np

from pipeline.mass.backtest import LEVELS, Tried, by_quarter, in_folds
from pipeline.mass.bodies import KINDS, dates, texts
from pipeline.mass.charts import ewma, individuals, running_alarm
from pipeline.mass.design import DRIFT_GROUPS, SOURCES, WEIGHED
from pipeline.mass.evidence import body_keys
from pipeline.mass.fit import Fitted, left_out
from pipeline.mass.missing import completeness
from pipeline.mass.rivals import RIVALS, Bodies
from pipeline.mass.suspects import suspects
from pipeline.mass.vehicles import vehicle_offsets
from pipeline.settings_mass import MassSettings

Row = dict[str, Any]
LEAST_RIVAL_ROWS = 30
MOST_SHORT_LISTS = 200


def full_report(fitted: Fitted, settings: MassSettings, families: Sequence[str | None] | None = None) -> dict[str, Any]:
    """Everything that *Model check* shows.

    Args:
        fitted: as `fit_fully` gives it.
        settings: those of the fit.
        families: layout family of each body of the history, where known.
    Returns: keys `figures, left_out, rivals, reliability, groups, quarters, chart, change, noise, drawings, together,
        lists, suspects, vehicles`; masses in kg, shares as fractions.
    """
    resolved = msgspec.structs.replace(settings, change=fitted.settings.change)
    folds = in_folds(fitted, resolved)
    quarters, names = by_quarter(fitted, resolved)
    lists = completeness(fitted)
    facts = fitted.model.facts
    return {
        "figures": _figures(folds),
        "left_out": left_out(fitted.evidence),
        "rivals": _rivals(fitted, folds),
        "reliability": reliability(folds),
        "groups": _groups(fitted, folds, families),
        "quarters": _quarters(quarters, names),
        "chart": _chart(fitted, quarters),
        "change": _change(fitted),
        "noise": [
            {"source": name, "rows": facts["rows"][name], "share": _r(fitted.model.noise[place], 5)} for place, name in enumerate(SOURCES)
        ],
        "drawings": {"bias": _r(fitted.model.drawing_bias, 5), "sd": _r(fitted.model.drawing_bias_sd, 5)},
        "together": [
            {"first": first, "second": second, "kg": _r(fitted.model.coef[place], 2)}
            for (first, second), place in zip(fitted.model.design.pairs, range(*_span(fitted.model.design.at.pair)), strict=True)
        ],
        "lists": lists.figures(),
        "short_lists": [asdict(one) for one in lists.bodies[:MOST_SHORT_LISTS]],
        "suspects": [asdict(one) for one in suspects(fitted, settings)],
        "vehicles": [asdict(one) for one in vehicle_offsets(fitted.evidence.history, fitted.usual)],
    }


def _r(value: float, places: int = 3) -> float:
    return round(float(value), places)


def _span(part: slice) -> tuple[int, int]:
    return part.start, part.stop


def score(tried: Tried) -> Row:
    """Error and coverage of some bodies in plain figures."""
    error, actual = tried.error_kg, tried.actual_kg
    if not len(error):
        return {"bodies": 0}
    return {
        "bodies": len(error),
        "rmse_kg": _r(np.sqrt(np.mean(error**2)), 2),
        "mape": _r(np.mean(np.abs(error) / actual), 4),
        "bias_kg": _r(np.mean(error), 2),
        "coverage_90": _r(np.mean(np.abs(error) <= tried.reach[:, LEVELS.index(0.9)])),
        "width_90_kg": _r(np.mean(2 * tried.reach[:, LEVELS.index(0.9)]), 1),
    }


def _figures(folds: Tried) -> Row:
    found = score(folds)
    if found["bodies"]:
        inside = round(found["coverage_90"] * 10, 1)
        found["said"] = (
            f"{inside:g} of 10 bodies fell inside the interval that was to hold 9; the usual error was {100 * found['mape']:.1f} %"
        )
    else:
        found["said"] = "too few weighed bodies to judge the model"
    return found


def reliability(tried: Tried) -> list[Row]:
    """Share of bodies inside the interval at each level, and the range that chance alone would leave it in."""
    count = len(tried.row)
    rows = []
    for place, level in enumerate(LEVELS):
        inside = int(np.sum(np.abs(tried.error_kg) <= tried.reach[:, place]))
        chance = 1.96 * np.sqrt(level * (1 - level) / max(count, 1))
        rows.append({
            "level": level, "bodies": count, "inside": inside, "share": _r(inside / count) if count else None,
            "chance_low": _r(max(level - chance, 0.0)), "chance_high": _r(min(level + chance, 1.0)),
        })  # fmt: skip
    return rows


def _rivals(fitted: Fitted, folds: Tried) -> list[Row]:
    """The ladder: the model and its rivals on the same bodies, by the same folds, largest error first."""
    bodies = _as_rivals_see(fitted)
    rows: list[Row] = []
    body, group = fitted.spoken.body, fitted.spoken.group
    place_of = {row: place for place, row in enumerate(body.tolist()) if row >= 0}
    test_rows = np.array([place_of[row] for row in folds.row.tolist()], dtype=np.int64)
    weighed = np.flatnonzero((fitted.spoken.source == WEIGHED) & (body >= 0))
    if len(weighed) < LEAST_RIVAL_ROWS or not len(test_rows):
        return rows
    for name, rival in RIVALS.items():
        error = np.empty(len(test_rows))
        for fold in np.unique(folds.fold):
            here = folds.fold == fold
            past = weighed[~np.isin(group[weighed], group[test_rows[here]])]
            error[here] = rival(bodies.at(past), bodies.at(test_rows[here])) - folds.actual_kg[here]
        rows.append(_rung(name, error, folds.actual_kg))
    rows.append(_rung("this model", folds.error_kg, folds.actual_kg))
    return sorted(rows, key=lambda row: -row["rmse_kg"])


def _rung(name: str, error: np.ndarray, actual: np.ndarray) -> Row:
    return {"way": name, "rmse_kg": _r(np.sqrt(np.mean(error**2)), 2), "mape": _r(np.mean(np.abs(error) / actual), 4)}


def _as_rivals_see(fitted: Fitted) -> Bodies:
    rows, plain = fitted.rows(), fitted.evidence.plain
    body = np.maximum(rows.body, 0)
    believed = np.maximum(rows.x @ fitted.model.design.prior, 1.0)
    return Bodies(rows.x, believed, plain.kind[body], plain.length_mm[body] * 1e-3, rows.y_kg)


def _groups(fitted: Fitted, folds: Tried, families: Sequence[str | None] | None) -> list[Row]:
    """Error by length, fit-out, kind, branch, size class, family, and by source out of fold."""
    bodies = fitted.evidence.history.bodies
    plain = fitted.evidence.plain
    lines = np.bincount(fitted.evidence.lines.body, weights=fitted.evidence.lines.qty, minlength=len(plain))
    parted = {
        "length": _thirds(plain.length_mm[folds.row], ("short", "middling", "long"), "mm"),
        "items": _thirds(lines[folds.row], ("plain", "middling", "full"), "items"),
        "kind": np.array(KINDS, dtype=object)[plain.kind[folds.row]],
        "branch": texts(bodies, "branch")[folds.row],
        "size class": texts(bodies, "size_class")[folds.row],
    }
    if families is not None:
        parted["family"] = np.array(list(families), dtype=object)[folds.row]
    rows = []
    for group, names in parted.items():
        for name in dict.fromkeys(sorted(str(one) for one in names.tolist() if one is not None)):
            rows.append({"group": group, "name": name, **score(folds.at(np.flatnonzero(names == name)))})
    told = fitted.told
    good = np.abs(told.z) < fitted.settings.flag
    for place, name in enumerate(SOURCES):
        here = (fitted.spoken.source == place) & good
        if here.any():
            error, mass = -told.residual_kg[here], told.mass_kg[here]
            rows.append({
                "group": "source", "name": name, "bodies": int(here.sum()), "rmse_kg": _r(np.sqrt(np.mean(error**2)), 2),
                "mape": _r(np.mean(np.abs(error) / mass), 4), "bias_kg": _r(np.mean(error), 2),
                "coverage_90": _r(np.mean(np.abs(error) <= fitted.model.reach(0.9) * told.sd_kg[here])),
                "width_90_kg": _r(np.mean(2 * fitted.model.reach(0.9) * told.sd_kg[here]), 1),
            })  # fmt: skip
    return rows


def _thirds(values: np.ndarray, names: tuple[str, str, str], unit: str) -> np.ndarray:
    """Each body's third, named with its bounds."""
    if not len(values):
        return np.zeros(0, dtype=object)
    low, high = np.quantile(values, [1 / 3, 2 / 3])
    labels = (f"{names[0]} (to {low:,.0f} {unit})", f"{names[1]}", f"{names[2]} (over {high:,.0f} {unit})")
    return np.array(labels, dtype=object)[(values > low).astype(int) + (values > high)]


def _quarters(tried: Tried, names: list[str]) -> list[Row]:
    return [{"quarter": name, **score(tried.at(np.flatnonzero(tried.fold == place)))} for place, name in enumerate(names)]


def _chart(fitted: Fitted, tried: Tried) -> Row:
    """Control charts of errors in predicted standard deviations, each body by a model that knew only the past."""
    keys, dated = body_keys(fitted.evidence.history.bodies), dates(fitted.evidence.history.bodies, "dated_on")
    single, mean = individuals(tried.z), ewma(tried.z, 0.0, 1.0)
    alarm = running_alarm(tried.z)
    points = [
        {"key": keys[row], "on": str(dated[row]), "z": _r(z), "ewma": _r(level), "beyond": bool(far or drifts)}
        for row, z, level, far, drifts in zip(tried.row.tolist(), tried.z, mean.values, single.beyond, mean.beyond, strict=True)
    ]
    if alarm is None:
        said = "errors scatter as they should"
    else:
        said = f"since {points[alarm]['on']} errors lean to one side: refit, or this is not your history"
    limits = {name: [_r(chart.low), _r(chart.centre), _r(chart.high)] for name, chart in (("single", single), ("ewma", mean))}
    return {"limits": limits, "points": points, "alarm": None if alarm is None else points[alarm]["key"], "said": said}


def _change(fitted: Fitted) -> Row:
    model = fitted.model
    tried = {name: _r(value, 5) for name, value in model.facts["change_tried"].items()}
    found: Row = {"way": model.facts["change"], "errors": tried, "yearly": []}
    if model.design.drifts:
        for place, name in zip(range(*_span(model.design.at.drift)), (*DRIFT_GROUPS, "others"), strict=True):
            sd = float(np.sqrt(np.sum(model.factor[place] ** 2)))
            found["yearly"].append({"group": name, "share": _r(model.coef[place] / 50.0, 4), "sd": _r(sd / 50.0, 4)})
    return found
