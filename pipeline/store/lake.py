"""An edition as partitioned Parquet, for engines that spread work over many machines.

<out>/<table>/year=2024/part-0.parquet      tables of jobs, by the year of the job's first date (0: no date, or no such job)
<out>/<table>/part-0.parquet                the small ones, and empty ones, so that their columns are known
<out>/model.json                            the mass model, once fitted
<out>/manifest.json                         schema version, edition, and rows, types and file digests of each table; written last

Every table goes along, the books on what was read and refused as well: accounts are made of them.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from pipeline.errors import SourceAway, SourceDamaged, StoreBroken, WrongCall
from pipeline.sift.cells import name
from pipeline.store.editions import MODEL, SCHEMA_VERSION, Edition
from pipeline.store.schema import BY_THE_FIT, view_texts
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
        tables = {table: _write_table(edition, place, table, columns) for table, columns in _tables(edition).items()}
        if edition.has_model:
            put_whole(place, MODEL, edition.model_text().encode())
        manifest = {"schema": SCHEMA_VERSION, "edition": edition.number, "name": edition.name, "model": edition.has_model,
                    "records_to": edition.manifest["records_to"], "tables": tables}  # fmt: skip
        put_whole(place, MANIFEST, json.dumps(manifest, indent=1).encode())
        return manifest


def read_manifest(place: Place, url: str) -> dict[str, Any]:
    """What lies in an export, every file there and of its size.

    Raises: SourceAway: no export there; SourceDamaged: a file is missing or of another size; StoreBroken: made by a newer program.
    """
    try:
        manifest: dict[str, Any] = json.loads(place.files.cat_file(place.path(MANIFEST)))
        tables, schema = manifest["tables"], int(manifest["schema"])
    except FileNotFoundError as error:
        raise SourceAway("no export lies there", where=url, do="`tarebook export lake --out DIR` makes one") from error
    except (ValueError, KeyError, TypeError) as error:
        raise SourceDamaged(f"{MANIFEST} cannot be read", where=url, got=str(error), do="export anew") from error
    if schema > SCHEMA_VERSION:
        raise StoreBroken("the export was made by a newer Tarebook", where=url, got=f"schema {schema}",
                          expected=f"{SCHEMA_VERSION} or lower", do="update Tarebook")  # fmt: skip
    lying = _sizes(place)
    wrong = [path for table in tables.values() for path, file in table["files"].items() if lying.get(path) != file["bytes"]]
    if wrong:
        raise SourceDamaged("a file is missing or of another size", where=f"{url}/{wrong[0]}", do="export anew")
    return manifest


def _tables(edition: Edition) -> dict[str, list[str]]:
    """The tables of an edition with their columns; what is computed of them is not among them."""
    found: dict[str, list[str]] = {}
    listed = edition.cursor().execute(
        "SELECT table_name, column_name FROM information_schema.columns WHERE table_catalog = current_database() "
        "ORDER BY table_name, ordinal_position"
    )
    for table, column in listed.fetchall():
        if table not in view_texts() and table not in BY_THE_FIT:
            found.setdefault(table, []).append(column)
    return found


def _write_table(edition: Edition, place: Place, table: str, columns: list[str]) -> dict[str, Any]:
    import pyarrow.dataset as ds
    import pyarrow.parquet as pq
    from pyarrow.fs import FSSpecHandler, PyFileSystem

    rows = edition.cursor().execute(f"SELECT count(*) FROM {table}").fetchall()[0][0]
    by_year = "job_id" in columns and rows > 0
    listed = ", ".join(f"t.{name(column)}" for column in columns)
    source = f"{table} t LEFT JOIN ({_YEARS}) y ON y.job_id = t.job_id" if by_year else f"{table} t"
    query = f"SELECT {listed}{', coalesce(y.year, 0) AS year' if by_year else ''} FROM {source}"
    reader = edition.cursor().sql(query).to_arrow_reader(ROWS_A_BATCH)
    types = {field.name: str(field.type) for field in reader.schema if not (by_year and field.name == "year")}
    if rows:
        partitioning = ds.partitioning(reader.schema.empty_table().select(["year"]).schema, flavor="hive") if by_year else None
        ds.write_dataset(
            reader, place.path(table), format="parquet", basename_template="part-{i}.parquet", partitioning=partitioning,
            filesystem=PyFileSystem(FSSpecHandler(place.files)), use_threads=False,
        )  # fmt: skip
    else:
        place.files.makedirs(place.path(table), exist_ok=True)
        with place.files.open(place.path(table, "part-0.parquet"), "wb") as file:
            pq.write_table(reader.read_all(), file)
    return {"rows": rows, "partitioned_by": "year" if by_year else None, "columns": types, "files": _digests(place, table)}


def _digests(place: Place, table: str) -> dict[str, dict[str, Any]]:
    """Size and SHA-256 of each file as it lies there, by its path below the export."""
    told = {}
    for path in sorted(place.files.find(place.path(table))):
        digest, size = hashlib.sha256(), 0
        with place.files.open(path, "rb") as file:
            while block := file.read(BLOCK):
                digest.update(block)
                size += len(block)
        told[_below(place, path)] = {"sha256": digest.hexdigest(), "bytes": size}
    return told


def _sizes(place: Place) -> dict[str, int]:
    return {_below(place, path): int(file["size"]) for path, file in place.files.find(place.root, detail=True).items()}


def _below(place: Place, path: str) -> str:
    """A file's path below the export."""
    root = place.root.strip("/")
    return path[path.index(root) :].removeprefix(root).lstrip("/")
