"""What a customer may see of history: the one place that decides it.

The rule. A customer sees nothing of any one job: no number, name, note, price, date, drawing or mass of it. What is shown
of history comes from fixed groups of at least LEAST_JOBS jobs: a layout family on a vehicle, or, where no family has that
many on it, on vehicles of the same size class and cab, and then it says so; a wider group differs from every narrower one
that is told by no jobs or by LEAST_JOBS at least. Nobody chooses the groups: no period, branch, length or item narrows them.
Of a group come its name, how common it is in steps no finer than one in so many, its median length to 50 mm, and the middle
80 % of masses, widened to the next 5 kg and only where LEAST_JOBS jobs have one. The build shown is made up of items that at
least half of the family's bodies and at least LEAST_JOBS jobs have; it is nobody's. Whatever is changed is asked of the mass
model and never of history, in steps of 5 kg, so that no difference of two views gives a job away. Where the model's own word
on what history covers would tell of the longest or fullest body ever built, or of an item that one job has, a build counts as
covered where LEAST_JOBS jobs are as long, as short and as full and have each of its items. The sheet keeps to the same
(`customer_sheet`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import msgspec

from pipeline.answers.access import Role, require
from pipeline.answers.draft import Draft, DraftBody, DraftLine, frames_of, from_json, to_json
from pipeline.answers.vehicles import assessed_of, terms_for, work_of_drafts
from pipeline.errors import NoModel
from pipeline.loads.check import Checked, check
from pipeline.mass.bodies import USUAL
from pipeline.mass.estimate import given_or_estimated
from pipeline.mass.items import with_items
from pipeline.mass.model import Model
from pipeline.settings import Settings
from pipeline.settings_loads import TravelLoad
from pipeline.store import Edition

LEAST_JOBS = 5
STEP_KG = 5.0
FULL_TANK = TravelLoad(people=[], luggage_kg=0.0, water_l=0.0, fuel_fraction=1.0)
"""Nobody and nothing on board: what is left then is for people, luggage and ball."""
_LENGTH_STEP_MM = 50.0
_SIZE_STEP_MM = 10.0
_COMMON = 0.5
_RAREST = 20

_SOLD = """
WITH sold AS (
    SELECT b.job_id, b.body, b.kind, b.length_mm, b.width_mm, b.height_mm, b.vehicle_id, b.size_class, b.cab, m.family,
           coalesce(b.weighed_kg, b.cad_kg) AS mass_kg
    FROM current_bodies AS b JOIN family_of_body AS m ON m.job_id = b.job_id AND m.body = b.body
    WHERE b.counted AND b.sold_on IS NOT NULL
)"""
_ON_VEHICLE = "here AS (SELECT * FROM sold WHERE vehicle_id = $vehicle_id)"
_ON_CLASS = """
of_class AS (
    SELECT *, count(DISTINCT job_id) OVER (PARTITION BY family, kind, vehicle_id) >= $least AS told_alone
    FROM sold WHERE (size_class, cab) IN (SELECT (size_class, cab) FROM vehicles WHERE vehicle_id = $vehicle_id)
), rest AS (
    SELECT family, kind, count(DISTINCT job_id) AS jobs FROM of_class WHERE NOT told_alone GROUP BY family, kind
), here AS (
    -- less what is told vehicle by vehicle, a wider group must still hold enough jobs, or else it is made up of those alone
    SELECT c.* FROM of_class AS c LEFT JOIN rest AS r ON r.family = c.family AND r.kind = c.kind WHERE c.told_alone OR r.jobs >= $least
)"""
_COVER = f"""
WITH filled AS (
    SELECT b.job_id, b.kind, b.length_mm, coalesce(sum(f.qty), 0) AS pieces
    FROM current_bodies AS b LEFT JOIN current_fitout AS f ON f.job_id = b.job_id AND f.body = b.body
    WHERE b.counted AND b.sold_on IS NOT NULL AND coalesce(b.weighed_kg, b.cad_kg) IS NOT NULL
    GROUP BY b.job_id, b.body, b.kind, b.length_mm
), by_job AS (
    SELECT kind, job_id, max(length_mm) AS longest, min(length_mm) AS shortest, max(pieces) AS fullest FROM filled GROUP BY kind, job_id
)
SELECT kind, min(shortest, {LEAST_JOBS})[{LEAST_JOBS}], max(longest, {LEAST_JOBS})[{LEAST_JOBS}], max(fullest, {LEAST_JOBS})[{LEAST_JOBS}]
FROM by_job GROUP BY kind HAVING count(*) >= {LEAST_JOBS}"""
_OFTEN_SOLD = """
SELECT i.item_id, i.label FROM items AS i JOIN current_fitout AS f ON f.item_id = i.item_id
JOIN current_jobs AS j ON j.job_id = f.job_id WHERE j.sold_on IS NOT NULL AND i.retired_on IS NULL
GROUP BY ALL HAVING count(DISTINCT f.job_id) >= $least ORDER BY i.label, i.item_id"""


@dataclass(frozen=True)
class Group:
    """A fixed group of history: a family of one kind, on one vehicle or on its class; lengths in mm, masses in kg."""

    family: int
    name: str
    kind: str
    one_in: int
    length_mm: float
    width_mm: float
    height_mm: float | None
    low_kg: float | None
    high_kg: float | None


@dataclass(frozen=True)
class Groups:
    """The groups of a vehicle, the most common first; `wider` where they are those of its size class and cab."""

    found: tuple[Group, ...]
    wider: bool


@dataclass(frozen=True)
class CustomerBuild:
    """A made-up build and what it leaves, kg to STEP_KG; None: not known.

    `left_kg` is what is left for people, luggage and ball on the finished vehicle with a full tank; `margin_kg` what is
    left of GVM with the travel load; both at the middle, `…_low_kg` on the careful side. `with_upgrades` holds the same by
    the upgrade's label. `inside`: whether enough jobs were like it (`covered`).
    """

    draft: Draft
    mass_kg: float
    low_kg: float
    high_kg: float
    left: Left
    with_upgrades: Mapping[str, Left]
    inside: bool


@dataclass(frozen=True)
class Left:
    """What is left of GVM, kg to STEP_KG, the careful side rounded down."""

    left_kg: float | None
    left_low_kg: float | None
    margin_kg: float | None
    margin_low_kg: float | None


def vehicles_to_choose(con: Any, _settings: Settings) -> dict[str, str]:
    """Vehicles by id with what people call them; a vehicle tells nothing of who brought one."""
    return dict(con.execute("SELECT vehicle_id, label FROM vehicles ORDER BY label, vehicle_id").fetchall())


def groups(con: Any, _settings: Settings, vehicle_id: str) -> Groups:
    """The groups of LEAST_JOBS jobs and more that a customer with this vehicle may be told of."""
    if not con.execute("SELECT 1 FROM information_schema.tables WHERE table_name = 'families'").fetchall():
        return Groups((), wider=False)
    own = _groups(con, vehicle_id, _ON_VEHICLE)
    return Groups(own, wider=False) if own else Groups(_groups(con, vehicle_id, _ON_CLASS), wider=True)


def _groups(con: Any, vehicle_id: str, here: str) -> tuple[Group, ...]:
    found = con.execute(
        f"""{_SOLD}, {here},
        kinds AS (SELECT kind, count(DISTINCT job_id) AS jobs FROM here GROUP BY kind)
        SELECT h.family, any_value(f.name), h.kind, count(DISTINCT h.job_id) AS jobs, any_value(k.jobs), median(h.length_mm),
               median(h.width_mm), median(h.height_mm), quantile_cont(h.mass_kg, 0.1), quantile_cont(h.mass_kg, 0.9),
               count(DISTINCT CASE WHEN h.mass_kg IS NOT NULL THEN h.job_id END)
        FROM here AS h JOIN families AS f ON f.family = h.family JOIN kinds AS k ON k.kind = h.kind
        GROUP BY h.family, h.kind HAVING count(DISTINCT h.job_id) >= $least ORDER BY jobs DESC, h.family""",
        {"vehicle_id": vehicle_id, "least": LEAST_JOBS},
    ).fetchall()  # fmt: skip
    return tuple(_group(*row) for row in found)


def _group(
    family: int, name: str, kind: str, jobs: int, of: int, length: float, width: float, height: float | None, low: float | None,
    high: float | None, with_mass: int,
) -> Group:  # fmt: skip
    enough = with_mass >= LEAST_JOBS
    return Group(
        family, name, kind, min(_RAREST, max(1, round(of / jobs))), _to(length, _LENGTH_STEP_MM), _to(width, _SIZE_STEP_MM),
        None if height is None else _to(height, _SIZE_STEP_MM),
        down(low) if enough and low is not None else None, up(high) if enough and high is not None else None,
    )  # fmt: skip


def made_up(con: Any, settings: Settings, vehicle_id: str, group: Group, on_a_tray: bool = True) -> Draft:
    """A build of a group's most common items at its median length; nobody ever ordered it as such.

    Args:
        on_a_tray: put a canopy on the usual tray of such vehicles, where there is one to tell of.
    """
    body = DraftBody(
        group.kind, group.length_mm, group.width_mm, height_mm=group.height_mm, lines=_common_lines(con, group.family, group.kind)
    )
    bodies = [body]
    if group.kind == "canopy" and on_a_tray:
        tray = next((one for one in groups(con, settings, vehicle_id).found if one.kind == "tray"), None)
        if tray is not None:
            length_mm = max(tray.length_mm, group.length_mm)
            lines = _common_lines(con, tray.family, "tray")
            bodies = [
                msgspec.structs.replace(body, sits_on="tray"),
                DraftBody("tray", length_mm, tray.width_mm, sits_on="chassis", lines=lines),
            ]
    return Draft(tuple(bodies), vehicle_id=vehicle_id)


def empty_build(vehicle_id: str, kind: str) -> Draft:
    """A bare body of usual size, to start from where history has no group to tell of."""
    usual = USUAL[kind]
    return Draft((DraftBody(kind, usual["length_mm"], usual["width_mm"], height_mm=usual["height_mm"] or None),), vehicle_id=vehicle_id)


def _common_lines(con: Any, family: int, kind: str) -> tuple[DraftLine, ...]:
    found = con.execute(
        f"""{_SOLD}, members AS (SELECT * FROM sold WHERE family = $family AND kind = $kind),
        held AS (
            SELECT f.item_id, count(DISTINCT m.job_id) AS jobs, count(DISTINCT m.job_id || '/' || m.body) AS bodies,
                   mode(f.zone) AS zone, mode(f.qty) AS qty
            FROM members AS m JOIN current_fitout AS f ON f.job_id = m.job_id AND f.body = m.body GROUP BY f.item_id
        )
        SELECT h.item_id, h.zone, h.qty, i.needs, i.not_with FROM held AS h JOIN items AS i ON i.item_id = h.item_id
        WHERE h.jobs >= $least AND h.bodies >= $common * (SELECT count(*) FROM members) AND i.retired_on IS NULL
        ORDER BY h.bodies DESC, h.item_id""",
        {"family": family, "kind": kind, "least": LEAST_JOBS, "common": _COMMON},
    ).fetchall()  # fmt: skip
    chosen: dict[str, DraftLine] = {}
    refused: set[str] = set()
    for item_id, zone, qty, _, not_with in found:
        if item_id not in refused:
            chosen[item_id] = DraftLine(item_id, float(qty or 1.0), zone or "")
            refused |= set((not_with or "").split())
    needed = {need for item_id, _, _, needs, _ in found if item_id in chosen for need in (needs or "").split()}
    known = {row[0] for row in con.execute("SELECT item_id FROM items").fetchall()}
    return (*chosen.values(), *(DraftLine(item_id) for item_id in sorted((needed - set(chosen) - refused) & known)))


def items_to_choose(con: Any, _settings: Settings | None = None) -> dict[str, str]:
    """Items by id with what people call them, that a customer may put in: LEAST_JOBS jobs and more have one."""
    return dict(con.execute(_OFTEN_SOLD, {"least": LEAST_JOBS}).fetchall())


def covered(edition: Edition, draft: Draft) -> bool:
    """Whether LEAST_JOBS jobs have a body as long, one as short and one as full as each of the draft's, and each of its items."""
    return all(_covered(*_cover(edition), body) for body in draft.bodies)


def _covered(reach: Mapping[str, tuple[float, float, float]], often: frozenset[str], body: DraftBody) -> bool:
    least_mm, most_mm, most_pieces = reach.get(body.body.partition("-")[0], (math.inf, -math.inf, -math.inf))
    few = sum(line.qty for line in body.lines) <= most_pieces
    return few and least_mm <= body.length_mm <= most_mm and all(line.item_id in often for line in body.lines)


@lru_cache(maxsize=4)
def _cover(edition: Edition) -> tuple[dict[str, tuple[float, float, float]], frozenset[str]]:
    """By kind the lengths and the count of pieces that LEAST_JOBS jobs reach at least, and the items that so many have."""
    con = edition.cursor()
    reach = {kind: (least_mm, most_mm, pieces) for kind, least_mm, most_mm, pieces in con.execute(_COVER).fetchall()}
    return reach, frozenset(items_to_choose(con))


def for_customers(settings: Settings) -> Settings:
    """The settings with which a customer's answers are made: no mean over the tickets of fewer than LEAST_JOBS jobs."""
    least = max(settings.vehicles.variant_tickets, LEAST_JOBS)
    return msgspec.structs.replace(settings, vehicles=msgspec.structs.replace(settings.vehicles, variant_tickets=least))


def build_answer(edition: Edition, model: Model | None, settings: Settings, draft_json: str, role: str) -> CustomerBuild:
    """What a build weighs and leaves, out of the mass model alone.

    Args:
        draft_json: the made-up build, or what a customer made of it.
        role: who asks, the value of a Role.
    Raises: NoModel: nothing was fitted yet; WrongCall: not for this role; InputRefused: no such draft.
    """
    require(Role(role), "see-builds")
    if model is None:
        raise NoModel("the live edition has no mass model", where=str(edition.path), do="run `tarebook fit`")
    settings, draft, con = for_customers(settings), from_json(draft_json), edition.cursor()
    frames = frames_of([draft], con, edition.manifest["records_to"])
    work, model = work_of_drafts(frames, settings), with_items(model, frames.items)
    found = given_or_estimated(model, frames.bodies, frames.fitout, settings.limits.level)
    terms, masses = terms_for(edition, work, settings), assessed_of(model, work.bodies, work.fitout, settings)
    bare, laden = (check(work, masses, load, terms, every_upgrade=True) for load in (FULL_TANK, settings.travel))
    left = {upgrade_id or None: _left(laden, bare, case) for case, upgrade_id in enumerate(bare.cases["upgrade_id"].tolist())}
    labels = dict(con.execute("SELECT upgrade_id, label FROM upgrades").fetchall())
    # each body's own interval, added as if all came out high together: the careful side
    return CustomerBuild(
        draft, _to(float(found.estimate_kg.sum()), STEP_KG), down(float(found.low_kg.sum())), up(float(found.high_kg.sum())),
        left.get(draft.upgrade_id, Left(None, None, None, None)),
        {labels.get(upgrade_id, upgrade_id): one for upgrade_id, one in left.items() if upgrade_id is not None},
        covered(edition, draft),
    )  # fmt: skip


def changed(draft: Draft, length_mm: float | None = None, add: str | None = None, take_out: str | None = None) -> Draft:
    """A build changed a little: another length of its first body, an item more or less."""
    body = draft.bodies[0]
    if length_mm is not None:
        body = msgspec.structs.replace(body, length_mm=_to(length_mm, _LENGTH_STEP_MM))
    if add is not None and all(line.item_id != add for line in body.lines):
        body = msgspec.structs.replace(body, lines=(*body.lines, DraftLine(add)))
    if take_out is not None:
        body = msgspec.structs.replace(body, lines=tuple(line for line in body.lines if line.item_id != take_out))
    return msgspec.structs.replace(draft, bodies=(body, *draft.bodies[1:]))


def key_of(draft: Draft) -> str:
    """The draft as the text that `build_answer` reads."""
    return to_json(draft)


def _left(laden: Checked, bare: Checked, case: int) -> Left:
    return Left(*_of_gvm(bare, case), *_of_gvm(laden, case))


def _of_gvm(checked: Checked, case: int) -> tuple[float | None, float | None]:
    limits = checked.limits
    at = limits.of("gvm")
    margin, least = float(limits.margin[case, at]), float(limits.rating[case, at] - limits.high[case, at])
    return (None, None) if math.isnan(margin) else (down(margin), None if math.isnan(least) else down(least))


def down(kg: float) -> float:
    """To the next STEP_KG below.

    >>> down(312.0), up(312.0), down(-1.0)
    (310.0, 315.0, -5.0)
    """
    return math.floor(kg / STEP_KG) * STEP_KG


def up(kg: float) -> float:
    """To the next STEP_KG above."""
    return math.ceil(kg / STEP_KG) * STEP_KG


def _to(value: float, step: float) -> float:
    return round(value / step) * step
