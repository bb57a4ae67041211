"""Editions: published whole, brought back, pruned, found again when the pointer is lost."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
from store_rig import FINE, HAND_INS, ask, digests, hand_in, loaded

from pipeline.cli import main
from pipeline.errors import NoStore, StoreBroken, StoreBusy, WrongCall
from pipeline.store import Store
from pipeline.store.disk import only_one
from pipeline.store.editions import DATABASE, MANIFEST
from pipeline.store.load import load
from pipeline.store.rebuild import rebuild


@pytest.fixture(scope="module")
def _three(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return loaded(tmp_path_factory.mktemp("three") / "store", "plain", "correction", "list-anew").root


@pytest.fixture
def three(tmp_path: Path, _three: Path) -> Store:
    """A store of its own with three editions."""
    shutil.copytree(_three, tmp_path / "three")
    return Store(tmp_path / "three")


def test_each_load_publishes_the_next_edition_and_the_newest_is_live(three: Store) -> None:
    assert [edition.number for edition in three.editions()] == [1, 2, 3]
    assert three.live().number == 3
    assert three.live().manifest["parent"] == 2


def test_the_same_bytes_again_change_nothing_and_say_so(three: Store, capsys: pytest.CaptureFixture[str]) -> None:
    before = {path: path.stat().st_mtime_ns for path in three.root.rglob("*") if path.is_file()}
    assert main(["load", str(HAND_INS / "plain"), "--store", str(three.root)]) == 0
    assert "nothing new; edition 3 stays live" in capsys.readouterr().err
    assert {path: path.stat().st_mtime_ns for path in three.root.rglob("*") if path.is_file()} == before


def test_an_older_edition_can_be_made_live_and_the_bytes_loaded_anew(three: Store) -> None:
    three.use(2)
    assert three.live().number == 2
    assert ask(three, "SELECT count(*) FROM fitout WHERE job_id = '101'") == [(3,)]
    result = load([HAND_INS / "list-anew"], three)
    assert (result.changed, result.edition.number, result.edition.manifest["parent"]) == (True, 4, 2)
    with pytest.raises(WrongCall, match="no edition 9"):
        three.use(9)


def test_old_editions_go_but_never_the_live_one_or_its_parent(three: Store, tmp_path: Path) -> None:
    (three.root / "tarebook.toml").write_text("[store]\nkeep_editions = 2\n")
    three.use(1)
    load([HAND_INS / "same-key-twice"], three)
    assert {edition.number for edition in three.editions()} == {1, 4}
    load([hand_in(tmp_path / "item", {"items": [{**FINE["items"], "item_id": "shelf"}]})], three)
    assert {edition.number for edition in three.editions()} == {4, 5}


@pytest.mark.parametrize("left", ["", "0000", "000003-nothing\n", "\0\0\0\0", "../../etc\n", "000003"])
def test_with_a_pointer_lost_or_cut_short_the_newest_whole_edition_is_live(left: str, three: Store) -> None:
    three.pointer.write_text(left)
    assert three.live().number == 3
    assert load([HAND_INS / "jobs-after"], three).edition.number == 4


def test_a_database_cut_short_is_no_edition_and_the_newest_whole_one_is_live(three: Store) -> None:
    database = three.live().database
    os.truncate(database, database.stat().st_size // 2)
    assert [edition.number for edition in three.editions()] == [1, 2]
    assert three.live().number == 2
    load([HAND_INS / "list-anew"], three)
    assert ask(three, "SELECT count(*) FROM fitout WHERE job_id = '101' AND body = 'canopy'") == [(3,)]


def test_a_manifest_cut_short_is_no_edition(three: Store) -> None:
    manifest = three.live().path / MANIFEST
    os.truncate(manifest, manifest.stat().st_size // 2)
    assert three.live().number == 2


def test_bytes_gone_bad_inside_a_database_are_told_in_a_sentence(three: Store) -> None:
    database = three.live().database
    size = database.stat().st_size
    database.chmod(0o644)
    with database.open("r+b") as file:
        file.write(b"\xff" * min(size, 16384))
    with pytest.raises(StoreBroken, match="cannot be opened"):
        ask(three, "SELECT 1")


def test_a_store_made_by_a_newer_program_is_refused_with_a_sentence(three: Store, capsys: pytest.CaptureFixture[str]) -> None:
    manifest = three.live().path / MANIFEST
    manifest.write_text(json.dumps({**json.loads(manifest.read_text()), "schema": 99}))
    assert main(["editions", "--store", str(three.root)]) == 4
    said = capsys.readouterr().err
    assert "made by a newer Tarebook" in said
    assert "update Tarebook" in said


def test_no_store_is_told_with_what_makes_one(tmp_path: Path) -> None:
    with pytest.raises(NoStore, match="`tarebook load PATH` makes one"):
        Store(tmp_path / "none").live()


def test_a_second_loader_says_so_and_exits_with_four(three: Store, capsys: pytest.CaptureFixture[str]) -> None:
    with only_one(three.lock):
        assert main(["load", str(HAND_INS / "jobs-after"), "--store", str(three.root)]) == 4
        assert "another load or fit is at work" in capsys.readouterr().err
        with pytest.raises(StoreBusy):
            rebuild(three)
    assert main(["load", str(HAND_INS / "jobs-after"), "--store", str(three.root)]) == 0


def test_a_loader_that_dies_with_the_lock_does_not_keep_it(three: Store) -> None:
    holder = subprocess.Popen(
        [sys.executable, "-c", f"from pathlib import Path\nfrom pipeline.store.disk import only_one\nimport time\n"
         f"with only_one(Path({str(three.lock)!r})):\n    print('held', flush=True)\n    time.sleep(60)"],
        stdout=subprocess.PIPE,
    )  # fmt: skip
    assert holder.stdout is not None
    assert holder.stdout.readline() == b"held\n"
    with pytest.raises(StoreBusy):
        load([HAND_INS / "jobs-after"], three)
    holder.kill()
    holder.wait()
    holder.stdout.close()
    assert load([HAND_INS / "jobs-after"], three).edition.number == 4


def test_rebuild_comes_to_the_same_digests_from_the_originals_alone(three: Store) -> None:
    before = digests(three)
    for path in three.root.iterdir():
        if path.name == "live":
            path.unlink()
    rebuilt = rebuild(three)
    assert rebuilt.alike
    assert rebuilt.edition.number == 4
    assert digests(three) == before == rebuilt.after


def test_rebuild_names_each_original_that_is_missing_or_damaged(three: Store) -> None:
    gone, bad = sorted(three.originals.iterdir())[:2]
    gone.unlink()
    bad.write_bytes(b"#" * bad.stat().st_size)
    with pytest.raises(StoreBroken) as broken:
        rebuild(three)
    told = {fault.expected: fault.what.split()[-1] for fault in broken.value.faults}
    assert told == {f"originals/{gone.name}": "missing", f"originals/{bad.name}": "damaged"}
    assert three.live().number == 3


def test_rebuild_with_another_customer_key_publishes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = loaded(tmp_path / "store", "plain", "with-customers")
    monkeypatch.setenv("TAREBOOK_KEY", str(tmp_path / "other.key"))
    with pytest.raises(StoreBroken, match="was the customer key changed"):
        rebuild(store)
    assert store.live().number == 2


def test_an_original_that_was_cut_short_on_the_disk_is_kept_again_whole(three: Store, tmp_path: Path) -> None:
    store = loaded(tmp_path / "other", "plain")
    victim = min(store.originals.iterdir())
    whole = victim.read_bytes()
    os.truncate(victim, 5)
    store.use(1)
    shutil.rmtree(store.editions_folder)
    load([HAND_INS / "plain"], store)
    assert victim.read_bytes() == whole


def test_a_clock_that_jumps_back_does_not_disturb_the_order_of_editions(three: Store) -> None:
    manifest = three.live().path / MANIFEST
    manifest.write_text(json.dumps({**json.loads(manifest.read_text()), "made_on": "2031-01-01T00:00:00+00:00"}))
    os.utime(three.live().path, (time.time() + 1e8,) * 2)
    assert load([HAND_INS / "jobs-after"], three).edition.number == 4
    assert three.live().number == 4


def test_nothing_is_left_beside_the_published_files(three: Store) -> None:
    assert sorted(path.name for path in three.root.iterdir()) == ["editions", "live", "lock", "originals"]
    assert all(sorted(path.name for path in edition.path.iterdir()) == [MANIFEST, DATABASE] for edition in three.editions())


def test_two_readers_of_one_edition_in_one_process_both_stay_shut_in(three: Store) -> None:
    first, second = three.live(), three.live()
    for edition in (first, second):
        shut = edition.cursor().execute("SELECT current_setting('enable_external_access'), current_setting('lock_configuration')")
        assert shut.fetchall() == [(False, True)]
    first.close()
    assert second.cursor().execute("SELECT count(*) > 0 FROM jobs").fetchall() == [(True,)]
    second.close()
