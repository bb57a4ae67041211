"""Full disks, folders that cannot be written, and processes killed in the middle: the live edition stands, in a sentence."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from power import cut_anywhere
from store_rig import HAND_INS, digests, loaded

from pipeline.cli import main
from pipeline.errors import StoreBroken
from pipeline.store import Store
from pipeline.store.load import load

CAMPAIGN = Path(__file__).parents[1] / "campaign"
MB = 1 << 20


@pytest.fixture(scope="module")
def one(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return loaded(tmp_path_factory.mktemp("one") / "store", "plain").root


@pytest.fixture
def small_disk(tmp_path: Path, one: Path) -> Iterator[Path]:
    """A store on a disk of 24 MB of its own."""
    place = tmp_path / "disk"
    place.mkdir()
    tried = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", str(place)], capture_output=True, text=True, check=False)
    if tried.returncode:
        pytest.skip(f"NOT TESTED: a full disk and a read-only folder, for want of a small tmpfs ({tried.stderr.strip()})")
    shutil.copytree(one, place / "store")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.mark.parametrize("free_kb", [0, 64, 700, 2200])
def test_a_full_disk_is_told_in_a_sentence_and_room_made_lets_the_load_through(
    free_kb: int, small_disk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store, before = Store(small_disk / "store"), digests(Store(small_disk / "store"))
    room = os.statvfs(small_disk)
    with (small_disk / "filler").open("wb") as filler:
        os.posix_fallocate(filler.fileno(), 0, max(1, room.f_bavail * room.f_frsize - free_kb * 1024))
    assert main(["load", str(HAND_INS / "correction"), "--store", str(store.root)]) == 4
    said = capsys.readouterr().err
    assert "the store cannot be written" in said
    assert "make room" in said
    assert (store.live().number, digests(store)) == (1, before)
    (small_disk / "filler").unlink()
    assert main(["load", str(HAND_INS / "correction"), "--store", str(store.root)]) == 0
    assert store.live().number == 2


def test_a_read_only_folder_is_told_in_a_sentence_and_can_still_be_read(small_disk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = small_disk / "store"
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    assert main(["load", str(HAND_INS / "correction"), "--store", str(store)]) == 4
    assert "the store cannot be written" in capsys.readouterr().err
    assert main(["rebuild", "--store", str(store)]) == 4
    assert main(["fit", "--store", str(store)]) == 4
    assert main(["editions", "--store", str(store)]) == 0
    assert main(["export", "bodies", "--store", str(store)]) == 0


def test_a_new_store_where_nothing_may_be_written_is_refused_in_a_sentence(small_disk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    assert main(["load", str(HAND_INS / "plain"), "--store", str(small_disk / "new")]) == 4
    assert "the store cannot be written" in capsys.readouterr().err


def test_killed_at_steps_and_at_random_moments_a_load_leaves_the_old_edition_or_the_new(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, CAMPAIGN / "kills.py", tmp_path, "7", "8", HAND_INS / "plain", HAND_INS / "correction", "load"],
        capture_output=True, text=True, timeout=280, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr
    assert '"tried": 7' in run.stdout


def test_power_lost_at_any_step_leaves_the_old_edition_or_the_new_and_what_was_told_done_is_done(tmp_path: Path, one: Path) -> None:
    shutil.copytree(one, tmp_path / "place" / "store")
    tried, wrong, stores = cut_anywhere(
        tmp_path / "place", tmp_path, lambda: load([HAND_INS / "correction"], Store(tmp_path / "place" / "store")), random.Random(5), 1
    )
    assert wrong == []
    assert tried > 12
    assert {store.live().number for store in stores} == {1, 2}


def test_a_flush_left_out_would_be_noticed(tmp_path: Path, one: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.store.editions.flush", lambda path: None)
    shutil.copytree(one, tmp_path / "place" / "store")
    _, wrong, _ = cut_anywhere(
        tmp_path / "place", tmp_path, lambda: load([HAND_INS / "correction"], Store(tmp_path / "place" / "store")), random.Random(5), 0
    )
    assert any("not whole" in fault or "neither" in fault or "not flushed" in fault for fault in wrong)


def test_a_customer_key_cut_short_is_told_in_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "customer.key").write_bytes(b"half of it")
    monkeypatch.setenv("TAREBOOK_KEY", str(tmp_path / "customer.key"))
    with pytest.raises(StoreBroken, match="the customer key is cut short"):
        load([HAND_INS / "plain"], Store(tmp_path / "store"))
    assert not Store(tmp_path / "store").exists()


def test_a_loader_that_was_killed_leaves_no_folder_that_grows(tmp_path: Path, one: Path) -> None:
    shutil.copytree(one, tmp_path / "store")
    store = Store(tmp_path / "store")
    for name in (".building-dead1", ".building-dead2"):
        (store.editions_folder / name).mkdir()
        (store.editions_folder / name / "tarebook.duckdb").write_bytes(b"half")
    load([HAND_INS / "correction"], store)
    assert [path.name for path in store.editions_folder.iterdir() if path.name.startswith(".")] == []
