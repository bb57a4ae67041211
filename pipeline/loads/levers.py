"""The smallest sets of changes that bring every limit back to the wanted chance, by integer programming.

For each upgrade the effects of single changes are reckoned out in full and added up, and sets that may suffice are reckoned out
in full, the cheapest first: all sets of up to three changes, and where none of them does, those that SciPy's `milp` (HiGHS)
finds, cut after cut. A set that suffices rules out its supersets and further steps of the same changes, so that what follows is
another way and not more of the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import islice, takewhile
from statistics import NormalDist
from typing import Protocol

import numpy as np

from pipeline.frames import Columns, height
from pipeline.loads.cases import Assessed, Work, number, rows_of, text, with_upgrade
from pipeline.loads.check import Checked, Terms, check_cases, first_tickets
from pipeline.loads.lever_rules import kept_rules
from pipeline.loads.limits import OVER, SIDE, UNKNOWN, Limits
from pipeline.loads.optimise import Chosen, Program
from pipeline.loads.tickets import Tickets
from pipeline.loads.together import ItemRules
from pipeline.loads.travel import Brought
from pipeline.loads.variants import FEWER, LEAVE_OUT, SHORTER, UPGRADE, Change, one_job, possible, stacked
from pipeline.settings_loads import LeverSettings, LimitSettings

CHAINS = {SHORTER: "length", FEWER: "count", LEAVE_OUT: "count"}
"""Kinds whose steps are more and more of one thing."""
BY_MASS = ("gvm", "front_axle", "rear_axle", "front_tyres", "rear_tyres", "gcm", "shop_rule")
BY_PLACE = ("front_axle", "rear_axle", "front_tyres", "rear_tyres", SIDE)
WATCHED = (*BY_MASS, "overhang", SIDE)
"""Limits that levers alter."""
OUT_OF_HAND = ("towed", "ball", "width", "height", "seats", "heavy")
"""Limits that no change to the bodies' contents or length alters."""
AT_ONCE = 48
"""Sets that are reckoned out together; most searches end within the first."""


class BodyModel(Protocol):
    """What levers ask of a mass model. Frames are stacked: variants of one job after each other, `bodies_each` rows each."""

    def assess(self, bodies: Columns, fitout: Columns) -> Assessed:
        """Masses and centres of changed bodies, in row order."""
        ...

    def places(self, bodies: Columns, fitout: Columns) -> tuple[np.ndarray, np.ndarray]:
        """x and y of each fit-out line in its body's frame, mm."""
        ...

    def saving_sd(self, bodies: Columns, fitout: Columns, bodies_each: int) -> np.ndarray:
        """(variants,) standard deviation of what each variant weighs less than the first one, kg."""
        ...


@dataclass(frozen=True)
class Proposal:
    """One set of changes.

    Attributes:
        changes: what to do, a certified upgrade included.
        cost: changes first, then how unwelcome they are; smaller is better.
        saves_kg, saves_sd_kg: what the vehicle weighs less, and its standard deviation.
        margin_kg: smallest margin in kg that remains on any limit with a verdict.
        p_over: largest chance of going over any limit that levers can alter.
        short: those of them that still miss the wanted chance; empty: it is enough.
    """

    changes: tuple[Change, ...]
    cost: float
    saves_kg: float
    saves_sd_kg: float
    margin_kg: float
    p_over: float
    short: tuple[str, ...]

    @property
    def said(self) -> tuple[str, ...]:
        """The changes in words."""
        return tuple(change.said for change in self.changes)

    @property
    def nearness(self) -> tuple[float, ...]:
        """How near a miss is: less is nearer."""
        return len(self.short), self.p_over, -np.nan_to_num(self.margin_kg), self.cost

    @property
    def enough(self) -> bool:
        """Whether the wanted chance is restored on every limit that levers can alter."""
        return not self.short


@dataclass(frozen=True)
class Levers:
    """What can be done for one job.

    Attributes:
        job_id: which.
        needed: whether a limit that levers can alter misses the wanted chance.
        proposals: those that suffice, best first.
        nearest: the nearest miss, where none suffices.
        beyond: limits that stand over and that no change to bodies alters.
        proved: whether all sets cheaper than the last proposal were ruled out.
        known: whether any limit that levers can alter has a verdict at all.
    """

    job_id: str
    needed: bool
    proposals: tuple[Proposal, ...]
    nearest: Proposal | None
    beyond: tuple[str, ...]
    proved: bool = True
    known: bool = True


def propose(
    work: Work,
    job: int,
    model: BodyModel,
    load: Brought,
    terms: Terms,
    settings: LeverSettings,
    rules: ItemRules,
    zones: Mapping[str, Iterable[str]] | None = None,
) -> Levers:
    """The smallest changes that restore the wanted chance on every limit of one job.

    Args:
        job: row in `work.jobs`.
        model: the mass model, asked for every variant.
        zones: where history has put each item; None: moves go anywhere.
    """
    return _Search(work, job, model, load, terms, settings, rules, zones).run()


def beyond_levers(limits: Limits, case: int) -> tuple[str, ...]:
    """Limits that stand over and that no change to the bodies alters."""
    return tuple(name for name in OUT_OF_HAND if limits.verdict[case, limits.of(name)] == OVER)


def needed(limits: Limits, settings: LimitSettings) -> np.ndarray:
    """(n,) whether a limit that levers alter misses the wanted chance."""
    at = [limits.of(name) for name in WATCHED]
    return np.any((limits.verdict[:, at] != UNKNOWN) & ~(limits.p_over[:, at] <= settings.may_be_over_p), axis=1)


def _more(program: Program, chosen: Chosen, enough: list[Chosen]) -> bool:
    """Whether a set is more of one that suffices."""
    return any(program.holds_more(chosen, other) for other in enough)


def known_limits(limits: Limits) -> np.ndarray:
    """(n,) whether any limit that levers alter has a verdict."""
    return np.any(limits.verdict[:, [limits.of(name) for name in WATCHED]] != UNKNOWN, axis=1)


class _Search:
    """One job's search; `reckon` is the only place where variants are weighed."""

    def __init__(
        self,
        work: Work,
        job: int,
        model: BodyModel,
        load: Brought,
        terms: Terms,
        settings: LeverSettings,
        rules: ItemRules,
        zones: Mapping[str, Iterable[str]] | None,
    ) -> None:
        self.work = one_job(work, job)
        self.job_id: str = text(work.jobs, "job_id")[job]
        self.model, self.load, self.terms, self.settings, self.rules, self.zones = model, load, terms, settings, rules, zones
        self.first: Tickets = first_tickets(self.work, terms.vehicle)
        self.reach = NormalDist().inv_cdf(1 - terms.limits.may_be_over_p)
        self.own = int(self.work.upgrade_of_job[0])
        self.watched: list[str] = []
        self.changes: list[Change] = []
        self.prices = np.zeros(0)
        self.upgrade_price = 0.0
        self.base_kg = np.nan
        self.found: list[Proposal] = []
        self.miss: Proposal | None = None
        self.programs: list[tuple[Program, int, tuple[Change, ...]]] = []

    def run(self) -> Levers:
        base = self.reckon([()], self.own)
        self.base_kg = float(base.board.kg[0])
        beyond = beyond_levers(base.limits, 0)
        verdict = base.limits.verdict[0]
        self.watched = [name for name in WATCHED if verdict[base.limits.of(name)] != UNKNOWN]
        if not height(self.work.bodies) or not self._short(base, 0):
            return Levers(self.job_id, False, (), None, beyond)
        self.changes = possible(self.work, self.rules, self.settings, bool(set(self.watched) & set(BY_PLACE)), self.zones)
        singles = self._singles(self.own)
        self._price(singles)
        proved = self._search(self.own, singles, ())
        for upgrade in self._upgrades():
            proved &= self._search(upgrade, self._singles(upgrade), (self._upgrade_change(upgrade),))
        best = sorted(self.found, key=lambda one: (one.cost, one.said))[: self.settings.alternatives]
        nearest = self._nearest() if not best else None
        return Levers(self.job_id, True, tuple(self._with_sd(one) for one in best), nearest and self._with_sd(nearest), beyond, proved)

    def reckon(self, sets: list[tuple[Change, ...]], upgrade: int) -> Checked:
        """Weigh variants and check their limits with one upgrade."""
        stack = stacked(self.work, sets)
        x_mm, y_mm = self.model.places(stack.work.bodies, stack.work.fitout)
        stack.work.fitout["x_mm"], stack.work.fitout["y_mm"] = x_mm, y_mm
        assessed = self.model.assess(stack.work.bodies, stack.work.fitout)
        cases = with_upgrade(stack.work, np.arange(stack.count), np.full(stack.count, upgrade))
        return check_cases(stack.work, cases, assessed, self.load, self.terms, self.first.rows(np.zeros(stack.count, np.int64)))

    def _singles(self, upgrade: int) -> Checked:
        """The draft as it stands, then each single change."""
        return self.reckon([(), *((change,) for change in self.changes)], upgrade)

    def _short(self, checked: Checked, case: int) -> tuple[str, ...]:
        limits, most = checked.limits, self.terms.limits.may_be_over_p
        return tuple(name for name in self.watched if not limits.p_over[case, limits.of(name)] <= most)

    def _price(self, singles: Checked) -> None:
        """Fewest changes first, then the less unwelcome, then those that take least away, then the order of `possible`."""
        cost = np.array([change.cost for change in self.changes], float)
        one = 1.0 + self.settings.most_changes * max(cost.max(initial=0.0), float(self.settings.upgrade))
        saved = singles.board.kg[0] - singles.board.kg[1:]
        rank = np.empty(len(cost))
        rank[np.lexsort((np.arange(len(cost)), saved))] = np.arange(len(cost))
        self.prices = one + cost + rank / (1 + len(cost)) / self.settings.most_changes
        self.upgrade_price = float(one + self.settings.upgrade)

    def _upgrades(self) -> list[int]:
        """Certified upgrades that can be had for the vehicle, but for the one it has."""
        vehicle = self.work.vehicle_of_job[0]
        fits = rows_of(text(self.work.upgrades, "vehicle_id"), text(self.work.vehicles, "vehicle_id"))
        return [int(row) for row in np.flatnonzero(fits == vehicle) if row != self.own and vehicle >= 0]

    def _upgrade_change(self, upgrade: int) -> Change:
        upgrades = self.work.upgrades
        when = {"before-registration": ", before registration", "in-service": ", in service"}.get(text(upgrades, "available")[upgrade], "")
        return Change(UPGRADE, f"upgrade: {upgrades['label'][upgrade]}{when}", self.settings.upgrade)

    def _search(self, upgrade: int, singles: Checked, given: tuple[Change, ...]) -> bool:
        """Search under one upgrade; whether every set cheaper than what was found is ruled out."""
        heavy = singles.limits.of("heavy")
        if given and (singles.limits.verdict[0, heavy] == OVER or self.upgrade_price > self._dearest()):
            return True
        most = self.settings.most_changes - len(given)
        program = self._program(singles, len(given))
        self.programs.append((program, upgrade, given))
        complete = program.complete_to(most)
        if self._try_small(program, most, upgrade, given) or complete >= most:
            return True
        return self._try_large(program, complete + 1, upgrade, given)

    def _try_small(self, program: Program, most: int, upgrade: int, given: tuple[Change, ...]) -> bool:
        """Reckon small sets out, cheapest first, some at a time; whether any suffices."""
        enough: list[Chosen] = []
        sets = takewhile(lambda one: program.cost_of(one) <= self._dearest(), program.small(most))
        others = (one for one in sets if not _more(program, one, enough))
        while some := list(islice(others, AT_ONCE)):
            for chosen, proposal in zip(some, self._tried(some, upgrade, given, program), strict=True):
                more = _more(program, chosen, enough)
                if proposal.enough and not more:
                    enough.append(chosen)
                self._keep(proposal, more)
        return bool(enough)

    def _try_large(self, program: Program, least: int, upgrade: int, given: tuple[Change, ...]) -> bool:
        """Let the solver find sets of `least` changes or more, one at a time; whether everything cheaper was ruled out."""
        for _ in range(self.settings.most_trials):
            chosen = program.solve(least)
            if chosen is None or program.cost_of(chosen) > self._dearest():
                return True
            (proposal,) = self._tried([chosen], upgrade, given, program)
            self._keep(proposal, False)
            (program.cut_with_more if proposal.enough else program.cut_exactly)(chosen)
            # what follows is at least as dear
            if program.cost_of(chosen) >= self._dearest():
                return True
        return False

    def _keep(self, proposal: Proposal, more_of_the_same: bool) -> None:
        """Keep what suffices, once in the same words, and the nearest of what does not."""
        if not proposal.enough:
            if self.miss is None or proposal.nearness < self.miss.nearness:
                self.miss = proposal
        elif not more_of_the_same and proposal.said not in {one.said for one in self.found}:
            self.found.append(proposal)

    def _nearest(self) -> Proposal | None:
        for program, upgrade, given in self.programs:
            (proposal,) = self._tried([program.nearest()], upgrade, given, program)
            self._keep(proposal, False)
        return self.miss

    def _dearest(self) -> float:
        """Cost of the last proposal that is shown; more is not looked for."""
        costs = sorted(one.cost for one in self.found)
        return costs[self.settings.alternatives - 1] if len(costs) >= self.settings.alternatives else np.inf

    def _tried(self, sets: list[Chosen], upgrade: int, given: tuple[Change, ...], program: Program) -> list[Proposal]:
        picked = [tuple(self.changes[place] for place in chosen) for chosen in sets]
        weighed = self.reckon(picked, upgrade)
        costs = [program.cost_of(chosen) for chosen in sets]
        return [self._proposal(one, given, weighed, case, cost) for case, (one, cost) in enumerate(zip(picked, costs, strict=True))]

    def _program(self, singles: Checked, given: int) -> Program:
        limits = singles.limits
        program = Program(self.prices, self.settings.most_changes - given, self.upgrade_price * given)
        for name in self.watched:
            at = limits.of(name)
            if name == "overhang":
                self._overhang(program, float(limits.rating[0, at]), singles)
                continue
            if name == SIDE:
                self._side(program, singles)
                continue
            loaded = limits.value[:, at] + self.reach * limits.sd[:, at]
            program.limit(loaded[1:] - loaded[0], limits.rating[0, at] - loaded[0], self.settings.interaction_kg)
        program.one_a_spot([change.spot for change in self.changes])
        program.chains([((change.spot, CHAINS.get(change.kind, place)), change.step) for place, change in enumerate(self.changes)])
        for weights, most in kept_rules(self.work, self.changes, self.rules):
            program.rule(weights, most)
        return program

    def _side(self, program: Program, singles: Checked) -> None:
        """Neither side may carry too much: two limits, each in kg of the vehicle, since a share by itself turns at the middle."""
        at = singles.limits.of(SIDE)
        right = 50.0 + np.where(singles.board.moment_y < 0, -1, 1) * (singles.limits.value[:, at] - 50.0)
        in_kg = singles.board.kg[0] / 100.0
        for share in (right, 100.0 - right):
            loaded = (share + self.reach * singles.limits.sd[:, at]) * in_kg
            program.limit(loaded[1:] - loaded[0], singles.limits.rating[0, at] * in_kg - loaded[0], self.settings.interaction_kg)

    def _overhang(self, program: Program, most_mm: float, singles: Checked) -> None:
        """Each body that reaches too far back has to be made short enough by itself, where any step does it."""
        bodies = self.work.bodies
        behind = np.nan_to_num(number(bodies, "offset_mm")) + np.nan_to_num(number(bodies, "sticks_out_mm"))
        behind = behind - singles.cases["headboard_to_rear_axle_mm"][0]
        for body, start in enumerate(behind):
            if start + bodies["length_mm"][body] > most_mm:
                cures = [change.body == body and change.line < 0 and start + change.length_mm <= most_mm for change in self.changes]
                if any(cures):
                    program.rule(-np.array(cures, float), -1.0)

    def _proposal(self, picked: tuple[Change, ...], given: tuple[Change, ...], checked: Checked, case: int, cost: float) -> Proposal:
        limits = checked.limits
        at = [limits.of(name) for name in self.watched]
        weighty = [limits.of(name) for name in self.watched if name in BY_MASS]
        return Proposal(
            changes=(*given, *picked),
            cost=cost,
            saves_kg=self.base_kg - float(checked.board.kg[case]),
            saves_sd_kg=0.0,
            margin_kg=float(limits.margin[case, weighty].min()) if weighty else float("nan"),
            p_over=float(limits.p_over[case, at].max()),
            short=self._short(checked, case),
        )

    def _with_sd(self, proposal: Proposal) -> Proposal:
        picked = tuple(change for change in proposal.changes if change.kind != UPGRADE)
        if not picked:
            return proposal
        stack = stacked(self.work, [(), picked])
        return replace(proposal, saves_sd_kg=float(self.model.saving_sd(stack.work.bodies, stack.work.fitout, stack.bodies_each)[1]))
