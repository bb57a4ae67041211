"""How far the mass model can be trusted: what its ranges promise and hold, and the long report of its fit."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from pipeline.answers.files import Rows
from pipeline.mass.model import Model
from pipeline.store import Edition
from pipeline.trends.bands import wilson

REPORT = "report.json"
"""Beside the model in the edition's folder, where the fit made one."""
_WAYS = {"drift": "parts get lighter or heavier year by year", "decay": "recent builds say more", "none": "no change over the years"}


@dataclass(frozen=True)
class Report:
    """The long report as tables; masses in kg, shares as fractions.

    Attributes:
        said: findings in words.
        rivals: `way, rmse_kg, mape`; groups: `group, name, bodies, …`; quarters: `quarter, bodies, …`.
        chart: rows of a control chart of errors in their predicted spread: `on, value, smoothed, centre, low, high, outside, job_id`.
        vehicles: how much heavier than their makers say, by variant.
    """

    said: tuple[str, ...]
    rivals: Rows
    groups: Rows
    quarters: Rows
    vehicles: Rows
    chart: Sequence[Mapping[str, Any]] = field(default_factory=tuple)


def promised_and_found(model: Model) -> list[dict[str, Any]]:
    """Promised and found coverage with a 95 % band: `level, covered, low, high, n`, rows for the reliability chart."""
    n = int(model.facts.get("rows", {}).get("weighed", 0))
    made = []
    for level, covered in model.facts.get("coverage", {}).items():
        low, high = wilson(np.array([round(covered * n)]), np.array([n]))
        made.append({"level": float(level), "covered": covered, "low": float(low[0]), "high": float(high[0]), "n": n})
    return made


def _lists_said(lists: Mapping[str, Any]) -> str:
    """How whole the lists of items are, and what whole ones would gain."""
    if not lists["error_now"]:
        return "too few bodies were weighed to tell whether items are missing from their lists"
    checked = f"; {lists['checked']:,} lists were checked by a person" if lists["checked"] else ""
    if not lists["share"]:
        return f"the masses show no items that were not written down (at most {100 * lists['share_high']:.1f} of 100){checked}"
    return (
        f"about {100 * lists['share']:.1f} of 100 items are not written down, by what the bodies weigh "
        f"(likely between {100 * lists['share_low']:.1f} and {100 * lists['share_high']:.1f}); "
        f"with whole lists the estimates' error would be {100 * lists['gain']:.0f} % smaller{checked}"
    )


def long_report(edition: Edition) -> Report | None:
    """The long report of an edition's fit; None: the fit made none."""
    path = edition.path / REPORT
    if not path.exists():
        return None
    found = json.loads(path.read_text("utf-8"))
    return Report(
        tuple(_said(found)),
        Rows.of(found["rivals"], ("way", "rmse_kg", "mape")),
        Rows.of(found["groups"], ("group", "name", "bodies", "rmse_kg", "mape", "bias_kg", "coverage_90", "width_90_kg")),
        Rows.of(found["quarters"], ("quarter", "bodies", "rmse_kg", "mape", "bias_kg", "coverage_90", "width_90_kg")),
        Rows.of(found["vehicles"], ("vehicle_id", "label", "tickets", "mean_kg", "sd_kg")),
        _chart(found["chart"]),
    )


def _said(found: Mapping[str, Any]) -> list[str]:
    change = found["change"]
    told = [found["figures"]["said"], f"control charts: {found['chart']['said']}"]
    told.append(f"change over the years: {_WAYS.get(change['way'], change['way'])}, chosen because it estimated the next quarters best")
    told.append(_lists_said(found["lists"]))
    return told


def _chart(chart: Mapping[str, Any]) -> list[dict[str, Any]]:
    low, centre, high = chart["limits"]["ewma"]
    return [
        {
            "on": point["on"], "value": point["z"], "smoothed": point["ewma"], "centre": centre, "low": low, "high": high,
            "outside": point["beyond"], "job_id": point["key"].partition("/")[0],
        }
        for point in chart["points"]
        if point["on"] != "NaT"
    ]  # fmt: skip
