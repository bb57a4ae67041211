"""Editions on other machines: followers see whole editions alone, whatever happens on the way."""

import json
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from pyarrow.dataset import dataset

from pipeline.errors import SourceAway, SourceDamaged
from pipeline.store import Store
from pipeline.store.lake import export_lake, read_manifest
from pipeline.store.load import load
from pipeline.store.spread import follow_once, publish_edition, reaching

ROOT = Path(__file__).parents[2]


@pytest.fixture
def store(tmp_path, monkeypatch):
    """A store of one job, loaded once."""
    monkeypatch.setenv("TAREBOOK_KEY", str(tmp_path / "customer.key"))
    hand_in(tmp_path / "first", "J1")
    made = Store(tmp_path / "store")
    load([tmp_path / "first"], made)
    return made


def hand_in(folder, job_id):
    folder.mkdir()
    (folder / "vehicles.csv").write_text("vehicle_id,label,size_class\nV1,a ute,midsize\n")
    (folder / "jobs.csv").write_text(f"job_id,vehicle_id,status,customer_ref\n{job_id},V1,delivered,Somebody\n")
    (folder / "bodies.csv").write_text(f"job_id,body,length_mm,width_mm\n{job_id},canopy,1650,1780\n")


def jobs_of(store):
    return {job for (job,) in store.live().cursor().execute("SELECT job_id FROM jobs").fetchall()}


def test_a_follower_gets_the_edition_whole_and_only_once(store, tmp_path):
    source, follower = str(tmp_path / "source"), Store(tmp_path / "follower")
    publish_edition(store.live(), source)
    assert follow_once(follower, source).name == store.live().name
    assert jobs_of(follower) == {"J1"}
    assert follow_once(follower, source) is None


def test_a_new_edition_arrives_and_the_old_one_can_be_gone_back_to(store, tmp_path):
    source, follower = str(tmp_path / "source"), Store(tmp_path / "follower")
    publish_edition(store.live(), source)
    follow_once(follower, source)
    hand_in(tmp_path / "second", "J2")
    load([tmp_path / "second"], store)
    publish_edition(store.live(), source)
    follow_once(follower, source)
    assert jobs_of(follower) == {"J1", "J2"}
    assert follower.use(1).number == 1
    assert jobs_of(follower) == {"J1"}


def test_originals_and_the_customer_key_are_never_published(store, tmp_path):
    publish_edition(store.live(), str(tmp_path / "source"))
    published = [path for path in (tmp_path / "source").rglob("*") if path.is_file()]
    assert {path.name for path in published} == {"live.json", "tarebook.duckdb", "manifest.json"}
    assert not any(b"Somebody" in path.read_bytes() for path in published)


def test_a_file_damaged_on_the_way_is_refused_and_the_old_edition_stays(store, tmp_path):
    source, follower = str(tmp_path / "source"), Store(tmp_path / "follower")
    publish_edition(store.live(), source)
    follow_once(follower, source)
    hand_in(tmp_path / "second", "J2")
    load([tmp_path / "second"], store)
    publish_edition(store.live(), source)
    damaged = tmp_path / "source/editions" / store.live().name / "tarebook.duckdb"
    data = bytearray(damaged.read_bytes())
    data[len(data) // 2] ^= 0xFF
    damaged.write_bytes(data)
    with pytest.raises(SourceDamaged, match=r"tarebook\.duckdb arrived damaged"):
        follow_once(follower, source)
    assert jobs_of(follower) == {"J1"}
    damaged.write_bytes(store.live().database.read_bytes())
    follow_once(follower, source)
    assert jobs_of(follower) == {"J1", "J2"}


def test_while_the_source_is_away_the_follower_keeps_its_edition(store, tmp_path):
    source, follower = tmp_path / "source", Store(tmp_path / "follower")
    publish_edition(store.live(), str(source))
    follow_once(follower, str(source))
    source.rename(tmp_path / "elsewhere")
    with pytest.raises(SourceAway):
        follow_once(follower, str(source))
    assert jobs_of(follower) == {"J1"}


@pytest.mark.parametrize("name", ["../../etc", "a/b", "", ".hidden"])
def test_a_name_from_outside_is_never_taken_for_a_path(tmp_path, name):
    (tmp_path / "source").mkdir()
    (tmp_path / "source/live.json").write_text(json.dumps({"edition": name, "files": {}}))
    with pytest.raises(SourceDamaged):
        follow_once(Store(tmp_path / "follower"), str(tmp_path / "source"))


def test_a_publisher_killed_between_two_files_leaves_the_last_whole_edition(store, tmp_path):
    source, follower = tmp_path / "source", Store(tmp_path / "follower")
    publish_edition(store.live(), str(source))
    follow_once(follower, str(source))
    hand_in(tmp_path / "second", "J2")
    load([tmp_path / "second"], store)
    code = (
        "import os, signal\nfrom pathlib import Path\nfrom pipeline.store import Store, spread\n"
        "spread.reached = lambda step: step == 'copied-tarebook.duckdb' and os.kill(os.getpid(), signal.SIGKILL)\n"
        f"spread.publish_edition(Store(Path({str(store.root)!r})).live(), {str(source)!r})\n"
    )
    killed = subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False)
    assert killed.returncode == -signal.SIGKILL
    assert follow_once(follower, str(source)) is None
    assert jobs_of(follower) == {"J1"}
    publish_edition(store.live(), str(source))
    follow_once(follower, str(source))
    assert jobs_of(follower) == {"J1", "J2"}


HALF_A_FILE = """
import os, signal
from pathlib import Path
from fsspec.implementations.local import LocalFileSystem
from pipeline.store import Store, spread

def half(self, source, target, *_args, **_more):
    data = Path(source).read_bytes()
    with open(target, "wb") as file:
        file.write(data[: len(data) // 2])
    os.kill(os.getpid(), signal.SIGKILL)

LocalFileSystem.put_file = half
spread.publish_edition(Store(Path({store!r})).live(), {source!r})
"""
"""A publisher that dies with half a file written."""


def test_three_followers_as_processes_serve_a_whole_edition_throughout(store, tmp_path):
    """Publishers die in the middle of a file, a file is damaged on the way, the source goes away: whole editions all along."""
    source = tmp_path / "source"
    publish_edition(store.live(), str(source))
    followers = [Store(tmp_path / f"follower-{n}") for n in range(3)]
    talk = [tmp_path / f"talk-{n}" for n in range(3)]
    call = [sys.executable, "-m", "pipeline.cli", "editions", "follow", str(source), "--every", "0.1", "--store"]
    running = []
    for one, path in zip(followers, talk, strict=True):
        with path.open("w") as file:
            running.append(subprocess.Popen([*call, str(one.root)], cwd=ROOT, stderr=file))

    def all_hold(jobs):
        return all(one.exists() and jobs_of(one) == jobs for one in followers)

    def wait_for(holds, states):
        deadline = time.monotonic() + 90
        while not holds():
            assert time.monotonic() < deadline
            assert all(jobs_of(one) in states for one in followers if one.exists())
            time.sleep(0.1)

    def all_say(words):
        return all(words in path.read_text() for path in talk)

    try:
        first, second = {"J1"}, {"J1", "J2"}
        wait_for(lambda: all_hold(first), [first])

        hand_in(tmp_path / "second", "J2")
        load([tmp_path / "second"], store)
        killed = subprocess.run(
            [sys.executable, "-c", HALF_A_FILE.format(store=str(store.root), source=str(source))], cwd=ROOT, check=False
        )
        assert killed.returncode == -signal.SIGKILL
        half = source / "editions" / store.live().name / "tarebook.duckdb"
        assert 0 < half.stat().st_size < store.live().database.stat().st_size
        time.sleep(0.5)
        assert all_hold(first)

        publish_edition(store.live(), str(source))
        wait_for(lambda: all_hold(second), [first, second])

        hand_in(tmp_path / "third", "J3")
        load([tmp_path / "third"], store)
        third = {"J1", "J2", "J3"}
        publish_edition(store.live(), str(tmp_path / "staging"))
        told = (tmp_path / "staging/live.json").read_bytes()
        folder = source / "editions" / store.live().name
        shutil.copytree(tmp_path / "staging/editions" / store.live().name, folder)
        whole = (folder / "tarebook.duckdb").read_bytes()
        (folder / "tarebook.duckdb").write_bytes(whole[:5000] + b"damaged" + whole[5007:])
        (source / "live.part").write_bytes(told)
        (source / "live.part").rename(source / "live.json")
        wait_for(lambda: all_say("arrived damaged"), [second])
        assert all_hold(second)
        (folder / "tarebook.duckdb").write_bytes(whole)
        wait_for(lambda: all_hold(third), [second, third])

        source.rename(tmp_path / "elsewhere")
        wait_for(lambda: all_say("the edition that is live here stays"), [third])
        assert all_hold(third)
        (tmp_path / "elsewhere").rename(source)
        hand_in(tmp_path / "fourth", "J4")
        load([tmp_path / "fourth"], store)
        publish_edition(store.live(), str(source))
        wait_for(lambda: all_hold(third | {"J4"}), [third, third | {"J4"}])
    finally:
        for process in running:
            process.terminate()
            process.wait()


@pytest.fixture
def bucket(monkeypatch):
    """A bucket on a real S3 server on loopback."""
    pytest.importorskip("moto.server", reason="SKIPPED: object storage is not tried, the package moto is not installed")
    pytest.importorskip("s3fs", reason="SKIPPED: object storage is not tried, the package s3fs is not installed")
    import boto3
    import fsspec.config
    import s3fs
    from moto.server import ThreadedMotoServer

    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    address = f"http://{host}:{port}"
    for key, value in {"AWS_ACCESS_KEY_ID": "test", "AWS_SECRET_ACCESS_KEY": "test", "AWS_DEFAULT_REGION": "us-east-1"}.items():
        monkeypatch.setenv(key, value)
    monkeypatch.setitem(fsspec.config.conf, "s3", {"endpoint_url": address})
    boto3.client("s3", endpoint_url=address).create_bucket(Bucket="editions")
    yield "s3://editions/ours"
    s3fs.S3FileSystem.clear_instance_cache()
    server.stop()


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning")
def test_object_storage_carries_editions_like_a_folder(store, tmp_path, bucket):
    follower = Store(tmp_path / "follower")
    publish_edition(store.live(), bucket)
    follow_once(follower, bucket)
    assert jobs_of(follower) == {"J1"}
    hand_in(tmp_path / "second", "J2")
    load([tmp_path / "second"], store)
    publish_edition(store.live(), bucket)
    follow_once(follower, bucket)
    assert jobs_of(follower) == {"J1", "J2"}


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning")
def test_object_storage_holds_a_lake_like_a_folder(store, tmp_path, bucket):
    """Read back by pyarrow, which knows nothing of the project."""
    told, beside = export_lake(store.live(), bucket), export_lake(store.live(), str(tmp_path / "lake"))
    assert told == beside
    with reaching(bucket) as place:
        assert read_manifest(place, bucket) == told
        kept = dataset(place.path("jobs"), filesystem=place.files, format="parquet").to_table()
    assert kept.column("job_id").to_pylist() == ["J1"]
