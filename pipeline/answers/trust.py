"""How far the mass model can be trusted: what its ranges promise and hold, and the long report of its fit."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.answers.files import Rows
from pipeline.mass.model import Model
from pipeline.store import Edition
from pipeline.trends.bands import wilson

REPORT = "report.json"
"""Beside the model in the edition's folder, where the fit made one."""


def promised_and_found(model: Model) -> list[dict[str, Any]]:
    """Promised and found coverage with a 95 % band: `level, covered, low, high, n`, rows for the reliability chart."""
    n = int(model.facts["rows"].get("weighed", 0))
    made = []
    for level, covered in model.facts["coverage"].items():
        low, high = wilson(round(covered * n), n)
        made.append({"level": float(level), "covered": covered, "low": float(low), "high": float(high), "n": n})
    return made


def estimate_report(edition: Edition) -> Mapping[str, Rows] | None:
    """The tables of the long report, by name; None: the fit made none."""
    path = edition.path / REPORT
    if not path.exists():
        return None
    found = json.loads(path.read_text("utf-8"))
    return {name.replace("_", " "): _rows(part) for name, part in found.items() if isinstance(part, list) and part}


def _rows(part: Sequence[Mapping[str, Any]]) -> Rows:
    return Rows.of(part, list(dict.fromkeys(column for row in part for column in row)))
