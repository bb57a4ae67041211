"""The same figures from Spark as from DuckDB, on several worker processes; skipped aloud where Java or pyspark is missing.

Checked against the embedded engine, whose own figures are checked against outside sources in tests/trends, tests/layouts and
tests/mass.
"""

from __future__ import annotations

import argparse
import os
import shutil
from functools import partial
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal
from same_rows import different

from pipeline.answers.exports import EXPORTS, SPREAD
from pipeline.answers.history import history_of
from pipeline.cli.papers import write_summary
from pipeline.cluster.session import spark_session
from pipeline.layouts.families import signature_values
from pipeline.layouts.views import ask
from pipeline.mass.fit import fit, fit_spread
from pipeline.store import Store
from pipeline.store.lake import export_lake
from pipeline.store.load import load

MASTER = "local-cluster[2,1,1024]"
RECORDS = Path(__file__).parents[2] / "sample_data" / "records"
LACKING = [name for name in ("pyspark", "sqlglot") if find_spec(name) is None] + ([] if shutil.which("java") else ["Java"])

pytestmark = [
    pytest.mark.slow,
    pytest.mark.timeout(1800),
    pytest.mark.skipif(bool(LACKING), reason=f"SKIPPED: NOTHING IS COMPUTED ON SPARK HERE, there is no {' and no '.join(LACKING)}"),
    pytest.mark.filterwarnings("ignore"),
]


@pytest.fixture(scope="module")
def editions(tmp_path_factory):
    """The sample data fitted, in a store and in a lake that two worker processes read."""
    from pipeline.answers.fitting import fit_store
    from pipeline.cluster.lake import LakeEdition

    root = tmp_path_factory.mktemp("spark")
    store = Store(root / "store")
    load([RECORDS], store)
    fit_store(store)
    export_lake(store.live(), str(root / "lake"))
    with spark_session(MASTER) as spark:
        yield store, LakeEdition(spark, str(root / "lake"))


def _workers(spark) -> set[int]:
    return set(spark.sparkContext.parallelize(range(8), 8).map(lambda _number: os.getppid()).collect())


def test_several_processes_work(editions):
    assert len(_workers(editions[1].spark)) >= 2


@pytest.mark.parametrize("what", SPREAD)
def test_an_export_says_the_same(editions, what):
    store, lake = editions
    settings = store.settings()
    here, there = EXPORTS[what](store.live(), settings), EXPORTS[what](lake, settings)
    assert len(here.rows) > 0
    assert different(here, there) == []


def test_the_summary_of_a_month_is_the_same_paper(editions):
    store, lake = editions
    call = argparse.Namespace(store=store, month="2026-03", out=store.root / "month.pdf")
    papers = []
    for edition in (store.live(), lake):
        write_summary(call, edition)
        papers.append(call.out.read_bytes())
    assert papers[0] == papers[1]
    assert papers[0].startswith(b"%PDF")


def test_signatures_of_layouts_are_the_same_text(editions):
    store, lake = editions
    values = signature_values(store.settings().layouts)
    here, there = (ask(one.cursor(), "signatures", None, **values).sort("job_id", "body") for one in (store.live(), lake))
    assert_frame_equal(there.select(here.columns), here.cast(there.select(here.columns).schema))
    assert here.filter(pl.col("layout") != "").height > 1000


def test_the_fit_on_two_workers_is_the_fit_here(editions):
    from pipeline.cluster.blocks import SparkBlocks

    store, lake = editions
    settings, history = store.settings(), history_of(store.live().cursor())
    here = fit(history, settings.mass, settings.vehicles)
    there, _evidence = fit_spread(history, settings.mass, settings.vehicles, partial(SparkBlocks, lake.spark.sparkContext))
    assert np.abs(there.coef - here.coef).max() < 1e-8
    np.testing.assert_allclose(there.factors, here.factors, rtol=1e-8)
    np.testing.assert_allclose(there.noise, here.noise, rtol=1e-8)
    assert there.digest == here.digest
    assert np.array_equal(there.unseen_pairs, here.unseen_pairs)
