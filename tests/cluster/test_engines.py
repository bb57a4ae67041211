"""What is said where another engine cannot be used, and what a lake's reader sees; nothing here needs Spark."""

import json

import pytest
from workshop import make_workshop, write_hand_in

from pipeline.cli import main
from pipeline.cluster import session
from pipeline.errors import EngineAway, Exit, SourceAway, SourceDamaged, StoreBroken
from pipeline.store import Store
from pipeline.store.lake import export_lake, read_manifest
from pipeline.store.load import load
from pipeline.store.spread import reaching


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    root = tmp_path_factory.mktemp("engines")
    write_hand_in(make_workshop(seed=9, bodies=30), root / "history")
    load([root / "history"], Store(root / "store"))
    return Store(root / "store")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["export", "families", "--master", "local[2]"], "--engine spark beside them"),
        (["export", "families", "--lake", "somewhere"], "--engine spark beside them"),
        (["export", "jobs", "--engine", "spark"], "jobs is not computed by Spark"),
        (["export", "families", "--engine", "spark", "--master", "spark://elsewhere:7077"], "--lake with a folder or address"),
        (["fit", "--report", "--engine", "spark"], "the long report is not made on Spark"),
    ],
)
def test_what_does_not_go_together_is_said_before_anything_starts(store, capsys, words, told):
    assert main([*words, "--store", str(store.root)]) == Exit.WRONG_CALL
    assert told in capsys.readouterr().err


def test_a_missing_extra_says_what_to_install(monkeypatch):
    monkeypatch.setattr(session, "find_spec", lambda name: None)
    with pytest.raises(EngineAway, match=r"pyspark and sqlglot not installed.*tarebook\[cluster\]"), session.spark_session("local[1]"):
        pass


def test_missing_java_is_named(monkeypatch, tmp_path):
    monkeypatch.setattr(session, "find_spec", lambda name: name)
    monkeypatch.delenv("JAVA_HOME", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(EngineAway, match="no Java here"), session.spark_session("local[1]"):
        pass


def _read(url):
    with reaching(url) as place:
        return read_manifest(place, url)


def test_a_lake_that_is_not_whole_is_refused(store, tmp_path):
    lake = tmp_path / "lake"
    with pytest.raises(SourceAway, match="no export lies there"):
        _read(str(lake))
    manifest = export_lake(store.live(), str(lake))
    assert _read(str(lake)) == manifest
    file = next((lake / "bodies").rglob("*.parquet"))
    whole = file.read_bytes()
    file.write_bytes(whole[:-1])
    with pytest.raises(SourceDamaged, match="of another size"):
        _read(str(lake))
    file.unlink()
    with pytest.raises(SourceDamaged, match="missing"):
        _read(str(lake))
    file.write_bytes(whole)
    (lake / "manifest.json").write_text(json.dumps(manifest | {"schema": 99}))
    with pytest.raises(StoreBroken, match="newer Tarebook"):
        _read(str(lake))
    (lake / "manifest.json").write_text("{")
    with pytest.raises(SourceDamaged, match="cannot be read"):
        _read(str(lake))
