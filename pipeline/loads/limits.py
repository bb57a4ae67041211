"""Every limit apart: what is on it, its rating, the margin with its interval, and the chance of going over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import NormalDist

import numpy as np

from pipeline.frames import Columns
from pipeline.loads.cases import Cases, Work, children, number, per_class
from pipeline.loads.marks import ON_AXLES, ON_BODIES, ON_VEHICLE, Mark, marks_at, texts_of
from pipeline.loads.on_board import OnBoard
from pipeline.loads.rules import Rule, rule_for
from pipeline.loads.statics import left_share
from pipeline.settings_loads import LimitSettings, VehicleSettings

LIMITS = (
    "gvm", "front_axle", "rear_axle", "front_tyres", "rear_tyres", "gcm", "towed", "ball", "overhang", "width", "height", "shop_rule",
    "heavy", "seats",
)  # fmt: skip
SIDE = "side"
ALL_LIMITS = (*LIMITS, SIDE)
UNITS = {"overhang": "mm", "width": "mm", "height": "mm", "seats": "people", SIDE: "%"}
UNDER, UNKNOWN, MAY_BE_OVER, OVER = 0, 1, 2, 3
VERDICTS = ("under", "unknown", "may be over", "over")
_RANK = np.array([2, 3, 1, 0])
_SHOWN = {
    "gvm": ON_VEHICLE | Mark.NO_EMPTY | Mark.NO_BODY_KG,
    "gcm": ON_VEHICLE | Mark.NO_EMPTY | Mark.NO_BODY_KG,
    SIDE: ON_VEHICLE | Mark.TRACK | Mark.NO_EMPTY | Mark.NO_BODY_KG,
    "overhang": Mark.OFFSET | Mark.NO_HEADBOARD | Mark.NO_WHEELBASE,
    "shop_rule": ON_BODIES | Mark.NO_BODY_KG,
} | dict.fromkeys(
    ("front_axle", "rear_axle", "front_tyres", "rear_tyres"),
    ON_AXLES | Mark.NO_EMPTY | Mark.NO_BODY_KG | Mark.NO_WHEELBASE | Mark.NO_HEADBOARD | Mark.NO_BALL_PLACE,
)


@dataclass(frozen=True)
class Limits:
    """Limits of n cases; arrays (n, k), k in the order of ALL_LIMITS.

    Attributes:
        value, sd, rating: what is on the limit, its standard deviation, the rating; NaN: not known.
        p_over: chance of going over; NaN where there is no verdict.
        verdict: position in VERDICTS.
        marks: bases, assumptions and gaps that bear on the cell.
        job_id, upgrade_id: (n,).
        level: share of outcomes between low and high.
        rules: the country's rule by limit.
        notes: further words on single cells, by (case, limit).
    """

    value: np.ndarray
    sd: np.ndarray
    rating: np.ndarray
    p_over: np.ndarray
    verdict: np.ndarray
    marks: np.ndarray
    job_id: np.ndarray
    upgrade_id: np.ndarray
    level: float
    rules: dict[str, Rule]
    notes: dict[tuple[int, int], str] = field(default_factory=dict)

    @property
    def margin(self) -> np.ndarray:
        """Rating less value; negative is over. In the unit of the limit."""
        return self.rating - self.value

    @property
    def low(self) -> np.ndarray:
        """Low end of the value's interval."""
        return self.value - self._half()

    @property
    def high(self) -> np.ndarray:
        """High end of the value's interval."""
        return self.value + self._half()

    def _half(self) -> np.ndarray:
        return NormalDist().inv_cdf(0.5 + self.level / 2) * self.sd

    def of(self, limit: str) -> int:
        """Column of a limit."""
        return ALL_LIMITS.index(limit)

    def near(self, settings: LimitSettings) -> np.ndarray:
        """(n,) whether GVM or an axle is near its rating: margin or chance beyond the settings."""
        some = [self.of(name) for name in ("gvm", "front_axle", "rear_axle")]
        return np.any((self.margin[:, some] < settings.near_margin_kg) | (self.p_over[:, some] > settings.near_p), axis=1)

    def worst(self) -> np.ndarray:
        """(n, k) columns of each case, the worst limit first: verdict, chance of going over, margin as a share of the rating."""
        with np.errstate(invalid="ignore", divide="ignore"):
            share = np.nan_to_num(self.margin / self.rating, nan=np.inf)
        chance = np.nan_to_num(self.p_over, nan=-1.0)
        order = np.broadcast_to(np.arange(self.value.shape[1]), self.value.shape)
        return np.lexsort((order, share, -chance, _RANK[self.verdict]), axis=-1)

    def table(self, limits: Sequence[str] = LIMITS) -> Columns:
        """A row a limit and case, cases in their order, the worst limit first.

        Returns: job_id, upgrade_id, limit, unit, value, low, high, rating, margin, p_over, verdict, why.
        """
        wanted = np.isin(np.array(ALL_LIMITS), list(limits))
        order = self.worst()
        column = order[wanted[order]]
        case = np.repeat(np.arange(len(order)), len(limits))
        names = np.array(ALL_LIMITS, dtype=object)
        units = np.array([UNITS.get(name, "kg") for name in ALL_LIMITS], dtype=object)
        cells: Columns = {"job_id": self.job_id[case], "upgrade_id": self.upgrade_id[case], "limit": names[column], "unit": units[column]}
        for name in ("value", "low", "high", "rating", "margin", "p_over"):
            cells[name] = getattr(self, name)[case, column]
        cells["verdict"] = np.array(VERDICTS, dtype=object)[self.verdict[case, column]]
        cells["why"] = self._why(case, column)
        return cells

    def _why(self, case: np.ndarray, column: np.ndarray) -> np.ndarray:
        told = texts_of(self.marks[case, column])
        said = np.array([self.rules[name].said() if name in self.rules else "" for name in ALL_LIMITS], dtype=object)[column]
        both = np.array(["", "; "], dtype=object)[((told != "") & (said != "")).astype(int)]
        why = said + both + told
        if self.notes:
            place = {key: row for row, key in enumerate(zip(case.tolist(), column.tolist(), strict=True))}
            for key, note in self.notes.items():
                if key in place:
                    why[place[key]] = f"{note}; {why[place[key]]}" if why[place[key]] else note
        return why


class _Cells:
    """Columns of the (n, k) arrays while they are filled."""

    def __init__(self, size: int) -> None:
        shape = (size, len(ALL_LIMITS))
        # filled a column at a time: a column lies in one piece
        self.value, self.rating = (np.full(shape, np.nan, order="F") for _ in range(2))
        self.sd, self.marks = np.zeros(shape, order="F"), np.zeros(shape, np.int64, order="F")

    def put(self, limit: str, value: np.ndarray, rating: np.ndarray, var: np.ndarray | float = 0.0, marks: np.ndarray | int = 0) -> None:
        at = ALL_LIMITS.index(limit)
        self.value[:, at], self.rating[:, at], self.sd[:, at] = value, rating, np.sqrt(np.maximum(var, 0.0))
        self.marks[:, at] |= marks | marks_at(np.isnan(rating), Mark.NO_RATING, len(self.value))


def judge(work: Work, cases: Cases, board: OnBoard, settings: LimitSettings, vehicle: VehicleSettings, country: str) -> Limits:
    """Compare what is on every case's vehicle with each limit.

    Args:
        country: of the dimension rules; empty: no verdict on dimensions.
    """
    cells = _Cells(len(cases))
    rules = {name: rule for name in ALL_LIMITS if (rule := rule_for(country, name))}
    _masses(cells, cases, board)
    _towing(cells, cases, board)
    _dimensions(cells, work, cases, board, settings, rules, country)
    _heavy(cells, cases, rules, country)
    _shop_and_seats(cells, cases, board, settings, vehicle)
    _side(cells, board, settings)
    for name, shown in _SHOWN.items():
        cells.marks[:, ALL_LIMITS.index(name)] |= board.marks & int(shown)
    return _verdicts(cells, cases, board, settings, rules)


def _masses(cells: _Cells, cases: Cases, board: OnBoard) -> None:
    length = board.geometry.rear_axle
    rear = board.moment_x / length
    mass_var, along, var = board.cov[:, 0, 0], board.cov[:, 0, 1] / length, board.cov[:, 1, 1] / length**2
    cells.put("gvm", board.kg, cases["gvm_kg"], mass_var)
    for suffix, name in (("axle", "limit"), ("tyres", "tyres")):
        cells.put(f"front_{suffix}", board.kg - rear, cases[f"front_{name}_kg"], mass_var - 2 * along + var)
        cells.put(f"rear_{suffix}", rear, cases[f"rear_{name}_kg"], var)


def _towing(cells: _Cells, cases: Cases, board: OnBoard) -> None:
    size = len(cases)
    trailer = np.broadcast_to(np.asarray(board.brought.trailer, float), (size,))
    ball = np.broadcast_to(np.asarray(board.brought.ball, float), (size,))
    light = marks_at(ball > trailer, Mark.LIGHT_TRAILER, size)
    cells.put("gcm", board.kg + np.maximum(trailer - ball, 0.0), cases["gcm_kg"], board.cov[:, 0, 0], light)
    for limit, value, own, bar in (("towed", trailer, "tow_limit_kg", "towbar_tow_kg"), ("ball", ball, "ball_limit_kg", "towbar_ball_kg")):
        lacks = marks_at(np.isnan(cases[bar]) & (value > 0), Mark.NO_TOWBAR, size)
        cells.put(limit, value, np.fmin(cases[own], cases[bar]), marks=lacks | light)


def _dimensions(
    cells: _Cells, work: Work, cases: Cases, board: OnBoard, settings: LimitSettings, rules: dict[str, Rule], country: str
) -> None:
    wheelbase = cases["wheelbase_mm"]
    behind = board.rear_end_mm - wheelbase
    if settings.coupling_counts:
        behind = np.fmax(behind, cases["rear_axle_to_ball_mm"])
    row, case = children(work.job_of_body, cases.job)
    wide, tall = (_largest(number(work.bodies, name)[row], case, len(cases)) for name in ("width_mm", "height_mm"))
    no_body = marks_at(np.isnan(wide), Mark.NO_BODY, len(cases))
    no_deck = marks_at(np.isnan(cases["deck_height_mm"]) & ~np.isnan(tall), Mark.NO_DECK, len(cases))
    measured = (("overhang", behind, no_body), ("width", wide, no_body), ("height", cases["deck_height_mm"] + tall, no_deck))
    for limit, value, marks in measured:
        rule = rules.get(limit)
        cells.put(limit, value, rule.rating(wheelbase) if rule else np.full(len(cases), np.nan), marks=marks)
        _no_rule(cells, limit, rule, country)


def _largest(values: np.ndarray, case: np.ndarray, size: int) -> np.ndarray:
    out = np.full(size, -np.inf)
    good = ~np.isnan(values)
    np.maximum.at(out, case[good], values[good])
    return np.where(np.isinf(out), np.nan, out)


def _no_rule(cells: _Cells, limit: str, rule: Rule | None, country: str) -> None:
    if rule is None:
        at = ALL_LIMITS.index(limit)
        cells.marks[:, at] &= ~int(Mark.NO_RATING)
        cells.marks[:, at] |= int(Mark.NO_RULE if country else Mark.NO_COUNTRY)


def _heavy(cells: _Cells, cases: Cases, rules: dict[str, Rule], country: str) -> None:
    rule = rules.get("heavy")
    cells.put("heavy", cases["gvm_kg"], np.full(len(cases), rule.most if rule else np.nan))
    _no_rule(cells, "heavy", rule, country)


def _shop_and_seats(cells: _Cells, cases: Cases, board: OnBoard, settings: LimitSettings, vehicle: VehicleSettings) -> None:
    size = len(cases)
    cells.put("shop_rule", board.bodies_kg, per_class(settings.shop_bodies_kg, cases["size_class"]), board.bodies_var)
    at = ALL_LIMITS.index("shop_rule")
    ruled = cells.marks[:, at] & int(Mark.NO_RATING)
    cells.marks[:, at] ^= ruled
    cells.marks[:, at] |= np.where(ruled, int(Mark.NO_SHOP_RULE), 0)
    people = sum((np.broadcast_to(np.asarray(kg) > 0, (size,)).astype(float) for kg, *_ in board.brought.people), np.zeros(size))
    by_cab = per_class({cab: float(count) for cab, count in vehicle.seats.items()}, cases["cab"])
    seats = np.where(np.isnan(cases["seats"]), by_cab, cases["seats"])
    assumed = marks_at(np.isnan(cases["seats"]) & ~np.isnan(seats), Mark.SEATS_BY_CAB, size)
    cells.put("seats", people, seats, marks=assumed | (board.marks & int(Mark.NO_REAR_SEAT)))


def _side(cells: _Cells, board: OnBoard, settings: LimitSettings) -> None:
    share = left_share(board.kg, board.moment_y, board.geometry.track)
    by_kg = board.moment_y / board.kg**2 / board.geometry.track
    by_moment = -1 / (board.kg * board.geometry.track)
    var = by_kg**2 * board.cov[:, 0, 0] + 2 * by_kg * by_moment * board.cov[:, 0, 2] + by_moment**2 * board.cov[:, 2, 2]
    cells.put(SIDE, 100 * np.maximum(share, 1 - share), np.full(len(share), 100 * settings.side_share), 1e4 * var)
    cells.marks[:, ALL_LIMITS.index(SIDE)] |= int(Mark.TRACK)


def _verdicts(cells: _Cells, cases: Cases, board: OnBoard, settings: LimitSettings, rules: dict[str, Rule]) -> Limits:
    p_over = chance_over(cells.value, cells.sd, cells.rating)
    at = ALL_LIMITS.index(SIDE)
    # either side may be the heavy one: the chance that the other side goes over is added
    p_over[:, at] += chance_over(100 - cells.value[:, at], cells.sd[:, at], cells.rating[:, at])
    guessed = (board.marks & int(Mark.SPLIT)) != 0
    for name in ("front_axle", "rear_axle", "front_tyres", "rear_tyres"):
        p_over[guessed, ALL_LIMITS.index(name)] = np.nan
    verdict = np.select(
        [np.isnan(p_over), cells.value > cells.rating, p_over > settings.may_be_over_p], [UNKNOWN, OVER, MAY_BE_OVER], UNDER
    ).astype(np.int8)
    nobody_fits = (cells.marks[:, ALL_LIMITS.index("seats")] & int(Mark.NO_REAR_SEAT)) != 0
    verdict[nobody_fits, ALL_LIMITS.index("seats")] = OVER
    return Limits(
        cells.value, cells.sd, cells.rating, p_over, verdict, cells.marks, cases["job_id"], cases["upgrade_id"], settings.level, rules,
    )  # fmt: skip


def chance_over(value: np.ndarray, sd: np.ndarray, rating: np.ndarray) -> np.ndarray:
    """Chance that a normal value goes over its rating; a step where sd is 0; NaN where anything is not known."""
    from scipy.special import ndtr

    chance = np.where(np.isnan(value) | np.isnan(rating), np.nan, value > rating)
    # most cells have no rating or no spread: only the others are worth a probability
    soft = ~np.isnan(chance) & (sd > 0)
    chance[soft] = ndtr((value[soft] - rating[soft]) / sd[soft])
    return chance


def worse_of(with_it: Limits, without: Limits, lifts: np.ndarray) -> Limits:
    """Limits of vehicles whose bodies lift off: the worse of both, cell by cell, with the other told in a note.

    Args:
        lifts: (n,) whether a body of the case lifts off; the others keep `with_it`.
    """
    swap = lifts[:, None] & (without.margin < with_it.margin)
    arrays = ("value", "sd", "rating", "p_over", "verdict", "marks")
    merged = {name: np.where(swap, getattr(without, name), getattr(with_it, name)) for name in arrays}
    notes = dict(with_it.notes)
    differs = ~np.isnan(with_it.margin + without.margin) & (with_it.value != without.value)
    for case, column in np.argwhere(lifts[:, None] & differs).tolist():
        other, word = (with_it, "with it on") if swap[case, column] else (without, "with it off")
        here = "body lifted off" if swap[case, column] else "body on"
        unit = UNITS.get(ALL_LIMITS[column], "kg")
        notes[case, column] = f"{here}; {word} the margin is {other.margin[case, column]:.0f} {unit}"
    return Limits(**merged, job_id=with_it.job_id, upgrade_id=with_it.upgrade_id, level=with_it.level, rules=with_it.rules, notes=notes)
