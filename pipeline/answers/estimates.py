"""Mass estimates of drafts: the short way from a folder of drafts to rows with interval and standing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.answers.drafts import Drafts, Reject, read_drafts
from pipeline.answers.files import Rows
from pipeline.mass.estimate import Estimates, given_or_estimated
from pipeline.mass.items import with_items
from pipeline.mass.model import Model
from pipeline.settings import Settings
from pipeline.store import Edition

COLUMNS = (
    "job_id",
    "body",
    "estimate_kg",
    "low_kg",
    "high_kg",
    "level",
    "com_x_mm",
    "com_x_low_mm",
    "com_x_high_mm",
    "com_y_mm",
    "com_y_low_mm",
    "com_y_high_mm",
    "standing",
    "why",
    "nearest",
)
_TENTHS = tuple(column for column in COLUMNS if column.endswith(("_kg", "_mm")))


@dataclass(frozen=True)
class DraftEstimates:
    """An answer in rows, and the rows of the drafts that could not be used."""

    rows: Rows
    rejects: Sequence[Reject]


def estimate_drafts(edition: Edition, folder: Path, settings: Settings, level: float = 0.9, nearest: int = 0) -> DraftEstimates:
    """Estimate every body of a draft folder, a row a body in the order of the folder.

    Args:
        level: how much of such bodies the interval should hold, 0.50 to 0.99.
        nearest: how many of the nearest weighed builds to name.
    Raises: NoModel, InputRefused, WrongCall (level).
    """
    drafts = read_drafts(folder, edition, settings)
    model = with_items(Model.from_json(edition.model_text()), drafts.items)
    found = given_or_estimated(model, drafts.bodies, drafts.fitout, level)
    standing, why = with_unknown_items(drafts, found)
    frame = {
        "job_id": drafts.bodies["job_id"],
        "body": drafts.bodies["body"],
        "level": np.full(len(standing), level),
        **{column: np.round(getattr(found, column), 1) for column in _TENTHS},
        "standing": standing,
        "why": why,
        "nearest": _nearest(edition, drafts, nearest),
    }
    return DraftEstimates(Rows.of_columns(frame, COLUMNS), drafts.rejects)


def with_unknown_items(drafts: Drafts, found: Estimates) -> tuple[np.ndarray, np.ndarray]:
    """Standing and reason of each body; an item that nobody knows puts it outside, and is said first."""
    standing, why = found.standing.copy(), found.why.copy()
    unknown: dict[str, list[str]] = {}
    for reject in drafts.rejects:
        if reject.table == "fitout":
            unknown.setdefault(reject.key, []).append(reject.value if reject.rule == "unknown-item" else f"line {reject.line}")
    for row, (job_id, revision, body) in enumerate(zip(*(drafts.bodies[name] for name in ("job_id", "revision", "body")), strict=True)):
        missing = unknown.get("/".join(part for part in (job_id, revision, body) if part))
        if missing:
            standing[row] = "outside"
            said = f"estimated without {', '.join(missing)}, which is not in the list of items or could not be read"
            why[row] = f"{said}; {why[row]}" if why[row] else said
    return standing, why


def _nearest(edition: Edition, drafts: Drafts, count: int) -> np.ndarray:
    told = np.full(len(drafts.bodies["job_id"]), None, dtype=object)
    if count < 1:
        return told
    from pipeline.answers.nearest import nearest_builds

    for row, builds in enumerate(nearest_builds(edition, drafts.bodies, drafts.fitout, count)):
        told[row] = "; ".join(f"{build.job_id}/{build.body} {build.mass_kg:g} kg" for build in builds)
    return told
