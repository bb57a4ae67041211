"""The smallest sets of changes that bring every limit back to the wanted chance, by integer programming.

For each upgrade the effects of single changes are reckoned out in full and added up; SciPy's `milp` (HiGHS) finds the
cheapest set that may suffice, the set is reckoned out in full, and a cut keeps it from coming again. A set that suffices also
cuts its supersets and longer steps of the same changes, so that what follows is another way and not more of the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import NormalDist
from typing import Protocol

import numpy as np

from pipeline.frames import Columns, height
from pipeline.loads.cases import Assessed, Work, number, rows_of, text, with_upgrade
from pipeline.loads.check import Checked, Terms, check_cases, first_tickets
from pipeline.loads.lever_rules import kept_rules
from pipeline.loads.limits import OVER, SIDE, UNKNOWN
from pipeline.loads.optimise import Chosen, Program
from pipeline.loads.tickets import Tickets
from pipeline.loads.together import ItemRules
from pipeline.loads.travel import Brought
from pipeline.loads.variants import FEWER, LEAVE_OUT, SHORTER, UPGRADE, Change, one_job, possible, stacked
from pipeline.settings_loads import LeverSettings

CHAINS = {SHORTER: "length", FEWER: "count", LEAVE_OUT: "count"}
"""Kinds whose steps are more and more of one thing."""
BY_MASS = ("gvm", "front_axle", "rear_axle", "front_tyres", "rear_tyres", "gcm", "shop_rule")
BY_PLACE = ("front_axle", "rear_axle", "front_tyres", "rear_tyres", SIDE)
OUT_OF_HAND = ("towed", "ball", "width", "height", "seats", "heavy")
"""Limits that no change to the bodies' contents or length alters."""


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
    """

    job_id: str
    needed: bool
    proposals: tuple[Proposal, ...]
    nearest: Proposal | None
    beyond: tuple[str, ...]
    proved: bool = True


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
        self.misses: list[Proposal] = []

    def run(self) -> Levers:
        base = self.reckon([()], self.own)
        self.base_kg = float(base.board.kg[0])
        verdict = base.limits.verdict[0]
        beyond = tuple(name for name in OUT_OF_HAND if verdict[base.limits.of(name)] == OVER)
        self.watched = [name for name in (*BY_MASS, "overhang", SIDE) if verdict[base.limits.of(name)] != UNKNOWN]
        short = self._short(base, 0)
        if not height(self.work.bodies) or not short:
            return Levers(self.job_id, False, (), None, beyond)
        self.changes = possible(self.work, self.rules, self.settings, bool(set(self.watched) & set(BY_PLACE)), self.zones)
        singles = self._singles(self.own)
        self._price(singles)
        proved = self._search(self.own, singles, ())
        for upgrade in self._upgrades():
            proved &= self._search(upgrade, self._singles(upgrade), (self._upgrade_change(upgrade),))
        best = sorted(self.found, key=lambda one: (one.cost, [change.said for change in one.changes]))[: self.settings.alternatives]
        nearest = None if best else min(self.misses, key=lambda one: (one.p_over, -one.margin_kg, one.cost), default=None)
        return Levers(self.job_id, True, tuple(best), nearest, beyond, proved)

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
        if given and singles.limits.verdict[0, heavy] == OVER:
            return True
        if given and not self._short(singles, 0):
            self.found.append(self._proposal((), given, singles, 0, self.upgrade_price))
            return True
        program = self._program(singles, len(given))
        for _ in range(self.settings.most_trials):
            chosen = program.solve()
            if chosen is None or program.cost_of(chosen) > self._dearest():
                break
            proposal = self._tried(chosen, upgrade, given, program)
            if proposal.enough:
                self.found.append(proposal)
                program.cut_with_more(chosen)
            else:
                self.misses.append(proposal)
                program.cut_exactly(chosen)
            # what follows is at least as dear
            if program.cost_of(chosen) >= self._dearest():
                break
        else:
            return False
        if not self.found:
            self.misses.append(self._tried(program.nearest(), upgrade, given, program))
        return True

    def _dearest(self) -> float:
        """Cost of the last proposal that is shown; more is not looked for."""
        costs = sorted(one.cost for one in self.found)
        return costs[self.settings.alternatives - 1] if len(costs) >= self.settings.alternatives else np.inf

    def _tried(self, chosen: Chosen, upgrade: int, given: tuple[Change, ...], program: Program) -> Proposal:
        picked = tuple(self.changes[place] for place in chosen)
        return self._proposal(picked, given, self.reckon([picked], upgrade), 0, program.cost_of(chosen))

    def _program(self, singles: Checked, given: int) -> Program:
        limits = singles.limits
        program = Program(self.prices, self.settings.most_changes - given, self.upgrade_price * given)
        for name in self.watched:
            at = limits.of(name)
            if name == "overhang":
                self._overhang(program, float(limits.rating[0, at]), singles)
                continue
            loaded = limits.value[:, at] + self.reach * limits.sd[:, at]
            # the side balance is in per cent of the vehicle's mass
            in_kg = singles.board.kg[0] / 100.0 if name == SIDE else 1.0
            room = limits.rating[0, at] - loaded[0]
            program.limit(loaded[1:] - loaded[0], room, self.settings.interaction_kg / in_kg, in_kg)
        program.one_a_spot([change.spot for change in self.changes])
        program.chains([((change.spot, CHAINS.get(change.kind, place)), change.step) for place, change in enumerate(self.changes)])
        for weights, most in kept_rules(self.work, self.changes, self.rules):
            program.rule(weights, most)
        return program

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
            saves_sd_kg=self._saving_sd(picked),
            margin_kg=float(np.nanmin(limits.margin[case, weighty])) if weighty else float("nan"),
            p_over=float(np.nanmax(limits.p_over[case, at])),
            short=self._short(checked, case),
        )

    def _saving_sd(self, picked: tuple[Change, ...]) -> float:
        if not picked:
            return 0.0
        stack = stacked(self.work, [(), picked])
        return float(self.model.saving_sd(stack.work.bodies, stack.work.fitout, stack.bodies_each)[1])
