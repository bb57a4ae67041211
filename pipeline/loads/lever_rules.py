"""The workshop's rules as rows of an integer program: no proposal breaks what the draft keeps."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.frames import height
from pipeline.loads.cases import Work, number
from pipeline.loads.together import ItemRules
from pipeline.loads.variants import SHORTER, Change

Row = tuple[np.ndarray, float]


def kept_rules(work: Work, changes: list[Change], rules: ItemRules) -> Iterator[Row]:
    """Rows (weights, most) that mean Σ weights·x ≤ most; rules that the draft already breaks are left to the check.

    Args:
        work: one job (`variants.one_job`).
    """
    yield from _Rows(work, changes, rules).all()


class _Rows:
    """Where each item stands, and which changes take it away or bring it."""

    def __init__(self, work: Work, changes: list[Change], rules: ItemRules) -> None:
        self.changes, self.rules, self.work = changes, rules, work
        self.body: list[int] = work.fitout["body_row"].tolist() if height(work.fitout) else []
        self.item: list[str] = work.fitout["item_id"].tolist() if height(work.fitout) else []
        self.length = work.bodies["length_mm"].tolist()
        self.drops: list[list[int]] = [[] for _ in self.item]
        self.brings: dict[str, list[int]] = {}
        for place, change in enumerate(changes):
            if change.line >= 0 and (change.qty == 0 or change.item_id is not None):
                self.drops[change.line].append(place)
            if change.item_id is not None:
                self.brings.setdefault(change.item_id, []).append(place)

    def all(self) -> Iterator[Row]:
        yield from self.long_enough()
        yield from self.needed()
        yield from self.apart()
        yield from self.on_the_tray()

    def _row(self, most: float, plus: list[int], minus: list[int]) -> Row:
        weights = np.zeros(len(self.changes))
        np.add.at(weights, plus, 1.0)
        np.add.at(weights, minus, -1.0)
        return weights, most

    def long_enough(self) -> Iterator[Row]:
        shorter = [(place, change) for place, change in enumerate(self.changes) if change.kind == SHORTER]
        least = self.rules.shortest_mm
        for line, item in enumerate(self.item):
            for place, change in shorter:
                if change.body == self.body[line] and change.length_mm < least.get(item, 0.0) <= self.length[change.body]:
                    yield self._row(0.0, [place], self.drops[line])
        for item, places in self.brings.items():
            for swap in places:
                body = self.changes[swap].body
                if self.length[body] < least.get(item, 0.0):
                    yield self._row(0.0, [swap], [])
                for place, change in shorter:
                    if change.body == body and change.length_mm < least.get(item, 0.0):
                        yield self._row(1.0, [swap, place], [])

    def needed(self) -> Iterator[Row]:
        stands = set(self.item)
        for line, item in enumerate(self.item):
            for need in self.rules.needs.get(item, ()):
                if need in stands:
                    lines, gone = self._standing(need)
                    yield self._row(lines - 1.0, gone, [*self.drops[line], *self.brings.get(need, [])])
        for item, places in self.brings.items():
            for need in self.rules.needs.get(item, ()):
                lines, gone = self._standing(need)
                for swap in places:
                    yield self._row(float(lines), [swap, *gone], self.brings.get(need, []))

    def _standing(self, item: str) -> tuple[int, list[int]]:
        lines = [line for line, one in enumerate(self.item) if one == item]
        return len(lines), [place for line in lines for place in self.drops[line]]

    def apart(self) -> Iterator[Row]:
        for item, places in self.brings.items():
            never = self.rules.not_with.get(item, frozenset())
            for swap in places:
                made = self.changes[swap]
                for line, other in enumerate(self.item):
                    if other in never and self.body[line] == made.body and line != made.line:
                        yield self._row(0.0, [swap], self.drops[line])
                for other in sorted(never):
                    for beside in self.brings.get(other, []):
                        if self.changes[beside].body == made.body and self.changes[beside].line != made.line:
                            yield self._row(1.0, [swap, beside], [])

    def on_the_tray(self) -> Iterator[Row]:
        """A tray is not made shorter than what sits on it."""
        bodies = self.work.bodies
        names, carried = bodies["body"].tolist(), bodies["sits_on"].tolist() if "sits_on" in bodies else []
        start = np.nan_to_num(number(bodies, "offset_mm"))
        for place, change in enumerate(self.changes):
            if change.kind != SHORTER or not names[change.body].startswith("tray"):
                continue
            end = start[change.body] + change.length_mm
            for body, sits_on in enumerate(carried):
                reach = start[body] + self.length[body]
                if sits_on == "tray" and end < reach <= start[change.body] + self.length[change.body]:
                    cures = [
                        other
                        for other, cure in enumerate(self.changes)
                        if cure.kind == SHORTER and cure.body == body and start[body] + cure.length_mm <= end
                    ]
                    yield self._row(0.0, [place], cures)
