"""Does it go together? The workshop's rules on items, which a draft must keep, and what history never did, which is a hint."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.frames import Columns, height
from pipeline.loads.cases import number, text

ERROR, HINT = "error", "hint"
_ENOUGH = 5
"""Records of an item, or bodies by chance, from which history is worth a hint: fewer say nothing about the next one."""


@dataclass(frozen=True)
class Finding:
    """One thing about a draft.

    Attributes:
        kind: ERROR where a rule of the workshop is broken, HINT where history never did so.
        job_id, body: which body; `body` empty: the whole job.
        said: what, in words.
        source: whose rule it is.
    """

    kind: str
    job_id: str
    body: str
    said: str
    source: str


@dataclass(frozen=True)
class ItemRules:
    """The workshop's rules, by item_id; lengths in mm."""

    label: dict[str, str]
    needs: dict[str, tuple[str, ...]]
    not_with: dict[str, frozenset[str]]
    instead_of: dict[str, tuple[str, ...]]
    shortest_mm: dict[str, float]
    retired_on: dict[str, np.datetime64]

    def name(self, item_id: str) -> str:
        """What people call an item."""
        return self.label.get(item_id) or item_id


def item_rules(items: Columns) -> ItemRules:
    """Read the rules out of `items`; `not_with` holds both ways."""
    ids = text(items, "item_id").tolist()
    apart: defaultdict[str, set[str]] = defaultdict(set)
    for one, others in zip(ids, map(_ids, text(items, "not_with").tolist()), strict=True):
        for other in others:
            apart[one].add(other)
            apart[other].add(one)
    short = number(items, "shortest_mm")
    retired = items["retired_on"] if "retired_on" in items else np.full(len(ids), np.datetime64("NaT", "D"))
    return ItemRules(
        label=dict(zip(ids, text(items, "label").tolist(), strict=True)),
        needs={one: given for one, given in zip(ids, map(_ids, text(items, "needs").tolist()), strict=True) if given},
        not_with={one: frozenset(others) for one, others in apart.items()},
        instead_of={one: given for one, given in zip(ids, map(_ids, text(items, "instead_of").tolist()), strict=True) if given},
        shortest_mm={one: float(least) for one, least in zip(ids, short, strict=True) if not np.isnan(least)},
        retired_on={one: day for one, day in zip(ids, retired, strict=True) if not np.isnat(day)},
    )


def _ids(told: str | None) -> tuple[str, ...]:
    return tuple(told.split()) if told else ()


def broken_rules(bodies: Columns, fitout: Columns, rules: ItemRules) -> list[Finding]:
    """Rules of the workshop that drafts break: needs (in the same job), not_with (in the same body), shortest_mm, retired_on."""
    in_body, in_job = _carried(bodies, fitout)
    jobs, names, lengths = bodies["job_id"].tolist(), bodies["body"].tolist(), bodies["length_mm"].tolist()
    dated = bodies["dated_on"] if "dated_on" in bodies else np.full(len(jobs), np.datetime64("NaT", "D"))
    found = []
    for row, items in sorted(in_body.items()):
        for item in items:
            for said, source in _broken(item, items, in_job[jobs[row]], lengths[row], rules):
                found.append(Finding(ERROR, jobs[row], names[row], said, source))
            if item in rules.retired_on and dated[row] >= rules.retired_on[item]:
                said = f"{rules.name(item)} is no longer fitted since {rules.retired_on[item]}"
                found.append(Finding(HINT, jobs[row], names[row], said, "items: retired_on"))
    return found


def _carried(bodies: Columns, fitout: Columns) -> tuple[dict[int, list[str]], dict[str, set[str]]]:
    """Items of each body, in order and once each, and of each job."""
    jobs = bodies["job_id"].tolist()
    in_body: defaultdict[int, dict[str, None]] = defaultdict(dict)
    in_job: defaultdict[str, set[str]] = defaultdict(set)
    if height(fitout):
        for row, item in zip(fitout["body_row"].tolist(), fitout["item_id"].tolist(), strict=True):
            in_body[row][item] = None
            in_job[jobs[row]].add(item)
    return {row: list(items) for row, items in in_body.items()}, dict(in_job)


def _broken(item: str, beside: list[str], in_job: set[str], length_mm: float, rules: ItemRules) -> Iterator[tuple[str, str]]:
    for needed in rules.needs.get(item, ()):
        if needed not in in_job:
            yield f"{rules.name(item)} needs {rules.name(needed)}", "items: needs"
    for other in beside:
        # each pair is told once
        if other in rules.not_with.get(item, ()) and beside.index(item) < beside.index(other):
            yield f"{rules.name(item)} cannot stand beside {rules.name(other)}", "items: not_with"
    least = rules.shortest_mm.get(item, 0.0)
    if length_mm < least:
        yield f"{rules.name(item)} takes a body of {least:.0f} mm or more, this one has {length_mm:.0f} mm", "items: shortest_mm"


@dataclass(frozen=True)
class Past:
    """What delivered bodies carried, of the items that are asked about.

    Attributes:
        built: bodies by kind.
        count, shortest_mm: bodies that carried an item and the shortest of them, by kind and item_id.
        pairs: bodies that carried two items, by kind and both item_ids in the order of the alphabet.
    """

    built: Counter[str]
    count: Counter[tuple[str, str]]
    shortest_mm: Mapping[tuple[str, str], float]
    pairs: Counter[tuple[str, str, str]]


def never_done(bodies: Columns, fitout: Columns, past: Past, rules: ItemRules) -> list[Finding]:
    """What history never did: an item in so short a body of its kind, and two items together that chance would have joined."""
    drafts, _ = _carried(bodies, fitout)
    jobs, names = bodies["job_id"].tolist(), bodies["body"].tolist()
    kinds, lengths = text(bodies, "kind").tolist(), bodies["length_mm"].tolist()
    found = []
    for row, items in sorted(drafts.items()):
        said = [*_too_short(kinds[row], lengths[row], items, past, rules), *_kept_apart(kinds[row], items, past, rules)]
        found += [Finding(HINT, jobs[row], names[row], one, "delivered bodies") for one in said]
    return found


def _too_short(kind: str, length_mm: float, items: list[str], past: Past, rules: ItemRules) -> Iterator[str]:
    for item in items:
        records, least = past.count[kind, item], past.shortest_mm.get((kind, item), 0.0)
        if records >= _ENOUGH and length_mm < least:
            yield f"no {kind} under {least:.0f} mm ever carried {rules.name(item)} ({records} did, this one has {length_mm:.0f} mm)"


def _kept_apart(kind: str, items: list[str], past: Past, rules: ItemRules) -> Iterator[str]:
    here = sorted(items)
    for place, one in enumerate(here):
        for two in here[place + 1 :]:
            by_chance = past.count[kind, one] * past.count[kind, two] / max(past.built[kind], 1)
            if not past.pairs[kind, one, two] and by_chance >= _ENOUGH:
                yield f"no {kind} ever had {rules.name(one)} with {rules.name(two)}; chance alone would have made {by_chance:.0f}"
