"""What the machine can do without us, and what people do today: scripts that a benchmark runs as processes of their own.

python tests/benchmarks/floors.py duckdb|pandas FOLDER DATABASE
"""

from __future__ import annotations

import sys
from pathlib import Path

TYPES = {
    "vehicles": "vehicle_id VARCHAR, label VARCHAR, size_class VARCHAR, cab VARCHAR, seats INTEGER, wheelbase_mm DOUBLE, "
    "headboard_to_rear_axle_mm DOUBLE, rear_axle_to_ball_mm DOUBLE, front_overhang_mm DOUBLE, empty_kg DOUBLE, empty_front_kg DOUBLE, "
    "tub_kg DOUBLE, gvm_kg DOUBLE, gcm_kg DOUBLE, front_limit_kg DOUBLE, rear_limit_kg DOUBLE, fuel_l DOUBLE, empty_basis VARCHAR, "
    "empty_rear_kg DOUBLE, fuel VARCHAR",
    "upgrades": "upgrade_id VARCHAR, vehicle_id VARCHAR, label VARCHAR, gvm_kg DOUBLE, front_limit_kg DOUBLE, rear_limit_kg DOUBLE, "
    "added_kg DOUBLE, added_x_mm DOUBLE",
    "items": "item_id VARCHAR, label VARCHAR, group_name VARCHAR, datasheet_kg DOUBLE, datasheet_kg_per_m DOUBLE",
    "jobs": "job_id VARCHAR, branch VARCHAR, vehicle_id VARCHAR, status VARCHAR, quoted_on DATE, ordered_on DATE, delivered_on DATE, "
    "lost_on DATE, price DOUBLE, quoted_h DOUBLE",
    "bodies": "job_id VARCHAR, body VARCHAR, length_mm DOUBLE, width_mm DOUBLE, height_mm DOUBLE, sheet_mm DOUBLE, floor_mm DOUBLE, "
    "doors INTEGER, painted BOOLEAN, cad_kg DOUBLE, weighed_kg DOUBLE, scale_step_kg DOUBLE, com_x_mm DOUBLE, com_y_mm DOUBLE",
    "fitout": "job_id VARCHAR, body VARCHAR, item_id VARCHAR, qty DOUBLE, zone VARCHAR, x_mm DOUBLE",
}
"""In the order of the files' columns."""


def with_duckdb(folder: Path, database: Path) -> None:
    """The same files into typed tables, checkpointed: no rule, no ledger, no originals."""
    import duckdb

    con = duckdb.connect(str(database), config={"threads": 2})
    for table, columns in TYPES.items():
        con.execute(f"CREATE TABLE {table} ({columns})")
        con.execute(f"COPY {table} FROM '{folder / table}.csv' (HEADER, AUTO_DETECT false, DELIMITER ',')")
    con.execute("CHECKPOINT")
    con.close()


def with_pandas(folder: Path, database: Path) -> None:
    """The usual script: read, merge, check by mask, write what is good."""
    import duckdb
    import pandas as pd

    tables = {table: pd.read_csv(folder / f"{table}.csv") for table in TYPES}
    jobs, bodies, fitout = tables["jobs"], tables["bodies"], tables["fitout"]
    for column in ("quoted_on", "ordered_on", "delivered_on", "lost_on"):
        jobs[column] = pd.to_datetime(jobs[column], errors="coerce")
    jobs = jobs[jobs.vehicle_id.isin(tables["vehicles"].vehicle_id) & ~jobs.job_id.duplicated(keep=False) & ~(jobs.price < 0)]
    bodies = bodies.merge(jobs[["job_id", "vehicle_id", "quoted_on"]], on="job_id", how="inner")
    within = bodies.length_mm.between(300, 9000) & bodies.width_mm.between(300, 3500)
    for column, low, high in (("height_mm", 100, 3000), ("sheet_mm", 0.5, 12), ("weighed_kg", 5, 5000), ("cad_kg", 5, 5000)):
        within &= bodies[column].isna() | bodies[column].between(low, high)
    bodies = bodies[within & ~bodies.duplicated(["job_id", "body"], keep=False)]
    fitout = fitout[fitout.item_id.isin(tables["items"].item_id) & fitout.qty.between(0, 200)]
    fitout = fitout.merge(bodies[["job_id", "body"]], on=["job_id", "body"], how="inner")
    con = duckdb.connect(str(database), config={"threads": 2})
    for table, frame in {**tables, "jobs": jobs, "bodies": bodies, "fitout": fitout}.items():
        con.register("frame", frame)
        con.execute(f"CREATE TABLE {table} AS SELECT * FROM frame")
        con.unregister("frame")
    con.execute("CHECKPOINT")
    con.close()


if __name__ == "__main__":
    {"duckdb": with_duckdb, "pandas": with_pandas}[sys.argv[1]](Path(sys.argv[2]), Path(sys.argv[3]))
