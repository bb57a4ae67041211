"""A folder of drafts as frames: read by the same intake and sifted by the same rules as history is."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from pipeline.contract.drafts import DRAFT_TABLES
from pipeline.errors import InputRefused
from pipeline.frames import Columns, empty, from_sql
from pipeline.intake import TextTable, find_hand_ins, read_hand_in
from pipeline.settings import Settings
from pipeline.sift import Source, arrive, create_tables, planned_as_written, stage, stage_tables
from pipeline.sift.cells import literal
from pipeline.store import Edition

_KNOWN = ("vehicles", "upgrades", "items")
_ALWAYS = (*_KNOWN, "jobs", "bodies", "fitout")


@dataclass(frozen=True)
class Reject:
    """A row of a draft that could not be used, and why."""

    table: str
    file: str
    line: int
    column: str
    rule: str
    value: str
    key: str

    def __str__(self) -> str:
        said = f" = {self.value}" if self.value is not None else ""
        return f"{self.file} line {self.line}: {self.column}{said}: {self.rule.replace('-', ' ')}"


@dataclass(frozen=True)
class Drafts:
    """Frames of a draft folder, with the vehicles, upgrades and items it brings or the store knows.

    `bodies` and `fitout` are as those of history (`fitout.body_row` points into `bodies`); `rejects` says what was left out.
    """

    jobs: Columns
    bodies: Columns
    fitout: Columns
    on_vehicle: Columns
    vehicles: Columns
    upgrades: Columns
    items: Columns
    weighings: Columns
    rejects: Sequence[Reject] = field(default_factory=tuple)


def read_drafts(folder: Path, edition: Edition | None, settings: Settings, dated_on: str | None = None) -> Drafts:
    """Read a draft folder.

    Args:
        edition: where vehicles, upgrades and items are known from; the folder's own come before it.
        dated_on: date of a draft that has no `quoted_on`; none: the newest record of the edition.
    Raises: InputRefused: a file cannot be used, or the path is not one folder or workbook of drafts.
    """
    import duckdb

    hand_ins = find_hand_ins([folder])
    if len(hand_ins) != 1:
        raise InputRefused("drafts are one folder or workbook", where=str(folder), got=f"{len(hand_ins)} hand-ins")
    texts = read_hand_in(hand_ins[0], settings.intake, {name: table.required for name, table in DRAFT_TABLES.items()})
    con = duckdb.connect(":memory:", config={"threads": settings.store.threads})
    try:
        # Only the tables that are wanted: making them all takes longer than an estimate.
        brought = {text.table for text in texts}
        wanted = [table for table in DRAFT_TABLES if table in _ALWAYS or table in brought]
        create_tables(con, wanted, bare=[table for table in wanted if table not in brought])
        _bring_known(con, edition)
        _take_drafts(con, texts, settings)
        return _frames(con, wanted, {number: text.file for number, text in enumerate(texts, 1)}, dated_on or _newest(edition))
    finally:
        con.close()


def _bring_known(con: Any, edition: Edition | None) -> None:
    if edition is None:
        return
    con.execute(f"ATTACH {literal(str(edition.database))} AS past (READ_ONLY)")
    for table in _KNOWN:
        con.execute(f"INSERT INTO {table} BY NAME SELECT * REPLACE (0 AS hand_in, 0 AS source_id) FROM past.{table}")
    con.execute("DETACH past")


def _take_drafts(con: Any, texts: Sequence[TextTable], settings: Settings) -> None:
    brought = {text.table for text in texts}
    present = {name: table for name, table in DRAFT_TABLES.items() if name in brought}
    stage_tables(con, present, first=True)
    last_date = (date.today() + timedelta(days=366)).isoformat()
    with tempfile.TemporaryDirectory() as scratch:
        sources = [Source(text, number, 1, last_date, b"") for number, text in enumerate(texts, 1)]
        rows = sum(stage(con, source, settings, Path(scratch), DRAFT_TABLES) for source in sources)
    with planned_as_written(con, rows):
        arrive(con, 1, present, first=[table for table in present if table not in _KNOWN])


def _newest(edition: Edition | None) -> str | None:
    return edition.manifest["records_to"] if edition else None


_BODIES = """
    SELECT b.*, regexp_replace(b.body, '-[0-9]+$', '') AS kind, j.vehicle_id, j.upgrade_id, j.branch, j.status, v.size_class, v.cab,
           coalesce(j.quoted_on, CAST(? AS DATE)) AS dated_on, 0 AS suspect, 0 AS list_short
    FROM bodies b LEFT JOIN jobs j ON j.job_id = b.job_id AND j.revision = b.revision LEFT JOIN vehicles v USING (vehicle_id)
    ORDER BY b.source_id, b.line, b.part"""
_FITOUT = """
    SELECT f.*, n.body_row FROM fitout f
    JOIN (SELECT job_id, revision, body, row_number() OVER (ORDER BY source_id, line, part) - 1 AS body_row FROM bodies) n
      USING (job_id, revision, body)
    ORDER BY f.source_id, f.line, f.part"""


def _frames(con: Any, made: Sequence[str], files: dict[int, str], dated_on: str | None) -> Drafts:
    fitout = from_sql(con, _FITOUT)
    fitout["body_row"] = fitout["body_row"].astype("int64")
    rejects = tuple(
        Reject(table, files[source], line, column or "row", rule, value, key)
        for table, source, line, column, rule, value, key in con.execute(
            "SELECT table_name, source_id, line, column_name, rule, value, key FROM ledger ORDER BY source_id, line, part, column_name"
        ).fetchall()
    )
    plain = {
        table: from_sql(con, f"SELECT * FROM {table} ORDER BY source_id, line, part") if table in made else _nothing(table)
        for table in ("jobs", "on_vehicle", "vehicles", "upgrades", "items", "weighings")
    }
    return Drafts(bodies=from_sql(con, _BODIES, [dated_on]), fitout=fitout, rejects=rejects, **plain)


def _nothing(table: str) -> Columns:
    kinds = {"number": "number", "integer": "number", "yes_no": "number", "date": "date"}
    return empty({column.name: kinds.get(column.kind, "text") for column in DRAFT_TABLES[table].columns})
