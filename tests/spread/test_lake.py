"""The lake: an edition's tables as partitioned Parquet, with a manifest that says what must be there."""

import hashlib
import json

import duckdb
import pytest
from workshop import make_workshop, write_hand_in

from pipeline.contract import TABLES
from pipeline.errors import WrongCall
from pipeline.store import Store
from pipeline.store.lake import export_lake
from pipeline.store.load import load


@pytest.fixture(scope="module")
def lake(tmp_path_factory):
    root = tmp_path_factory.mktemp("lake")
    write_hand_in(make_workshop(seed=9, bodies=60), root / "history")
    store = Store(root / "store")
    load([root / "history"], store)
    return store.live(), root / "out", export_lake(store.live(), str(root / "out"))


def test_every_table_reads_back_row_for_row(lake):
    edition, out, _ = lake
    con = duckdb.connect()
    for table, declared in TABLES.items():
        columns = ", ".join(f'"{name}"' for name in declared.names)
        there = (
            con.execute(f"SELECT {columns} FROM read_parquet('{out}/{table}/**/*.parquet', hive_partitioning=true) ORDER BY ALL").fetchall()
            if (out / table).exists() and any((out / table).rglob("*.parquet"))
            else []
        )
        assert there == edition.cursor().execute(f"SELECT {columns} FROM {table} ORDER BY ALL").fetchall()


def test_the_manifest_tells_rows_types_and_digests_of_the_files_that_lie_there(lake):
    edition, out, manifest = lake
    assert json.loads((out / "manifest.json").read_text()) == manifest
    assert manifest["edition"] == edition.number
    told = {path: file["sha256"] for table in manifest["tables"].values() for path, file in table["files"].items()}
    lying = {str(path.relative_to(out)): hashlib.sha256(path.read_bytes()).hexdigest() for path in out.rglob("*.parquet")}
    assert told == lying
    assert manifest["tables"]["bodies"]["columns"]["length_mm"] == "double"


def test_tables_of_jobs_are_partitioned_by_the_year_of_the_job(lake):
    edition, out, _ = lake
    years = {int(path.name.removeprefix("year=")) for path in (out / "bodies").iterdir()}
    known = edition.cursor().execute(
        "SELECT DISTINCT year(coalesce(quoted_on, ordered_on, delivered_on, lost_on)) FROM jobs JOIN bodies USING (job_id)"
    ).fetchall()  # fmt: skip
    assert years == {year for (year,) in known}


def test_an_export_is_never_written_over_another(lake):
    edition, out, _ = lake
    with pytest.raises(WrongCall, match="lies there already"):
        export_lake(edition, str(out))
