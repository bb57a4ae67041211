"""One smoke run, small: the benchmarks still run. Their figures are no test."""

from __future__ import annotations

import csv
from pathlib import Path

import run
from make_history import CHUNK, write_history
from measure import Setup


def test_a_history_has_its_size_and_the_same_bytes_each_time(tmp_path):
    counts = write_history(tmp_path / "first", 1000)
    assert counts["bodies"] == counts["jobs"] == 1000
    assert 6000 < counts["fitout"] < 9000
    write_history(tmp_path / "again", 1000)
    for table in ("jobs", "bodies", "fitout", "items", "vehicles", "upgrades"):
        assert (tmp_path / "first" / f"{table}.csv").read_bytes() == (tmp_path / "again" / f"{table}.csv").read_bytes()


def test_a_history_of_several_chunks_has_one_header_and_every_job_once(tmp_path):
    write_history(tmp_path, CHUNK + 50)
    with (tmp_path / "bodies.csv").open(newline="", encoding="utf-8") as lines:
        jobs = [row["job_id"] for row in csv.DictReader(lines)]
    assert len(jobs) == len(set(jobs)) == CHUNK + 50


def test_loading_is_measured_beside_both_floors(tmp_path, monkeypatch):
    monkeypatch.setenv("TAREBOOK_KEY", str(tmp_path / "customer.key"))
    setup = Setup(tmp_path, 1000, 1)
    figures = [*run.ROWS["load"](setup), *run.ROWS["load-pandas"](setup)]
    assert all(figure.ours > 0 for figure in figures)
    assert run.table(figures).count("\n") == 1 + len(figures)


def test_every_row_is_told_in_the_readme():
    told = Path(run.__file__).with_name("README.md").read_text("utf-8")
    assert [name for name in run.ROWS if f"| `{name}` |" not in told] == []
