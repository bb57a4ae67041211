"""Soft rules: rows that are kept but marked for a look, each with its reason in words.

A rule is a query that gives the key, the origin and the reason of the rows it marks. `{scope}` narrows it to the jobs
that a load touched.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipeline.settings import Settings

EDGE_KG_PER_M = 1.5
"""Profiles, hinges and welds along the edges of a sheet-metal box; common practice."""
DOOR_KG = 9.0
"""A side door with its gear; common practice."""
FRAME_KG_PER_M2 = {"tray": 25.0, "canopy": 14.0, "box": 14.0}
"""Subframe, posts and fixings by area of the floor; common practice, for marking only."""
ALUMINIUM_KG_PER_M2_MM = 2.7
"""Alloy 6061 or 5005: 2700 kg/m³ (Kissell & Ferry, Aluminum Structures, table 4.3)."""


@dataclass(frozen=True)
class SoftRule:
    """One soft rule: `where` over `source` marks a row; `why` is an SQL text expression."""

    table: str
    rule: str
    key: str
    where: str
    why: str
    source: str = ""


def _out_of_order(earlier: str, later: str) -> SoftRule:
    words = f"'{later[:-3]} on ' || t.{later} || ', before it was {earlier[:-3]} on ' || t.{earlier}"
    return SoftRule("jobs", "dates-out-of-order", _JOB_KEY, f"t.{later} < t.{earlier}", words)


_JOB_KEY = "concat_ws('/', t.job_id, nullif(t.revision, ''))"
_BODY_KEY = "concat_ws('/', t.job_id, nullif(t.revision, ''), t.body)"
_PARTS_KG = "(t.shell_kg + parts.kg + parts.kg_per_m * t.length_mm / 1e3)"
_TICKET_KEY = "concat_ws('/', t.job_id, t.ticket)"

RULES: tuple[SoftRule, ...] = (
    SoftRule(
        "vehicles",
        "axles-half-known",
        "t.vehicle_id",
        "(t.empty_front_kg IS NULL) <> (t.empty_rear_kg IS NULL)",
        "'the empty mass of one axle is known, of the other not'",
    ),
    SoftRule(
        "vehicles",
        "axles-do-not-add-up",
        "t.vehicle_id",
        "abs(t.empty_front_kg + t.empty_rear_kg - t.empty_kg) > 0.01 * t.empty_kg",
        "'the axles add up to ' || (t.empty_front_kg + t.empty_rear_kg) || ' kg, the vehicle is ' || t.empty_kg",
    ),
    SoftRule(
        "vehicles",
        "gvm-over-axles",
        "t.vehicle_id",
        "t.gvm_kg > t.front_limit_kg + t.rear_limit_kg",
        "'GVM ' || t.gvm_kg || ' kg is more than both axle ratings together'",
    ),
    SoftRule(
        "vehicles",
        "empty-over-gvm",
        "t.vehicle_id",
        "t.empty_kg >= t.gvm_kg",
        "'empty ' || t.empty_kg || ' kg is not under GVM ' || t.gvm_kg",
    ),
    SoftRule(
        "vehicles",
        "seat-behind-headboard",
        "t.vehicle_id",
        "t.wheelbase_mm - t.headboard_to_rear_axle_mm - t.rear_seat_mm < {seat_gap_mm}",
        "'the rear seat is less than {seat_gap_mm} mm ahead of the headboard plane'",
    ),
    SoftRule(
        "upgrades",
        "lower-than-factory",
        "t.upgrade_id",
        "t.gvm_kg < v.gvm_kg",
        "'GVM ' || t.gvm_kg || ' kg with it is under the factory''s ' || v.gvm_kg",
        "JOIN vehicles v USING (vehicle_id)",
    ),
    _out_of_order("quoted_on", "ordered_on"),
    _out_of_order("ordered_on", "delivered_on"),
    _out_of_order("quoted_on", "lost_on"),
    SoftRule(
        "jobs",
        "upgrade-of-another-vehicle",
        _JOB_KEY,
        "u.vehicle_id <> t.vehicle_id",
        "'upgrade ' || t.upgrade_id || ' is for ' || u.vehicle_id",
        "JOIN upgrades u USING (upgrade_id)",
    ),
    SoftRule("bodies", "wide", _BODY_KEY, "t.width_mm > {wide_body_mm}", "'wider than {wide_body_mm} mm'"),
    SoftRule("bodies", "shell-over-whole", _BODY_KEY, "t.cad_shell_kg > t.cad_kg", "'the drawn shell is heavier than the drawn body'"),
    SoftRule(
        "bodies",
        "centre-outside-body",
        _BODY_KEY,
        "t.com_x_mm NOT BETWEEN 0 AND t.length_mm OR abs(t.com_y_mm) > t.width_mm / 2",
        "'the centre of mass lies outside the body'",
    ),
    SoftRule(
        "bodies",
        "same-as-unknown",
        _BODY_KEY,
        "t.same_as IS NOT NULL AND NOT EXISTS (SELECT 1 FROM bodies o WHERE t.same_as IN (o.job_id || '/' || o.body, "
        "concat_ws('/', o.job_id, nullif(o.revision, ''), o.body)))",
        "'the older body ' || t.same_as || ' is not in the records'",
    ),
    SoftRule(
        "bodies",
        "list-short",
        _BODY_KEY,
        "true",
        "short.n || ' of its fit-out lines could not be kept'",
        "JOIN (SELECT key, count(DISTINCT (source_id, line, part)) AS n "
        "FROM ledger WHERE table_name = 'fitout' AND closed IS NULL GROUP BY 1) short "
        f"ON short.key = {_BODY_KEY}",
    ),
    SoftRule(
        "bodies",
        "mass-against-parts",
        _BODY_KEY,
        f"parts.items > 0 AND coalesce(t.weighed_kg, t.cad_kg) / {_PARTS_KG} NOT BETWEEN {{parts_low}} AND {{parts_high}}",
        f"'weighs ' || round(coalesce(t.weighed_kg, t.cad_kg) / {_PARTS_KG}, 1) || ' times what its parts add up to'",
        "JOIN parts ON parts.job_id = t.job_id AND parts.revision = t.revision AND parts.body = t.body",
    ),
    SoftRule(
        "weighings",
        "axles-do-not-add-up",
        _TICKET_KEY,
        "abs(t.front_kg + t.rear_kg - t.total_kg) > 1.5 * coalesce(t.scale_step_kg, 20)",
        "'front and rear add up to ' || (t.front_kg + t.rear_kg) || ' kg, the ticket says ' || t.total_kg",
    ),
    SoftRule(
        "weighings",
        "sides-do-not-add-up",
        _TICKET_KEY,
        "abs(t.left_kg + t.right_kg - t.total_kg) > 1.5 * coalesce(t.scale_step_kg, 20)",
        "'left and right add up to ' || (t.left_kg + t.right_kg) || ' kg, the ticket says ' || t.total_kg",
    ),
)

_FRAME_KG = " ".join(f"WHEN starts_with(body, '{kind}') THEN {kg}" for kind, kg in FRAME_KG_PER_M2.items())
_SHELL_KG = f"""(
    {ALUMINIUM_KG_PER_M2_MM} * coalesce(sheet_mm, 2) * (2 * length_mm + 2 * width_mm) * coalesce(height_mm, 0) / 1e6
  + {ALUMINIUM_KG_PER_M2_MM} * coalesce(sheet_mm, 2) * CASE WHEN height_mm IS NULL THEN 0 ELSE length_mm * width_mm / 1e6 END
  + {ALUMINIUM_KG_PER_M2_MM} * coalesce(floor_mm, 3) * length_mm * width_mm / 1e6
  + {EDGE_KG_PER_M} * 4 * (length_mm + width_mm + coalesce(height_mm, 0)) / 1e3 + {DOOR_KG} * coalesce(doors, 0)
  + CASE {_FRAME_KG} END * length_mm * width_mm / 1e6)"""

_PARTS = """
    SELECT f.job_id, f.revision, f.body, count(*) AS items,
           sum(f.qty * (coalesce(i.datasheet_kg, 10) + coalesce(i.datasheet_kg_per_m * f.length_mm / 1e3, 0))) AS kg,
           sum(CASE WHEN f.length_mm IS NULL THEN f.qty * coalesce(i.datasheet_kg_per_m, 0) ELSE 0 END) AS kg_per_m
    FROM fitout f JOIN items i USING (item_id)
    WHERE {scope} GROUP BY ALL"""

_BY_JOB = ("jobs", "bodies", "weighings")


def mark_suspects(con: Any, settings: Settings, everywhere: bool) -> None:
    """Mark anew what the soft rules say: of the touched jobs, or everywhere (after a change of vehicles or items)."""
    numbers = {name: getattr(settings.sift, name) for name in settings.sift.__struct_fields__}
    scope = "true" if everywhere else "{t}.job_id IN (SELECT job_id FROM touched_jobs)"
    con.execute(
        "DELETE FROM suspects" if everywhere else "DELETE FROM suspects WHERE job_id IS NULL OR job_id IN (SELECT job_id FROM touched_jobs)"
    )
    con.execute(f"CREATE OR REPLACE TEMP TABLE parts AS {_PARTS.format(scope=scope.format(t='f'))}")
    for rule in RULES:
        by_job = rule.table in _BY_JOB
        narrowed = scope.format(t="t") if by_job else "true"
        table = f"(SELECT *, {_SHELL_KG} AS shell_kg FROM bodies)" if rule.table == "bodies" else rule.table
        con.execute(
            f"INSERT INTO suspects SELECT '{rule.table}', {rule.key}, '{rule.rule}', {rule.why.format(**numbers)}, "
            f"{'t.job_id' if by_job else 'NULL'}, t.source_id, t.line, t.part "
            f"FROM {table} t {rule.source} WHERE {narrowed} AND ({rule.where.format(**numbers)})"
        )
    # What a person has looked at and called right, or put right, needs no second look.
    con.execute(
        'DELETE FROM suspects AS s WHERE EXISTS (SELECT 1 FROM settlements AS d WHERE d."table" = s.table_name AND d.key = s.key '
        "AND d.verdict IN ('right', 'corrected') AND coalesce(d.rule, s.rule) = s.rule)"
    )
    con.execute("DROP TABLE parts")
