"""The tables of an edition as partitioned Parquet, for engines that spread work over many machines.

<out>/<table>/year=2024/part-0.parquet      tables of jobs, by the year of the job's first date (0: no date)
<out>/<table>/part-0.parquet                the small ones
<out>/manifest.json                         schema version, edition, and rows, types and file digests of each table; written last
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from pipeline.contract import TABLES
from pipeline.errors import WrongCall
from pipeline.sift.cells import name
from pipeline.store.editions import SCHEMA_VERSION, Edition
from pipeline.store.spread import BLOCK, Place, put_whole, reaching

MANIFEST = "manifest.json"
ROWS_A_BATCH = 100_000
_YEARS = """
    SELECT job_id, coalesce(min(year(coalesce(quoted_on, ordered_on, delivered_on, lost_on))), 0) AS year FROM jobs GROUP BY job_id"""


def export_lake(edition: Edition, url: str) -> dict[str, Any]:
    """Write every table of an edition to a folder or object storage, in constant memory.

    Returns: the manifest.
    Raises: WrongCall: another export lies there; SourceAway: the place cannot be reached or written.
    """
    with reaching(url) as place:
        if place.files.exists(place.path(MANIFEST)):
            raise WrongCall("an export lies there already", where=url, do="choose another folder, or remove it first")
        tables = {table: _write_table(edition, place, table) for table in TABLES}
        manifest = {"schema": SCHEMA_VERSION, "edition": edition.number, "name": edition.name,
                    "records_to": edition.manifest["records_to"], "tables": tables}  # fmt: skip
        put_whole(place, MANIFEST, json.dumps(manifest, indent=1).encode())
        return manifest


def _write_table(edition: Edition, place: Place, table: str) -> dict[str, Any]:
    import pyarrow.dataset as ds
    from pyarrow.fs import FSSpecHandler, PyFileSystem

    of_jobs = "job_id" in TABLES[table].names
    columns = ", ".join(f"t.{name(column.name)}" for column in TABLES[table].columns)
    source = f"{table} t JOIN ({_YEARS}) y USING (job_id)" if of_jobs else f"{table} t"
    reader = edition.cursor().sql(f"SELECT {columns}{', y.year' if of_jobs else ''} FROM {source}").to_arrow_reader(ROWS_A_BATCH)
    partitioning = ds.partitioning(reader.schema.empty_table().select(["year"]).schema, flavor="hive") if of_jobs else None
    ds.write_dataset(
        reader, place.path(table), format="parquet", basename_template="part-{i}.parquet", partitioning=partitioning,
        filesystem=PyFileSystem(FSSpecHandler(place.files)), use_threads=False,
    )  # fmt: skip
    rows = edition.cursor().execute(f"SELECT count(*) FROM {table}").fetchall()[0][0]
    types = {field.name: str(field.type) for field in reader.schema if field.name != "year"}
    return {"rows": rows, "partitioned_by": "year" if of_jobs else None, "columns": types, "files": _digests(place, table)}


def _digests(place: Place, table: str) -> dict[str, dict[str, Any]]:
    """Size and SHA-256 of each file as it lies there, by its path below the export."""
    told = {}
    for path in sorted(place.files.find(place.path(table))):
        digest, size = hashlib.sha256(), 0
        with place.files.open(path, "rb") as file:
            while block := file.read(BLOCK):
                digest.update(block)
                size += len(block)
        below = path[path.index(place.path(table).strip("/")) :].removeprefix(place.root.strip("/")).lstrip("/")
        told[below] = {"sha256": digest.hexdigest(), "bytes": size}
    return told
