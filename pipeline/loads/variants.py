"""Changes that may be made to a draft, and many changed drafts at once as frames that the mass model can read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.contract.tables import PLACES, SIDES
from pipeline.frames import Columns, height, take
from pipeline.loads.cases import Work, number, text
from pipeline.loads.together import ItemRules
from pipeline.settings_loads import LeverSettings

SHORTER, SWAP, FEWER, LEAVE_OUT, MOVE, UPGRADE = "shorter", "swap", "fewer", "leave out", "move", "upgrade"
ZONES = tuple(f"{side}-{place}" for side in SIDES for place in PLACES)


@dataclass(frozen=True)
class Change:
    """One change to a draft.

    Attributes:
        kind: one of the constants above.
        said: the change in words.
        cost: how unwelcome it is beside other changes; the number of changes always comes first.
        body, line: row of the body, and of the fit-out line it is made to (-1: the body itself).
        length_mm, item_id, qty, zone: what it becomes, where that changes.
        step: how far along its own chain (shorter, fewer): a further step of the same chain is never the smaller change.
        drops: item that the change takes out of the body altogether, if any.
    """

    kind: str
    said: str
    cost: int
    body: int = -1
    line: int = -1
    length_mm: float = np.nan
    item_id: str | None = None
    qty: float = np.nan
    zone: str | None = None
    step: int = 0
    drops: str | None = None

    @property
    def spot(self) -> tuple[int, int]:
        """What it is made to; a spot takes one change at most."""
        return self.body, self.line


def one_job(work: Work, job: int) -> Work:
    """The frames of one job alone, alike fit-out lines brought together.

    Lines are alike where body, item, own length, zone and place are the same; their quantities add up.
    """
    job_id = text(work.jobs, "job_id")[job]
    rows = np.flatnonzero(work.job_of_body == job)
    renumber = np.full(height(work.bodies), -1)
    renumber[rows] = np.arange(len(rows))
    lines = np.flatnonzero(renumber[work.body_of_line] >= 0)
    fitout = take(work.fitout, lines)
    fitout["body_row"] = renumber[work.body_of_line[lines]]
    return replace(
        work,
        jobs=take(work.jobs, np.array([job])),
        bodies=take(work.bodies, rows),
        fitout=_brought_together(fitout),
        on_vehicle=take(work.on_vehicle, np.flatnonzero(text(work.on_vehicle, "job_id") == job_id)),
        weighings=take(work.weighings, np.flatnonzero(text(work.weighings, "job_id") == job_id)),
    )


def _brought_together(fitout: Columns) -> Columns:
    keys: dict[tuple[object, ...], int] = {}
    names = ("body_row", "item_id", "zone", "length_mm", "x_mm", "y_mm")
    columns = [fitout[name].astype(str).tolist() if name in fitout else [""] * height(fitout) for name in names]
    first = [keys.setdefault(key, row) for row, key in enumerate(zip(*columns, strict=True))]
    qty = np.where(np.isnan(number(fitout, "qty")), 1.0, number(fitout, "qty"))
    kept = np.array(sorted(keys.values()), dtype=np.int64)
    out = take(fitout, kept)
    out["qty"] = np.bincount(np.array(first, dtype=np.int64), weights=qty, minlength=height(fitout))[kept]
    return out


def possible(work: Work, rules: ItemRules, settings: LeverSettings, moves: bool, zones: Mapping[str, Iterable[str]] | None) -> list[Change]:
    """Every single change to the bodies of a job (`one_job`), in a fixed order.

    Args:
        moves: whether moving an item can alter a limit (an axle or the side balance has a verdict).
        zones: where history has put each item; None: any zone.
    """
    found = [change for body in range(height(work.bodies)) for change in _shorter(work, body, settings)]
    for line in range(height(work.fitout)):
        found += [*_fewer(work, line, rules, settings), *_swaps(work, line, rules, settings)]
        if moves:
            found += _moves(work, line, rules, settings, zones)
    return found


def _shorter(work: Work, body: int, settings: LeverSettings) -> Iterable[Change]:
    length, name = float(work.bodies["length_mm"][body]), work.bodies["body"][body]
    for step in range(1, settings.most_steps + 1):
        shorter = length - step * settings.length_step_mm
        if shorter >= settings.shortest_body_mm:
            said = f"{name} {shorter:.0f} mm long in place of {length:.0f}"
            yield Change(SHORTER, said, settings.shorter * step, body, length_mm=shorter, step=step)


def _fewer(work: Work, line: int, rules: ItemRules, settings: LeverSettings) -> Iterable[Change]:
    body, item = int(work.fitout["body_row"][line]), work.fitout["item_id"][line]
    qty, name = float(work.fitout["qty"][line]), rules.name(item)
    same = (work.fitout["body_row"] == body) & (work.fitout["item_id"] == item)
    of_all = float(work.fitout["qty"][same].sum())
    where = f" ({_place(work, line)})" if same.sum() > 1 else ""
    steps = max(int(np.ceil(qty)), 1)
    for step in range(1, steps + 1):
        left = max(qty - step, 0.0)
        remain = of_all - (qty - left)
        if remain > 0:
            said = f"{remain:g} × {name} in place of {of_all:g}{where}"
            yield Change(FEWER, said, settings.fewer * step, body, line, qty=left, step=step)
        else:
            cost = settings.leave_out + settings.fewer * (step - 1)
            yield Change(LEAVE_OUT, f"leave out {name}", cost, body, line, qty=0.0, step=step, drops=item)


def _swaps(work: Work, line: int, rules: ItemRules, settings: LeverSettings) -> Iterable[Change]:
    body, item = int(work.fitout["body_row"][line]), work.fitout["item_id"][line]
    dated = work.bodies["dated_on"][body] if "dated_on" in work.bodies else np.datetime64("NaT", "D")
    for other, replaces in sorted(rules.instead_of.items()):
        retired = other in rules.retired_on and not dated < rules.retired_on[other]
        if item in replaces and other != item and not retired:
            said = f"{rules.name(other)} in place of {rules.name(item)}"
            yield Change(SWAP, said, settings.swap, body, line, item_id=other, drops=item)


def _moves(work: Work, line: int, rules: ItemRules, settings: LeverSettings, zones: Mapping[str, Iterable[str]] | None) -> Iterable[Change]:
    body, item = int(work.fitout["body_row"][line]), work.fitout["item_id"][line]
    now = text(work.fitout, "zone")[line]
    if now not in ZONES:
        return
    known = ZONES if zones is None else set(zones.get(item, ()))
    for zone in ZONES:
        if zone != now and zone in known:
            said = f"{rules.name(item)} at {_words(zone)} in place of {_words(now)}"
            yield Change(MOVE, said, settings.move, body, line, zone=zone)


def _place(work: Work, line: int) -> str:
    zone = text(work.fitout, "zone")[line]
    return f"one less at {_words(zone)}" if zone else "one less"


def _words(zone: str) -> str:
    return zone.replace("-", " ")


@dataclass(frozen=True)
class Stack:
    """Variants of one job as one set of frames: bodies of variant v are rows v·B to (v+1)·B; jobs are named by v."""

    work: Work
    count: int
    bodies_each: int


def stacked(work: Work, sets: Sequence[Sequence[Change]]) -> Stack:
    """Frames with each set of changes made to a copy of the job; an empty set is the draft as it stands."""
    count, bodies_each = len(sets), height(work.bodies)
    bodies = take(work.bodies, np.tile(np.arange(bodies_each), count))
    lines_each = height(work.fitout)
    fitout = take(work.fitout, np.tile(np.arange(lines_each), count))
    variant = np.repeat(np.arange(count), lines_each)
    fitout["body_row"] = fitout["body_row"] + variant * bodies_each
    for name in ("x_mm", "y_mm"):
        fitout.setdefault(name, np.full(len(variant), np.nan))
    fitout.setdefault("zone", np.full(len(variant), None, dtype=object))
    for place, changes in enumerate(sets):
        for change in changes:
            _make(change, bodies, fitout, place * bodies_each, place * lines_each)
    names = np.array([str(place) for place in range(count)], dtype=object)
    bodies["job_id"] = np.repeat(names, bodies_each)
    fitout = take(fitout, np.flatnonzero(fitout["qty"] > 0))
    jobs = take(work.jobs, np.zeros(count, np.int64))
    jobs["job_id"] = names
    parts = height(work.on_vehicle)
    on_vehicle = take(work.on_vehicle, np.tile(np.arange(parts), count))
    on_vehicle["job_id"] = np.repeat(names, parts)
    made = replace(
        work, jobs=jobs, bodies=bodies, fitout=fitout, on_vehicle=on_vehicle, weighings=take(work.weighings, np.zeros(0, np.int64))
    )
    return Stack(made, count, bodies_each)


def _make(change: Change, bodies: Columns, fitout: Columns, body_start: int, line_start: int) -> None:
    if change.kind == SHORTER:
        bodies["length_mm"][body_start + change.body] = change.length_mm
        return
    line = line_start + change.line
    if not np.isnan(change.qty):
        fitout["qty"][line] = change.qty
    if change.item_id is not None:
        fitout["item_id"][line] = change.item_id
    if change.zone is not None:
        fitout["zone"][line] = change.zone
        fitout["x_mm"][line] = fitout["y_mm"][line] = np.nan
