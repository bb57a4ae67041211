"""Draw jobs, bodies and fit-out of the invented workshop: what is built, before anybody weighs it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .catalogue import ITEMS, USUAL_LENGTHS_MM, VEHICLES, Vehicle
from .effects import Effects

DAY = np.timedelta64(1, "D")
POSITION = {item.item_id: number for number, item in enumerate(ITEMS)}
_FREE = np.array([item.side == "free" for item in ITEMS])
_OUTER = np.array([item.side == "outer" for item in ITEMS])
_IN_PAIRS = np.array([item.item_id in ("drawer-low", "shelf-run", "side-box", "work-light") for item in ITEMS])


@dataclass
class Jobs:
    """One entry a job, by date of quote: (n_jobs,) arrays."""

    draft: np.ndarray
    vehicle: np.ndarray
    branch: np.ndarray
    kinds: list[tuple[str, ...]]
    quoted_on: np.ndarray
    ordered_on: np.ndarray
    delivered_on: np.ndarray
    lost_on: np.ndarray
    status: np.ndarray
    repeat_of: np.ndarray


@dataclass
class Bodies:
    """One entry a body, in the order of jobs: (n_bodies,) arrays."""

    job: np.ndarray
    kind: np.ndarray
    length_mm: np.ndarray
    width_mm: np.ndarray
    height_mm: np.ndarray
    sheet_mm: np.ndarray
    floor_mm: np.ndarray
    doors: np.ndarray
    painted: np.ndarray
    family: np.ndarray


@dataclass
class Lines:
    """One entry a fit-out line, in the order of bodies: (n_lines,) arrays; `side` is -1 left, 0 middle, 1 right."""

    body: np.ndarray
    item: np.ndarray
    qty: np.ndarray
    side: np.ndarray
    x_mm: np.ndarray
    y_mm: np.ndarray


def draw_jobs(rng: np.random.Generator, bodies: int, drafts: int, years: int, effects: Effects) -> Jobs:
    """Jobs for `bodies` bodies of history and `drafts` drafts, with the dates of their lives."""
    vehicle_of, kinds = [], []
    marks = []
    shares = np.array([vehicle.share for vehicle in VEHICLES])
    for wanted, mark in ((bodies, False), (drafts, True)):
        count = 0
        while count < wanted:
            vehicle = int(rng.choice(len(VEHICLES), p=shares / shares.sum()))
            kind = _kinds(rng, VEHICLES[vehicle], wanted - count, effects)
            vehicle_of.append(vehicle)
            kinds.append(kind)
            marks.append(mark)
            count += len(kind)
    draft = np.array(marks)
    quoted = _quote_dates(rng, draft, years, effects)
    order = np.argsort(quoted, kind="stable")
    draft, quoted = draft[order], quoted[order]
    branch = rng.choice(np.array(["harbour", "ridge", "plains"], dtype=object), len(quoted), p=[0.5, 0.3, 0.2])
    lives = _lives(rng, quoted, draft, effects)
    jobs = Jobs(draft, np.array(vehicle_of)[order], branch, [kinds[number] for number in order], quoted, *lives, np.full(len(quoted), -1))
    _repeat(rng, jobs, effects)
    return jobs


def _kinds(rng: np.random.Generator, vehicle: Vehicle, room: int, effects: Effects) -> tuple[str, ...]:
    if vehicle.size_class == "truck":
        return ("box",) if rng.random() < 0.6 else ("tray",)
    if room >= 2 and rng.random() < effects.pairs:
        return ("canopy", "tray")
    return ("canopy",) if rng.random() < 0.8 else ("tray",)


def _quote_dates(rng: np.random.Generator, draft: np.ndarray, years: int, effects: Effects) -> np.ndarray:
    days = round(365.25 * years)
    # without lost quotes every job of history is delivered, so the last quotes stop half a year before the newest record
    settled = 0 if effects.lost else 130
    first, last = np.zeros(len(draft)), np.full(len(draft), float(days - settled))
    if effects.split == "time":
        first[draft], last[draft] = days - 365 - settled, days - settled
        last[~draft] = days - 365 - settled - 130
    quoted = first + (last - first) * rng.random(len(draft))
    return effects.newest - (days - quoted).astype("timedelta64[D]")


def _lives(rng: np.random.Generator, quoted: np.ndarray, draft: np.ndarray, effects: Effects) -> tuple[np.ndarray, ...]:
    n = len(quoted)
    never = np.full(n, np.datetime64("NaT", "D"))
    won = rng.random(n) >= effects.lost
    spread = 0.7 if effects.lost else 0.3
    ordered = quoted + np.ceil(rng.lognormal(np.log(18), spread, n)).astype("timedelta64[D]")
    delivered = ordered + rng.integers(30, 75, n).astype("timedelta64[D]")
    lost = quoted + np.ceil(rng.lognormal(np.log(40), 0.8, n)).astype("timedelta64[D]")
    marked = ~won & (rng.random(n) >= effects.quiet)
    ordered = np.where(won & ~draft & (ordered <= effects.newest), ordered, never)
    delivered = np.where(~np.isnat(ordered) & (delivered <= effects.newest), delivered, never)
    lost = np.where(marked & ~draft & (lost <= effects.newest), lost, never)
    status = np.full(n, "quoted", dtype=object)
    status[~np.isnat(lost)] = "lost"
    status[~np.isnat(ordered)] = "ordered"
    status[~np.isnat(delivered)] = "delivered"
    return ordered, delivered, lost, status


def _repeat(rng: np.random.Generator, jobs: Jobs, effects: Effects) -> None:
    chosen = np.flatnonzero((rng.random(len(jobs.draft)) < effects.repeats) & ~jobs.draft)
    for number in chosen:
        earlier = [past for past in range(max(0, number - 40), number) if jobs.repeat_of[past] < 0 and not jobs.draft[past]]
        if earlier:
            model = int(rng.choice(earlier))
            jobs.repeat_of[number] = model
            jobs.vehicle[number], jobs.kinds[number] = jobs.vehicle[model], jobs.kinds[model]


def draw_bodies(rng: np.random.Generator, jobs: Jobs, effects: Effects) -> Bodies:
    """Kinds and dimensions; a repeat has those of the job it repeats."""
    job = np.repeat(np.arange(len(jobs.kinds)), [len(kinds) for kinds in jobs.kinds])
    kind = np.array([name for kinds in jobs.kinds for name in kinds], dtype=object)
    n = len(job)
    canopy, tray, box = kind == "canopy", kind == "tray", kind == "box"
    cab = np.array([VEHICLES[vehicle].cab for vehicle in jobs.vehicle], dtype=object)[job]
    size = np.array([VEHICLES[vehicle].size_class for vehicle in jobs.vehicle], dtype=object)[job]
    length = _lengths(rng, kind, cab, size)
    width = np.where(size == "truck", 2050.0, np.where(size == "fullsize", 1880.0, 1790.0)) + rng.choice([-40.0, 0.0, 70.0], n)
    height = np.where(box, rng.choice([1500.0, 1700.0, 1850.0], n), rng.choice([820.0, 860.0, 900.0, 980.0], n, p=[0.3, 0.3, 0.25, 0.15]))
    sheet = np.where(tray, np.nan, rng.choice([2.0, 2.5, 3.0], n, p=[0.4, 0.5, 0.1]))
    floor = np.where(tray, rng.choice([3.0, 4.0], n), rng.choice([2.5, 3.0], n))
    doors = np.where(tray, np.nan, rng.choice([1.0, 2.0, 3.0, 4.0], n, p=[0.1, 0.7, 0.12, 0.08]))
    painted = (rng.random(n) < 0.55).astype(float)
    bodies = Bodies(job, kind, length, width, np.where(tray, np.nan, height), sheet, floor, doors, painted, np.full(n, -1))
    first = np.searchsorted(job, np.arange(len(jobs.kinds)))
    for number in np.flatnonzero(jobs.repeat_of[job] >= 0):
        model = first[jobs.repeat_of[job[number]]] + number - first[job[number]]
        for name in ("length_mm", "width_mm", "height_mm", "sheet_mm", "floor_mm", "doors", "painted"):
            getattr(bodies, name)[number] = getattr(bodies, name)[model]
    if effects.families:
        bodies.family = np.where(canopy, _families(rng, jobs.quoted_on[job], effects), -1)
    return bodies


def _families(rng: np.random.Generator, quoted: np.ndarray, effects: Effects) -> np.ndarray:
    weights = np.tile(1.0 / np.arange(2, effects.families + 2), (len(quoted), 1))
    weights[quoted > effects.newest - 365 * DAY, -1] *= effects.rising
    edges = np.cumsum(weights, axis=1) / weights.sum(axis=1)[:, None]
    return (rng.random(len(quoted))[:, None] > edges).sum(axis=1).clip(0, effects.families - 1)


def _lengths(rng: np.random.Generator, kind: np.ndarray, cab: np.ndarray, size: np.ndarray) -> np.ndarray:
    lengths = np.empty(len(kind))
    for (name, cab_name), usual in USUAL_LENGTHS_MM.items():
        here = (kind == name) & (cab == cab_name)
        own = rng.random(here.sum()) < 0.4
        lengths[here] = rng.choice(np.array(usual, float), here.sum()) + np.where(own, rng.normal(0, 90, here.sum()).round(), 0)
    lengths[(kind == "tray") & (size == "truck")] += 900
    return lengths


def draw_lines(rng: np.random.Generator, jobs: Jobs, bodies: Bodies, effects: Effects) -> Lines:
    """Fit-out lines with side and place; a repeat has those of the job it repeats."""
    planted = _family_layouts(rng, effects)
    has, side = _free_layout(rng, jobs, bodies, effects)
    in_family = np.flatnonzero(bodies.family >= 0)
    for number in in_family:
        has[number], side[number] = _family_body(rng, planted[bodies.family[number]], effects)
    first = np.searchsorted(bodies.job, np.arange(len(jobs.kinds)))
    for number in np.flatnonzero(jobs.repeat_of[bodies.job] >= 0):
        model = first[jobs.repeat_of[bodies.job[number]]] + number - first[bodies.job[number]]
        has[number], side[number], bodies.family[number] = has[model], side[model], bodies.family[model]
    return _placed(rng, bodies, has, side)


def _free_layout(rng: np.random.Generator, jobs: Jobs, bodies: Bodies, effects: Effects) -> tuple[np.ndarray, np.ndarray]:
    n = len(bodies.job)
    tray = bodies.kind == "tray"
    share = np.where(tray[:, None], [item.on_tray for item in ITEMS], [item.on_canopy for item in ITEMS])
    if effects.rare:
        share = np.where(np.arange(len(ITEMS)) % 3 == 0, share, share * 0.06)
    # full and plain bodies both exist: a taste for fit-out that all shares of a body have in common
    taste = np.exp(rng.normal(0, 0.55, n))[:, None]
    fixed = np.zeros(len(ITEMS), dtype=bool)
    dated = jobs.quoted_on[bodies.job]
    odds = np.clip(share * taste, 0, 0.97)
    for change in effects.changes:
        column = POSITION[change.item_id]
        fixed[column] = True
        odds[:, column] = np.where(tray, 0, np.where(dated >= change.on, change.after, change.before))
    has = rng.random((n, len(ITEMS))) < odds
    for wins, gives in (
        ("galley-induction", "galley-gas"),
        ("cold-slide-80", "cold-slide-45"),
        ("cell-200", "cell-100"),
        ("tank-90", "tank-45"),
    ):
        has[:, POSITION[gives]] &= ~has[:, POSITION[wins]] | fixed[POSITION[gives]] | fixed[POSITION[wins]]
    side = np.where(_FREE | _OUTER, np.where(rng.random((n, len(ITEMS))) < 0.5, -1, 1), 0)
    return has, side


def _family_layouts(rng: np.random.Generator, effects: Effects) -> list[tuple[np.ndarray, np.ndarray]]:
    eligible = np.flatnonzero([item.on_canopy > 0 and item.group != "lining" for item in ITEMS])
    layouts = []
    for _ in range(effects.families):
        has = np.zeros(len(ITEMS), dtype=bool)
        has[rng.choice(eligible, int(rng.integers(6, 11)), replace=False)] = True
        layouts.append((has, np.where(_FREE | _OUTER, rng.choice([-1, 1], len(ITEMS)), 0)))
    return layouts


def _family_body(rng: np.random.Generator, layout: tuple[np.ndarray, np.ndarray], effects: Effects) -> tuple[np.ndarray, np.ndarray]:
    has, side = layout[0].copy(), layout[1].copy()
    lines = np.flatnonzero(has)
    strangers = np.flatnonzero(~has & np.array([item.on_canopy > 0 for item in ITEMS]))
    has[lines[rng.random(len(lines)) < effects.layout_noise]] = False
    has[strangers[rng.random(len(strangers)) < effects.layout_noise * len(lines) / len(strangers)]] = True
    return has, -side if rng.random() < effects.mirrored else side


def _placed(rng: np.random.Generator, bodies: Bodies, has: np.ndarray, side: np.ndarray) -> Lines:
    body, item = np.nonzero(has)
    along = np.array([entry.along for entry in ITEMS])[item]
    x = np.round(bodies.length_mm[body] * along + rng.normal(0, 25, len(body)))
    half = bodies.width_mm[body] * np.where(_OUTER[item], 0.5, 0.28)
    qty = np.where(_IN_PAIRS[item] & (rng.random(len(body)) < 0.3), 2.0, 1.0)
    return Lines(body, item, qty, side[body, item], x, np.round(side[body, item] * half))
