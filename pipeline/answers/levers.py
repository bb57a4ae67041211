"""The smallest changes that give drafts their margins back, weighed by the mass model and laid beside alike past builds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np

from pipeline.answers.drafts import Drafts, Reject, read_drafts
from pipeline.answers.files import Rows
from pipeline.answers.vehicles import assessed_from, assessed_of, places_of, terms_for, work_of_drafts
from pipeline.frames import Columns, height, take
from pipeline.loads.cases import Assessed, Work, number, text
from pipeline.loads.cautions import CAUTIONS
from pipeline.loads.check import check
from pipeline.loads.levers import Levers, Proposal, beyond_levers, known_limits, needed, propose
from pipeline.loads.together import item_rules
from pipeline.loads.travel import brought, read_travel
from pipeline.mass.estimate import estimate, given_or_estimated
from pipeline.mass.estimate import read_drafts as read_bodies
from pipeline.mass.features import count_items, matrix
from pipeline.mass.items import with_items
from pipeline.mass.model import Model
from pipeline.settings import Settings
from pipeline.settings_loads import TravelLoad
from pipeline.store import Edition

COLUMNS = ("job_id", "rank", "changes", "saves_kg", "saves_low_kg", "saves_high_kg", "margin_kg", "p_over", "gone_without")
TOO_FEW = "too few"


@dataclass(frozen=True)
class LeversAnswer:
    """Proposals for each job that needs any.

    Attributes:
        levers: one entry a job, in the order of the drafts.
        gone_without: how many alike past builds went without what a proposal takes out, by job and rank.
        rejects: rows of the drafts that could not be used.
        level: share of outcomes between the low and high saving.
    """

    levers: Sequence[Levers]
    gone_without: Mapping[tuple[str, int], str | None]
    rejects: Sequence[Reject]
    level: float
    cautions: Sequence[str] = CAUTIONS

    def rows(self) -> Rows:
        """A row a proposal, the best first; rank 0 says that nothing is within reach, with the nearest miss."""
        found = []
        for one in self.levers:
            found += [self._row(one.job_id, rank, proposal, "") for rank, proposal in enumerate(one.proposals, 1)]
            if one.nearest is not None:
                found.append(self._row(one.job_id, 0, one.nearest, "nothing within reach; nearest: "))
        return Rows.of(found, COLUMNS)

    def _row(self, job_id: str, rank: int, proposal: Proposal, before: str) -> dict[str, Any]:
        half = NormalDist().inv_cdf(0.5 + self.level / 2) * proposal.saves_sd_kg
        said = " + ".join(change.said for change in proposal.changes) or "no change helps"
        after = f" (still short on {', '.join(proposal.short)})" if proposal.short else ""
        numbers = {
            "saves_kg": proposal.saves_kg, "saves_low_kg": proposal.saves_kg - half, "saves_high_kg": proposal.saves_kg + half,
            "margin_kg": proposal.margin_kg,
        }  # fmt: skip
        rounded = {name: None if np.isnan(value) else round(float(value), 1) for name, value in numbers.items()}
        without = self.gone_without.get((job_id, rank))
        return {
            "job_id": job_id, "rank": rank, "changes": f"{before}{said}{after}", **rounded, "p_over": round(float(proposal.p_over), 4),
            "gone_without": without,
        }  # fmt: skip

    def said(self) -> list[str]:
        """What stands beside the rows."""
        told = [str(reject) for reject in self.rejects]
        for one in self.levers:
            if one.beyond:
                told.append(f"{one.job_id}: over on {', '.join(one.beyond)}, which no change to the bodies alters")
            if not one.known:
                told.append(f"{one.job_id}: no limit has a verdict, so that nothing can be said of levers; `check` names what is missing")
            elif not one.needed:
                told.append(f"{one.job_id}: no lever is needed")
            if not one.proved:
                told.append(f"{one.job_id}: the search was cut short; a smaller set of changes may exist")
        return told

    @property
    def needs_a_look(self) -> bool:
        """Whether a row was rejected, or a job stands over a limit."""
        return bool(self.rejects) or any(one.needed or one.beyond for one in self.levers)


@dataclass
class ChangedBodies:
    """The mass model as levers asks it: changed bodies by the model, shifted by what is known of the unchanged ones."""

    model: Model
    settings: Settings
    bodies: Columns
    fitout: Columns
    _shift: dict[str, tuple[float, float, float, np.ndarray | None]] = field(init=False)

    def __post_init__(self) -> None:
        given = given_or_estimated(self.model, self.bodies, self.fitout)
        thought = estimate(self.model, self.bodies, self.fitout)
        self._shift = {}
        for row, body in enumerate(self.bodies["body"].tolist()):
            kg = given.estimate_kg[row] - thought.estimate_kg[row]
            along = given.com_x_mm[row] - thought.com_x_mm[row]
            across = given.com_y_mm[row] - thought.com_y_mm[row]
            own = None if given.source[row] == "estimate" else given.cov[row]
            self._shift[body] = (float(kg), float(along), float(across), own)

    def places(self, bodies: Columns, fitout: Columns) -> tuple[np.ndarray, np.ndarray]:
        """x and y of each line in its body's frame, mm."""
        return places_of(bodies, fitout, self.settings)

    def assess(self, bodies: Columns, fitout: Columns) -> Assessed:
        """Masses and centres of changed bodies: what was given, and by how much the model says that the changes alter it."""
        found = estimate(self.model, bodies, fitout)
        source = np.full(height(bodies), "estimate", dtype=object)
        known = assessed_from(found, self.model, source, self.settings)
        shifts = [self._shift[body] for body in bodies["body"].tolist()]
        kg, along, across = (np.array([one[axis] for one in shifts], float) for axis in range(3))
        cov = known.cov.copy()
        for row, (_, _, _, own) in enumerate(shifts):
            if own is not None:
                cov[row] = own
        return Assessed(known.kg + kg, known.com_x_mm + along, known.com_y_mm + across, cov, source, known.outside)

    def saving_sd(self, bodies: Columns, fitout: Columns, bodies_each: int) -> np.ndarray:
        """(variants,) spread of what each variant weighs less than the first: only the coefficients that differ matter."""
        drafts = read_bodies(self.model, bodies, fitout)
        counts = count_items(self.model.design, drafts.bodies, drafts.lines)
        rows = matrix(self.model.design, drafts.bodies, counts)
        sums = rows.reshape(-1, bodies_each, rows.shape[1]).sum(axis=1)
        return np.sqrt(np.square((sums - sums[0]) @ self.model.factor).sum(axis=1))


def levers_of_folder(edition: Edition, folder: Path, settings: Settings, travel: Path | None = None) -> LeversAnswer:
    """Levers for the drafts of a folder.

    Raises: NoModel: nothing was fitted yet; InputRefused: the drafts or the travel load cannot be used.
    """
    load = read_travel(travel, settings.travel) if travel else settings.travel
    model = Model.from_json(edition.model_text())
    return levers_of_drafts(edition, model, read_drafts(folder, edition, settings), settings, load)


def levers_of_drafts(edition: Edition, model: Model, drafts: Drafts, settings: Settings, travel: TravelLoad) -> LeversAnswer:
    """Levers for drafts that are frames already."""
    work = work_of_drafts(drafts, settings)
    terms, rules = terms_for(edition, work, settings), item_rules(work.items)
    zones = _zones(edition.cursor())
    model = with_items(model, drafts.items)
    assessed = assessed_of(model, work.bodies, work.fitout, settings)
    limits = check(work, assessed, travel, terms).limits
    short, known = needed(limits, settings.limits), known_limits(limits)
    found = []
    for job, job_id in enumerate(text(work.jobs, "job_id").tolist()):
        if not short[job]:
            found.append(Levers(job_id, False, (), None, beyond_levers(limits, job), known=bool(known[job])))
            continue
        rows = np.flatnonzero(work.job_of_body == job)
        body_model = ChangedBodies(model, settings, take(work.bodies, rows), _lines_of(work, rows))
        found.append(propose(work, job, body_model, brought(travel), terms, settings.levers, rules, zones))
    without = {}
    for job, one in enumerate(found):
        for rank, proposal in enumerate(one.proposals, 1):
            without[one.job_id, rank] = _gone_without(edition, work, job, proposal, settings)
    return LeversAnswer(found, without, drafts.rejects, settings.limits.level)


def _lines_of(work: Work, rows: np.ndarray) -> Columns:
    renumber = np.full(height(work.bodies), -1)
    renumber[rows] = np.arange(len(rows))
    lines = np.flatnonzero(renumber[work.body_of_line] >= 0)
    return take(work.fitout, lines) | {"body_row": renumber[work.body_of_line[lines]]}


def _zones(cursor: Any) -> dict[str, set[str]]:
    """Zones in which history has put each item."""
    found: dict[str, set[str]] = {}
    for item, zone in cursor.execute("SELECT DISTINCT item_id, zone FROM current_fitout WHERE zone IS NOT NULL ORDER BY ALL").fetchall():
        found.setdefault(item, set()).add(zone)
    return found


_WITHOUT = """
SELECT count(*) FROM (SELECT unnest($jobs) AS job_id, unnest($bodies) AS body) AS a
WHERE NOT EXISTS (
    SELECT 1 FROM current_fitout AS f WHERE f.job_id = a.job_id AND f.body = a.body AND list_contains($items, f.item_id)
)"""


def _gone_without(edition: Edition, work: Work, job: int, proposal: Proposal, settings: Settings) -> str | None:
    """How many builds alike went without what the proposal takes out; None where it takes nothing out.

    Where items leave several bodies of a job, the smallest count stands.
    """
    from pipeline.layouts.alike import Wanted, alike

    rows = np.flatnonzero(work.job_of_body == job)
    counts = []
    for body in sorted({change.body for change in proposal.changes if change.drops}):
        row = rows[body]
        lines = np.flatnonzero(work.body_of_line == row)
        items: dict[str, float] = {}
        for item, qty in zip(text(work.fitout, "item_id")[lines].tolist(), number(work.fitout, "qty")[lines].tolist(), strict=True):
            items[item] = items.get(item, 0.0) + (1.0 if np.isnan(qty) else qty)
        wanted = Wanted(text(work.bodies, "kind")[row], float(work.bodies["length_mm"][row]), items, text(work.bodies, "size_class")[row])
        found = alike(edition.cursor(), wanted, settings.layouts)
        if found.too_few:
            return TOO_FEW
        dropped = sorted({change.drops for change in proposal.changes if change.drops and change.body == body})
        values = {"jobs": found.bodies["job_id"].to_list(), "bodies": found.bodies["body"].to_list(), "items": dropped}
        ((count,),) = edition.cursor().execute(_WITHOUT, values).fetchall()
        counts.append((count, found.bodies.height))
    return "{} of {}".format(*min(counts)) if counts else None
