"""An integer program over changes, each made or not: cheapest sets under linear limits.

Small sets are few enough to be laid out all; from there on SciPy's `milp` (HiGHS) finds one set at a time, cut after cut.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterator, Sequence
from math import comb

import numpy as np

Chosen = tuple[int, ...]
LAID_OUT = 400_000
"""Sets that are laid out at once; more would take longer than a solver needs for one."""
SMALL = 3
"""Changes of the largest sets that are laid out all."""


class Program:
    """Which changes to make. Every row says Σ weight·x ≤ most, x being 1 where a change is made.

    Args:
        cost: (n,) cost of each change, positive.
        most_changes: how many may be made.
        given: cost of what is done in any case.
    """

    def __init__(self, cost: np.ndarray, most_changes: int, given: float = 0.0) -> None:
        self.cost = cost
        self.given = given
        self.rows: list[np.ndarray] = []
        self.most: list[float] = []
        self.limits: list[tuple[np.ndarray, float]] = []
        self.further: list[Chosen] = [() for _ in cost]
        self.rule(np.ones(len(cost)), float(most_changes))

    def cost_of(self, chosen: Chosen) -> float:
        """Cost of a set, with what is given."""
        return self.given + float(self.cost[list(chosen)].sum())

    def rule(self, weights: np.ndarray, most: float) -> None:
        """Σ weights·x ≤ most."""
        self.rows.append(np.asarray(weights, float))
        self.most.append(most)

    def limit(self, change: np.ndarray, room: float, slack: float) -> None:
        """What single changes add to a limit, and the room on it.

        Args:
            change: (n,) kg.
            slack: how far beyond the room a set is still worth reckoning out in full.
        """
        self.limits.append((change, room + slack))

    def one_a_spot(self, spots: Sequence[Hashable]) -> None:
        """Of the changes made to one spot at most one is made."""
        groups: defaultdict[Hashable, list[int]] = defaultdict(list)
        for place, spot in enumerate(spots):
            groups[spot].append(place)
        for places in groups.values():
            if len(places) > 1:
                self.rule(self._at(places), 1.0)

    def chains(self, steps: Sequence[tuple[Hashable, int]]) -> None:
        """Chain and step of each change: further steps of a chain are more of the same."""
        for place, (chain, step) in enumerate(steps):
            self.further[place] = tuple(other for other, (same, more) in enumerate(steps) if same == chain and more >= step)

    def cut_exactly(self, chosen: Chosen) -> None:
        """Rule this very set out."""
        weights = np.full(len(self.cost), -1.0)
        weights[list(chosen)] = 1.0
        self.rule(weights, len(chosen) - 1.0)

    def cut_with_more(self, chosen: Chosen) -> None:
        """Rule this set out, and every set that has more than it, or further steps of it."""
        places = [place for one in chosen for place in self.further[one]]
        self.rule(self._at(places), len(chosen) - 1.0)

    def complete_to(self, most: int) -> int:
        """Number of changes up to which `small` lays all sets out, `most` at most."""
        count = len(self.cost)
        return max(one for one in range(min(max(most, 0), SMALL) + 1) if comb(count, one) <= LAID_OUT)

    def small(self, most: int) -> Iterator[Chosen]:
        """All sets of up to `complete_to(most)` changes that keep all rows and may keep all limits: fewer first, then cheaper."""
        for changes in range(self.complete_to(most) + 1):
            sets = _all_sets(len(self.cost), changes)
            for weights, room in (*self.limits, *zip(self.rows, self.most, strict=True)):
                sets = sets[weights[sets].sum(axis=1) <= room + 1e-9]
            order = np.argsort(self.cost[sets].sum(axis=1), kind="stable")
            yield from (tuple(chosen) for chosen in sets[order].tolist())

    def holds_more(self, chosen: Chosen, other: Chosen) -> bool:
        """Whether `chosen` has all that `other` has, or further steps of it."""
        there = set(chosen)
        return all(there.intersection(self.further[one]) for one in other)

    def solve(self, least: int = 0) -> Chosen | None:
        """The cheapest set of `least` changes or more that keeps all rows and may keep all limits; None: there is none."""
        rows = [*self.rows, *(change for change, _ in self.limits), -np.ones(len(self.cost))]
        most = [*self.most, *(room for _, room in self.limits), -float(least)]
        found = _milp(self.cost, rows, most, len(self.cost))
        return None if found is None else tuple(int(place) for place in np.flatnonzero(found > 0.5))

    def nearest(self) -> Chosen:
        """The set that keeps all rows and misses the worst limit by least, cheaper ones first; empty where nothing helps."""
        rows = [np.append(row, 0.0) for row in self.rows]
        rows += [np.append(change, -1.0) for change, _ in self.limits]
        most = [*self.most, *(room for _, room in self.limits)]
        # a kilogram of miss outweighs any set of changes
        cost = np.append(self.cost / (1.0 + self.cost.sum()) * 0.1, 1.0)
        found = _milp(cost, rows, most, len(self.cost))
        return () if found is None else tuple(int(place) for place in np.flatnonzero(found[:-1] > 0.5))

    def _at(self, places: Sequence[int]) -> np.ndarray:
        weights = np.zeros(len(self.cost))
        weights[list(places)] = 1.0
        return weights


def _all_sets(count: int, size: int) -> np.ndarray:
    """(sets, size) of all sets of `size` out of `count`, in order.

    >>> _all_sets(3, 2).tolist()
    [[0, 1], [0, 2], [1, 2]]
    """
    sets = np.zeros((1, 0), np.int64)
    for _ in range(size):
        last = sets[:, -1] if sets.shape[1] else np.full(len(sets), -1)
        more = count - 1 - last
        row = np.repeat(np.arange(len(sets)), more)
        start = np.cumsum(more) - more
        sets = np.column_stack([sets[row], last[row] + 1 + np.arange(len(row)) - start[row]])
    return sets


def _milp(cost: np.ndarray, rows: list[np.ndarray], most: list[float], integers: int) -> np.ndarray | None:
    from scipy.optimize import Bounds, LinearConstraint, milp

    if not len(cost):
        return None
    whole = np.zeros(len(cost))
    whole[:integers] = 1
    upper = np.full(len(cost), np.inf)
    upper[:integers] = 1
    done = milp(
        cost,
        integrality=whole,
        bounds=Bounds(np.zeros(len(cost)), upper),
        constraints=LinearConstraint(np.vstack(rows), -np.inf, np.array(most)),
        options={"mip_rel_gap": 0.0},
    )
    return None if done.x is None else np.asarray(done.x)
