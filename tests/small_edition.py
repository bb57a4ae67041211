"""Editions made by hand in memory, with the store's own tables and views, for tests of what reads an edition."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import duckdb
import polars as pl

from pipeline.contract import TABLES
from pipeline.layouts.families import build_families
from pipeline.settings_layouts import LayoutSettings
from pipeline.sift.schema import create_tables
from pipeline.store.schema import create_views

VEHICLES = [
    {"vehicle_id": "V-DUAL", "label": "dual cab", "size_class": "midsize", "cab": "dual", "gvm_kg": 3200.0},
    {"vehicle_id": "V-SINGLE", "label": "single cab", "size_class": "midsize", "cab": "single", "gvm_kg": 3200.0},
    {"vehicle_id": "V-BIG", "label": "crew cab", "size_class": "fullsize", "cab": "dual", "gvm_kg": 3800.0},
]
_USUAL = {
    "jobs": {"revision": "", "vehicle_id": "V-DUAL", "status": "delivered"},
    "bodies": {"revision": "", "length_mm": 1800.0, "width_mm": 1800.0},
    "fitout": {"revision": "", "qty": 1.0},
}


def edition(vehicles: Iterable[Mapping[str, Any]] = VEHICLES, **tables: Iterable[Mapping[str, Any]]) -> duckdb.DuckDBPyConnection:
    """An edition with these rows; a column left out is not known, but for keys, length, width and quantity."""
    con = duckdb.connect()
    create_tables(con)
    create_views(con)
    con.execute("insert into hand_ins values (1, 'by-hand', date '2026-01-01')")
    for number, (name, rows) in enumerate({"vehicles": vehicles, **tables}.items(), start=1):
        con.execute("insert into sources (source_id, hand_in, file, table_name) values (?, 1, ?, ?)", [number, f"{name}.csv", name])
        add(con, name, rows, number)
    return con


def add(con: duckdb.DuckDBPyConnection, name: str, rows: Iterable[Mapping[str, Any]], source_id: int = 0) -> None:
    """Put rows into one of the contract's tables, lines counted from 2."""
    known = [column.name for column in TABLES[name].columns]
    full = [{**_USUAL.get(name, {}), **row, "hand_in": 1, "source_id": source_id, "line": line} for line, row in enumerate(rows, start=2)]
    if not full:
        return
    unknown = {key for row in full for key in row} - {*known, "hand_in", "source_id", "line"}
    assert not unknown, f"{name} has no {unknown}"
    incoming = pl.DataFrame(full, infer_schema_length=None)
    con.register("incoming_rows", incoming.to_arrow())
    con.execute(f"insert into {name} by name select * from incoming_rows")
    con.unregister("incoming_rows")


def with_families(con: duckdb.DuckDBPyConnection, settings: LayoutSettings | None = None) -> duckdb.DuckDBPyConnection:
    """The same edition with its families built."""
    build_families(con, None, settings or LayoutSettings())
    return con
