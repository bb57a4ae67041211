"""Stores, hand-ins and staged cells made on the spot, for the tests of sift and store."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb

from pipeline.contract import TABLES
from pipeline.intake import TextTable
from pipeline.intake.texttable import Cells
from pipeline.settings import Settings
from pipeline.sift import Source, create_tables, stage, stage_tables
from pipeline.sift.stage import write_ledger
from pipeline.store import Store
from pipeline.store.audit import digests as reckoned
from pipeline.store.load import load

HAND_INS = Path(__file__).parent / "store" / "hand_ins"
"""Small hand-ins, each named by what is odd about it."""

SECRET = b"k" * 32

FINE: dict[str, dict[str, str]] = {
    "vehicles": {"vehicle_id": "V1", "label": "dual cab", "size_class": "midsize"},
    "upgrades": {"upgrade_id": "U1", "vehicle_id": "V1", "label": "springs", "gvm_kg": "3500"},
    "items": {"item_id": "drawer", "label": "drawer", "group": "drawer"},
    "jobs": {"job_id": "1", "vehicle_id": "V1", "status": "delivered"},
    "bodies": {"job_id": "1", "body": "canopy", "length_mm": "1650", "width_mm": "1800"},
    "fitout": {"job_id": "1", "body": "canopy", "item_id": "drawer"},
    "on_vehicle": {"job_id": "1", "label": "tow bar", "kg": "38"},
    "weighings": {"job_id": "1", "weighed_on": "2026-03-02", "state": "bare", "total_kg": "2100"},
    "settlements": {"table": "bodies", "key": "1/canopy", "verdict": "right"},
}
"""A row of each table with nothing but what it cannot do without."""


@dataclass(frozen=True)
class _Given:
    given: Sequence[tuple[int, Cells]]

    def rows(self) -> Iterator[tuple[int, Cells]]:
        return iter(self.given)

    def cell(self, line: int, column: str, item_id: str | None) -> None:
        return None

    def as_stood(self, line: int) -> dict[str, str]:
        return {}


def staged(
    table: str,
    rows: Sequence[Mapping[str, str | None]],
    scratch: Path,
    *,
    decimal_comma: bool = False,
    scale: Mapping[str, float] | None = None,
) -> tuple[list[dict[str, Any]], list[tuple[str | None, str]]]:
    """What sift reads in raw cells: the typed rows in order (refused ones too), and (column, rule) of every accusation by line.

    A row is filled up from FINE where it does not say; the line of a row is its place from 0.
    """
    columns = tuple(dict.fromkeys(column for row in rows for column in {**FINE[table], **row}))
    cells = [(at, tuple({**FINE[table], **row}.get(column) for column in columns)) for at, row in enumerate(rows)]
    text = TextTable(table, f"{table}.csv", None, columns, _Given(cells), dict(scale or {}), decimal_comma)
    con = duckdb.connect()
    try:
        create_tables(con)
        stage_tables(con)
        read = stage(con, Source(text, 1, 1, "2027-06-30", SECRET), Settings(), scratch)
        assert read == len(rows)
        write_ledger(con, TABLES[table])
        names = ", ".join(f'"{column}"' for column in columns)
        typed = con.execute(f"SELECT {names} FROM staged_{table} ORDER BY line").fetchall()
        accused = con.execute("SELECT line, column_name, rule FROM ledger ORDER BY line, column_name").fetchall()
    finally:
        con.close()
    return [dict(zip(columns, row, strict=True)) for row in typed], accused


def hand_in(folder: Path, tables: Mapping[str, Sequence[Mapping[str, Any]]]) -> Path:
    """A folder with a CSV a table; a column that a row does not name is empty."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        columns = list(dict.fromkeys(column for row in rows for column in row))
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, columns, lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
    return folder


def loaded(root: Path, *names: str | Path) -> Store:
    """A store with hand-ins loaded one after the other; a name is one of HAND_INS."""
    store = Store(root)
    for name in names:
        load([HAND_INS / name if isinstance(name, str) else name], store)
        # a later load adds to the digests of the edition before: a look at all rows must come to the same
        live = store.live()
        assert reckoned(live.cursor()) == live.manifest["digests"]
        live.close()
    return store


def ask(store: Store, sql: str, *values: Any) -> list[tuple[Any, ...]]:
    """Rows of a query on the live edition."""
    edition = store.live()
    try:
        return edition.cursor().execute(sql, list(values)).fetchall()
    finally:
        edition.close()


def account(store: Store, hand_in_name: str, table: str) -> dict[str, int]:
    """What became of the rows of one table of a hand-in."""
    states = ("read", "kept", "suspect", "rejected", "superseded", "left_out", "taken_up")
    (row,) = ask(store, f'SELECT {", ".join(states)} FROM accounts WHERE hand_in = ? AND "table" = ?', hand_in_name, table)
    return dict(zip(states, row, strict=True))


def digests(store: Store) -> dict[str, str]:
    """The live edition's digests, a table each."""
    return store.live().manifest["digests"]
