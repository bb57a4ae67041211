"""A case is a job on its vehicle with one upgrade, or none: what limits are checked for. Ids are resolved here, once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import repeat

import numpy as np

from pipeline.frames import Columns, height, take

RATINGS = ("gvm_kg", "gcm_kg", "front_limit_kg", "rear_limit_kg", "front_tyres_kg", "rear_tyres_kg", "tow_limit_kg", "ball_limit_kg")
VEHICLE_NUMBERS = (
    "seats", "wheelbase_mm", "headboard_to_rear_axle_mm", "rear_axle_to_ball_mm", "deck_height_mm", "empty_kg", "empty_front_kg",
    "empty_rear_kg", "tub_kg", "tub_x_mm", "fuel_l", "tank_mm", "front_seat_mm", "rear_seat_mm", *RATINGS,
)  # fmt: skip
VEHICLE_TEXTS = ("size_class", "cab", "empty_basis", "fuel")


@dataclass(frozen=True)
class Work:
    """The frames a check is made from; every frame but `jobs`, `vehicles` and `bodies` may be empty.

    `fitout` carries `body_row`, a position in `bodies`; its x_mm and y_mm say where each line sits (NaN: not known).
    """

    jobs: Columns
    vehicles: Columns
    upgrades: Columns
    bodies: Columns
    fitout: Columns
    items: Columns
    on_vehicle: Columns
    weighings: Columns

    @cached_property
    def vehicle_of_job(self) -> np.ndarray:
        """Row in `vehicles` of each job, -1: unknown."""
        return rows_of(text(self.jobs, "vehicle_id"), text(self.vehicles, "vehicle_id"))

    @cached_property
    def upgrade_of_job(self) -> np.ndarray:
        """Row in `upgrades` of each job, -1: none."""
        return rows_of(text(self.jobs, "upgrade_id"), text(self.upgrades, "upgrade_id"))

    @cached_property
    def job_of_body(self) -> np.ndarray:
        """Row in `jobs` of each body, -1: unknown."""
        return rows_of(text(self.bodies, "job_id"), text(self.jobs, "job_id"))

    @cached_property
    def job_of_part(self) -> np.ndarray:
        """Row in `jobs` of each line of `on_vehicle`, -1: unknown."""
        return rows_of(text(self.on_vehicle, "job_id"), text(self.jobs, "job_id"))

    @cached_property
    def item_of_line(self) -> np.ndarray:
        """Row in `items` of each fit-out line, -1: unknown."""
        return rows_of(text(self.fitout, "item_id"), text(self.items, "item_id"))

    @cached_property
    def body_of_line(self) -> np.ndarray:
        """Row in `bodies` of each fit-out line."""
        return self.fitout["body_row"].astype(np.int64, copy=False) if "body_row" in self.fitout else np.zeros(0, np.int64)


@dataclass(frozen=True)
class Assessed:
    """What is known or thought of each body, in the row order of `bodies`.

    Attributes:
        kg: (n,) finished mass.
        com_x_mm, com_y_mm: (n,) centre of mass in the body's frame; NaN: not known.
        cov: (n, 3, 3) of mass, first moment along and across; kg and kg·mm, the body's frame.
        source: (n,) text: `weighed`, `tickets`, `cad` or `estimate`.
        outside: (n,) whether an estimate is outside of what history covers; None: nobody asked.
    """

    kg: np.ndarray
    com_x_mm: np.ndarray
    com_y_mm: np.ndarray
    cov: np.ndarray
    source: np.ndarray
    outside: np.ndarray | None = None

    def rows(self, index: np.ndarray) -> Assessed:
        """The bodies at `index` (positions or a mask)."""
        outside = None if self.outside is None else self.outside[index]
        return Assessed(self.kg[index], self.com_x_mm[index], self.com_y_mm[index], self.cov[index], self.source[index], outside)


@dataclass(frozen=True)
class Cases:
    """Cases and, for each, its job's row and the vehicle's and upgrade's columns.

    Attributes:
        job: (n,) row in `jobs`.
        vehicle, upgrade: (n,) row in `vehicles` and `upgrades`, -1: none.
        columns: job_id, vehicle_id, upgrade_id, dated_on, VEHICLE_TEXTS, VEHICLE_NUMBERS with the upgrade's ratings in place,
            `wheelbase_mm` with what the upgrade adds, `factory_gvm_kg`, `added_kg`, `added_x_mm`, `towbar_tow_kg`, `towbar_ball_kg`.
    """

    job: np.ndarray
    vehicle: np.ndarray
    upgrade: np.ndarray
    columns: Columns

    def __len__(self) -> int:
        return len(self.job)

    def __getitem__(self, name: str) -> np.ndarray:
        return self.columns[name]

    def rows(self, index: np.ndarray) -> Cases:
        """The cases at `index` (positions or a mask)."""
        return Cases(self.job[index], self.vehicle[index], self.upgrade[index], take(self.columns, index))


def number(frame: Columns, name: str) -> np.ndarray:
    """A numeric column as float64, all NaN where the frame lacks it."""
    return frame[name].astype(np.float64, copy=False) if name in frame else np.full(height(frame), np.nan)


def text(frame: Columns, name: str) -> np.ndarray:
    """A text column, all None where the frame lacks it."""
    return frame[name] if name in frame else np.full(height(frame), None, dtype=object)


def lacks(values: np.ndarray) -> np.ndarray:
    """Where a text column is not known; (n,) bool."""
    return np.array([one is None for one in values.tolist()], dtype=bool)


def rows_of(ids: np.ndarray, keys: np.ndarray) -> np.ndarray:
    """Row of each id among `keys`, -1 where it is not there; (n,) int64."""
    table: dict[object, int] = dict(zip(keys.tolist(), range(len(keys)), strict=True))
    return np.fromiter(map(table.get, ids.tolist(), repeat(-1)), dtype=np.int64, count=len(ids))


def children(parent: np.ndarray, of: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows whose parent is asked for, repeated for every time it is asked.

    Args:
        parent: (m,) parent of each child row; negative: none.
        of: (n,) parents asked for, repeats welcome.
    Returns: (child, asker), both (k,): row of the child and position in `of`, askers in order, children in their own order.

    >>> children(np.array([1, 0, 1]), np.array([1, 1, 2]))
    (array([0, 2, 0, 2]), array([0, 0, 1, 1]))
    """
    order = np.argsort(parent, kind="stable")
    ordered = parent[order]
    first, last = np.searchsorted(ordered, of, "left"), np.searchsorted(ordered, of, "right")
    count = np.where(of >= 0, last - first, 0)
    asker = np.repeat(np.arange(len(of)), count)
    start = np.cumsum(count) - count
    return order[first[asker] + np.arange(len(asker)) - start[asker]], asker


def own_cases(work: Work) -> Cases:
    """One case a job, at the job's own upgrade or none."""
    jobs = np.arange(height(work.jobs))
    return with_upgrade(work, jobs, work.upgrade_of_job)


def all_cases(work: Work) -> Cases:
    """For each job a case without upgrade and one for each that can be had for its vehicle, in the order of `upgrades`."""
    jobs = np.arange(height(work.jobs))
    fits = rows_of(text(work.upgrades, "vehicle_id"), text(work.vehicles, "vehicle_id"))
    upgrade, job = children(fits, work.vehicle_of_job)
    every_job, every_upgrade = np.concatenate([jobs, job]), np.concatenate([np.full(len(jobs), -1), upgrade])
    order = np.lexsort((every_upgrade, every_job))
    return with_upgrade(work, every_job[order], every_upgrade[order])


def with_upgrade(work: Work, job: np.ndarray, upgrade: np.ndarray) -> Cases:
    """Cases of given job rows and upgrade rows (-1: none)."""
    vehicle = work.vehicle_of_job[job]
    columns: Columns = {name: text(work.jobs, name)[job] for name in ("job_id", "vehicle_id")}
    columns["upgrade_id"] = pick_text(text(work.upgrades, "upgrade_id"), upgrade)
    for name in VEHICLE_TEXTS:
        columns[name] = pick_text(text(work.vehicles, name), vehicle)
    for name in VEHICLE_NUMBERS:
        columns[name] = _pick(work.vehicles, name, vehicle)
    columns["factory_gvm_kg"] = columns["gvm_kg"]
    for name in RATINGS:
        changed = _pick(work.upgrades, name, upgrade)
        columns[name] = np.where(np.isnan(changed), columns[name], changed)
    columns["wheelbase_mm"] = columns["wheelbase_mm"] + np.nan_to_num(_pick(work.upgrades, "wheelbase_added_mm", upgrade))
    for name in ("added_kg", "added_x_mm"):
        columns[name] = _pick(work.upgrades, name, upgrade)
    for name in ("towbar_tow_kg", "towbar_ball_kg"):
        columns[name] = number(work.jobs, name)[job]
    return Cases(job, vehicle, upgrade, columns)


def _pick(frame: Columns, name: str, row: np.ndarray) -> np.ndarray:
    return np.append(number(frame, name), np.nan)[row]


def pick_text(values: np.ndarray, row: np.ndarray) -> np.ndarray:
    """Texts at `row`, None where it is -1."""
    more = np.empty(len(values) + 1, dtype=object)
    more[:-1] = values
    return more[row]


def per_class(values: Mapping[str, float], size_class: np.ndarray) -> np.ndarray:
    """A setting by size class for each case, NaN where there is none; (n,)."""
    kinds = list(values)
    return np.append(np.array([values[kind] for kind in kinds], float), np.nan)[rows_of(size_class, np.array(kinds, dtype=object))]
