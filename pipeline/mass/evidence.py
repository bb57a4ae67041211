"""Which records speak in the fit, and how: weighed bodies, drawings, drawings beside scales, and differences of tickets.

Rows of one drawing are one group with one drawn mass; a refit is no second body, another maker's body is none of ours,
and an approximate length stays out. Nothing is dropped in silence: every body has a reason.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

import numpy as np

from pipeline.frames import Columns, height, take
from pipeline.mass.bodies import Lines, Plain, dates, numbers, texts
from pipeline.mass.design import DRAWN, PAIRED, TICKET, WEIGHED, Design
from pipeline.mass.features import count_items, matrix
from pipeline.mass.tickets import Readings
from pipeline.settings_mass import MassSettings

USED, NO_MASS, REFIT, OTHER_MAKER, APPROXIMATE, SHORT, SETTLED = range(7)
REASONS = (
    "in the fit",
    "no mass",
    "work on an older body",
    "another maker's body",
    "length is approximate",
    "its list of items is short",
    "settled as wrong by a person",
)

BLOCK = 50_000


@dataclass(frozen=True)
class History:
    """The frames of a store from which the model is fitted (house frames; the last two may be empty).

    Attributes:
        settled: what a person settled: table, key (`job_id/body` or `job_id/ticket`), verdict (`right`, `wrong`,
            `corrected`), column, value, who, on.
    """

    bodies: Columns
    fitout: Columns
    items: Columns
    vehicles: Columns = field(default_factory=dict)
    upgrades: Columns = field(default_factory=dict)
    jobs: Columns = field(default_factory=dict)
    on_vehicle: Columns = field(default_factory=dict)
    weighings: Columns = field(default_factory=dict)
    settled: Columns = field(default_factory=dict)


@dataclass(frozen=True)
class Rows:
    """The rows of the fit.

    Attributes:
        x: (n, p) design; the drawing's column is left at 0 where the fit itself puts the mass by the model.
        y_kg: (n,) reading; drawn minus weighed for PAIRED.
        source: (n,) WEIGHED, DRAWN, TICKET or PAIRED.
        paired_kg: (n,) the weighed mass that a PAIRED row stands beside, else NaN.
        fixed_var: (n,) variance that the scale's division and unknown fuel bring, kg².
        shared: (n,) sum of squares of the bodies' shares of a row's mass (1 for one body).
        weight: (n,) prior weight: age, company of one drawing.
        robust: (n,) weight by residual, of the last pass (1 of a good row).
        trusted: (n,) a person said it is right: never weighed down.
        group: (n,) rows of one group are left out together.
        body: (n,) position in the history's bodies, −1 for tickets and drawings of several bodies.
        years: (n,) date against the newest record.
    """

    x: np.ndarray
    y_kg: np.ndarray
    source: np.ndarray
    paired_kg: np.ndarray
    fixed_var: np.ndarray
    shared: np.ndarray
    weight: np.ndarray
    robust: np.ndarray
    trusted: np.ndarray
    group: np.ndarray
    body: np.ndarray
    years: np.ndarray

    def __len__(self) -> int:
        return len(self.y_kg)

    def at(self, index: np.ndarray | slice) -> Rows:
        """The rows at `index`."""
        return Rows(**{name: getattr(self, name)[index] for name in self.__dataclass_fields__})


def body_keys(bodies: Columns, rows: np.ndarray | slice = slice(None)) -> np.ndarray:
    """`job_id/body` of all bodies, or of those at `rows`; a text each, so that few are better than all."""
    jobs, names = texts(bodies, "job_id")[rows].tolist(), texts(bodies, "body")[rows].tolist()
    keys = np.empty(len(jobs), dtype=object)
    keys[:] = [f"{job}/{name}" for job, name in zip(jobs, names, strict=True)]
    return keys


def settle(history: History) -> tuple[History, set[str], set[str]]:
    """Apply what people settled.

    Returns: the history with corrected values; keys settled as wrong; keys settled as right or corrected.
    """
    if not height(history.settled):
        return history, set(), set()
    bodies = dict(history.bodies)
    place = {key: row for row, key in enumerate(body_keys(bodies).tolist())}
    wrong: set[str] = set()
    right: set[str] = set()
    settled = history.settled
    values = numbers(settled, "value")
    told = zip(texts(settled, "table"), texts(settled, "key"), texts(settled, "verdict"), texts(settled, "column"), values, strict=True)
    for table, key, verdict, column, value in told:
        (wrong if verdict == "wrong" else right).add(key)
        if verdict == "corrected" and table == "bodies" and key in place and column in bodies and not np.isnan(value):
            bodies[column] = bodies[column].copy()
            bodies[column][place[key]] = value
            right.add(key)
        if verdict != "wrong":
            wrong.discard(key)
    return History(**{**history.__dict__, "bodies": bodies}), wrong, right


def reasons(bodies: Columns, wrong: set[str]) -> np.ndarray:
    """(n,) why each body may not speak, or USED, or NO_MASS."""
    found = np.full(height(bodies), USED, dtype=np.int8)
    found[np.isnan(numbers(bodies, "weighed_kg")) & np.isnan(numbers(bodies, "cad_kg"))] = NO_MASS
    found[numbers(bodies, "list_short") == 1] = SHORT
    found[numbers(bodies, "length_approximate") == 1] = APPROXIMATE
    origin = texts(bodies, "origin")
    found[origin == "refit"] = REFIT
    found[origin == "other-maker"] = OTHER_MAKER
    if wrong:
        found[[key in wrong for key in body_keys(bodies).tolist()]] = SETTLED
    return found


def groups(bodies: Columns) -> np.ndarray:
    """(n,) number of each body's group: one drawing, or the body that a repeat repeats, else itself.

    A group is numbered by the first of its bodies; only bodies with a drawing or a forerunner are looked at one by one.
    """
    drawing, like = texts(bodies, "drawing"), texts(bodies, "same_as")
    number = np.arange(len(drawing))
    drawn = np.flatnonzero(drawing.astype(bool))
    first: dict[str, int] = {}
    number[drawn] = [first.setdefault(drawing[row], row) for row in drawn.tolist()]
    repeats = np.flatnonzero((texts(bodies, "origin") == "repeat") & like.astype(bool) & ~drawing.astype(bool))
    if len(repeats):
        wanted = set(like[repeats].tolist())
        place = {key: row for row, key in enumerate(body_keys(bodies).tolist()) if key in wanted}
        lead: dict[str, int] = {}
        for row in repeats.tolist():
            forerunner = place.get(like[row])
            number[row] = number[forerunner] if forerunner is not None else lead.setdefault(like[row], row)
    return number


def newest(bodies: Columns) -> np.datetime64:
    """Date of the newest record; 1 January 2000 where nothing is dated, which then means nothing."""
    dated = dates(bodies, "dated_on")
    dated = dated[~np.isnat(dated)]
    return dated.max() if len(dated) else np.datetime64("2000-01-01")


@dataclass(frozen=True)
class Evidence:
    """A history made ready for the fit.

    Attributes:
        plain, lines: all its bodies and their fit-out as numbers, in order.
        usual: measures of the usual body of each kind.
        reason: (n,) as `reasons` says.  group: (n,) as `groups` says.
        right: keys that a person settled as right.
        readings: differences of tickets.
    """

    history: History
    plain: Plain
    lines: Lines
    usual: dict[str, dict[str, float]]
    reason: np.ndarray
    group: np.ndarray
    right: set[str]
    readings: Readings

    def keys(self, told: np.ndarray) -> np.ndarray:
        """`job_id/body` or `job_id/ticket` of rows by their `Spoken.key`."""
        keys = np.empty(len(told), dtype=object)
        ticket = told < 0
        keys[ticket] = self.readings.key[-1 - told[ticket]]
        keys[~ticket] = body_keys(self.history.bodies, told[~ticket])
        return keys


@dataclass(frozen=True)
class Spoken:
    """Rows of the fit before their design, (k,) each; a row's bodies are the next `sizes` positions of `members`.

    Attributes:
        key: position of the body that a row is named by, −1 − position of the ticket's reading (`Evidence.keys` tells the text).
    """

    source: np.ndarray
    sizes: np.ndarray
    members: np.ndarray
    y_kg: np.ndarray
    fixed_var: np.ndarray
    weight: np.ndarray
    group: np.ndarray
    years: np.ndarray
    key: np.ndarray
    paired_kg: np.ndarray
    trusted: np.ndarray

    def __len__(self) -> int:
        return len(self.source)

    @property
    def body(self) -> np.ndarray:
        """(k,) position of a row's one body, −1 where it speaks of several, or of a drawing beside a scale."""
        single = (self.sizes == 1) & (self.source != PAIRED)
        return np.where(single, self.members[self._starts], -1) if len(self) else self._starts

    @cached_property
    def _starts(self) -> np.ndarray:
        return np.cumsum(self.sizes) - self.sizes

    def at(self, index: np.ndarray) -> Spoken:
        """The rows at `index`, their bodies with them."""
        start = self._starts
        sizes = self.sizes[index]
        inner = np.arange(sizes.sum()) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        members = self.members[np.repeat(start[index], sizes) + inner]
        rest = {name: getattr(self, name)[index] for name in Spoken.__dataclass_fields__ if name not in ("sizes", "members")}
        return Spoken(sizes=sizes, members=members, **rest)


def gather(design: Design, evidence: Evidence, settings: MassSettings, most: int | None = None) -> Rows:
    """The rows of the fit, from all sources: scales, drawings, drawings beside scales, tickets.

    Args:
        most: take no more rows than that, evenly over history.
    """
    spoken = spoken_of(evidence, settings)
    if most is not None and len(spoken) > most:
        spoken = spoken.at(np.linspace(0, len(spoken) - 1, most).astype(np.int64))
    return rows_of(design, evidence, spoken, settings)


def spoken_of(evidence: Evidence, settings: MassSettings) -> Spoken:
    """What speaks in the fit, from all sources, one after the other."""
    parts = _parts(evidence, settings)
    return Spoken(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in Spoken.__dataclass_fields__})


class Stock(Protocol):
    """Bodies and their lines as numbers (evidence has them, and so has a part of it)."""

    @property
    def plain(self) -> Plain: ...
    @property
    def lines(self) -> Lines: ...


def rows_of(design: Design, stock: Stock, spoken: Spoken, settings: MassSettings) -> Rows:
    """What was spoken, with its design."""
    x, body, shared = _design_of(design, stock, spoken)
    age = 0.5 ** (-spoken.years / settings.half_life_years) if settings.change == "decay" else 1.0
    return Rows(
        x=x,
        y_kg=spoken.y_kg,
        source=spoken.source,
        paired_kg=spoken.paired_kg,
        fixed_var=spoken.fixed_var,
        shared=shared,
        weight=spoken.weight * age,
        robust=np.ones(len(x)),
        trusted=spoken.trusted,
        group=spoken.group,
        body=body,
        years=spoken.years,
    )


def _design_of(design: Design, stock: Stock, part: Spoken) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Design, position of the one body (else −1) and shared square of each row.

    A drawing's row is the mean of its bodies, a ticket's the sum; beside a scale only the drawing's bias is left.
    """
    count = len(part.source)
    x, shared = np.zeros((count, design.at.count)), np.ones(count)
    start, body = np.cumsum(part.sizes) - part.sizes, part.body
    fill_matrix(design, stock, body, x)
    for row in np.flatnonzero((part.sizes > 1) & (part.source != PAIRED)):
        each = body_matrix(design, stock, part.members[start[row] : start[row] + part.sizes[row]])
        x[row] = each.sum(axis=0) if part.source[row] == TICKET else each.mean(axis=0)
        if part.source[row] == TICKET:
            mass = each @ design.prior
            shared[row] = float(np.sum(mass**2) / max(np.sum(mass), 1.0) ** 2)
    paired = part.source == PAIRED
    x[paired, design.at.drawing] = part.paired_kg[paired]
    return x, body, shared


def _parts(evidence: Evidence, settings: MassSettings) -> list[Spoken]:
    bodies, group, years, readings = evidence.history.bodies, evidence.group, evidence.plain.years, evidence.readings
    weighed, drawn = numbers(bodies, "weighed_kg"), numbers(bodies, "cad_kg")
    step = numbers(bodies, "scale_step_kg")
    step_var = np.where(np.isnan(step), settings.unknown_step_kg, step) ** 2 / 12.0
    scale = np.flatnonzero((evidence.reason == USED) & ~np.isnan(weighed))
    count = group.max(initial=0) + 1
    company = np.bincount(group[scale], minlength=count)
    alike = 1.0 / (1.0 + (company - 1.0) * settings.alike_correlation)
    paper = np.flatnonzero((evidence.reason == USED) & ~np.isnan(drawn))
    paper = paper[np.argsort(group[paper], kind="stable")]
    starts = np.flatnonzero(np.diff(group[paper], prepend=-1))
    sizes = np.diff(starts, append=len(paper))
    lead = paper[starts]
    reading = np.add.reduceat(drawn[paper], starts) / sizes if len(paper) else np.zeros(0)
    times = np.maximum(company, 1)
    scale_kg = (np.bincount(group[scale], weights=weighed[scale], minlength=count) / times)[group[lead]]
    scale_var = (np.bincount(group[scale], weights=step_var[scale], minlength=count) / times**2)[group[lead]]
    beside = company[group[lead]] > 0

    def on_paper(source: int, which: np.ndarray) -> Spoken:
        rows, paired = lead[which], source == PAIRED
        base = scale_kg[which] if paired else np.zeros(len(rows))
        return Spoken(
            source=np.full(len(rows), source, dtype=np.int8), sizes=sizes[which], members=paper[np.repeat(which, sizes)],
            y_kg=reading[which] - base, fixed_var=scale_var[which] * paired, weight=np.ones(len(rows)),
            group=group[rows] + count * paired, years=years[rows], key=rows,
            paired_kg=base if paired else np.full(len(rows), np.nan), trusted=_are_right(evidence, rows),
        )  # fmt: skip

    on_scale = Spoken(
        source=np.full(len(scale), WEIGHED, dtype=np.int8), sizes=np.ones(len(scale), dtype=np.int64), members=scale, y_kg=weighed[scale],
        fixed_var=step_var[scale], weight=alike[group[scale]], group=group[scale], years=years[scale], key=scale,
        paired_kg=np.full(len(scale), np.nan), trusted=_are_right(evidence, scale),
    )  # fmt: skip
    each = np.array([len(rows) for rows in readings.bodies], dtype=np.int64)
    tickets = -1 - np.arange(len(readings))
    by_ticket = Spoken(
        source=np.full(len(readings), TICKET, dtype=np.int8), sizes=each, members=np.concatenate([*readings.bodies, scale[:0]]),
        y_kg=readings.kg, fixed_var=readings.var, weight=np.ones(len(readings)), years=readings.years, key=tickets,
        group=np.array([group[rows[0]] for rows in readings.bodies], dtype=np.int64), paired_kg=np.full(len(readings), np.nan),
        trusted=_are_right(evidence, tickets),
    )  # fmt: skip
    return [on_scale, on_paper(DRAWN, ~beside), on_paper(PAIRED, beside), by_ticket]


def _are_right(evidence: Evidence, told: np.ndarray) -> np.ndarray:
    """(n,) which rows a person settled as right, by their `Spoken.key`."""
    if not evidence.right:
        return np.zeros(len(told), dtype=bool)
    return np.array([key in evidence.right for key in evidence.keys(told).tolist()], dtype=bool)


def fill_matrix(design: Design, stock: Stock, bodies: np.ndarray, out: np.ndarray) -> None:
    """Write the design of `bodies` (−1: leave it) into `out`, a block at a time, so that no second copy is made."""
    for start in range(0, len(bodies), BLOCK):
        at = start + np.flatnonzero(bodies[start : start + BLOCK] >= 0)
        out[at] = body_matrix(design, stock, bodies[at])


def body_matrix(design: Design, stock: Stock, rows: np.ndarray) -> np.ndarray:
    """(len(rows), p) design of the bodies at `rows`."""
    bodies = stock.plain.rows(rows)
    return matrix(design, bodies, count_items(design, bodies, stock.lines.of(rows)))


def only(history: History, index: np.ndarray) -> History:
    """The history of some of its bodies: their lines and tickets with them."""
    new = np.full(height(history.bodies), -1, dtype=np.int64)
    new[index] = np.arange(len(index))
    bodies = take(history.bodies, index)
    kept = new[history.fitout["body_row"].astype(np.int64)]
    fitout = take(history.fitout, kept >= 0)
    fitout["body_row"] = kept[kept >= 0]
    jobs = set(texts(bodies, "job_id").tolist())
    weighings = history.weighings
    if height(weighings):
        weighings = take(weighings, np.array([job in jobs for job in weighings["job_id"].tolist()], dtype=bool))
    return History(**{**history.__dict__, "bodies": bodies, "fitout": fitout, "weighings": weighings})
