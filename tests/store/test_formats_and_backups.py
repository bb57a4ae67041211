"""A store of an older format opens; a copy of one, made while it is at work, is a whole store elsewhere."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from store_rig import HAND_INS, account, ask, digests, loaded

from pipeline.store import Store, load, rebuild
from pipeline.store.audit import digests as reckoned
from pipeline.store.editions import SCHEMA_VERSION

FORMATS = sorted(Path(__file__).parent.glob("format-*"))


def test_a_store_of_todays_format_is_kept() -> None:
    assert SCHEMA_VERSION in {int(folder.name.removeprefix("format-")) for folder in FORMATS}
    assert all(sum(path.stat().st_size for path in folder.iterdir()) < 1_000_000 for folder in FORMATS)


@pytest.mark.parametrize("kept", FORMATS, ids=lambda folder: folder.name)
def test_a_store_of_every_format_so_far_opens_takes_a_load_in_and_is_rebuilt(
    kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TAREBOOK_KEY", str(kept / "customer.key"))
    with zipfile.ZipFile(kept / "store.zip") as archive:
        archive.extractall(tmp_path / "store")
    store = Store(tmp_path / "store")
    assert ask(store, "SELECT count(*) FROM current_bodies") == [(4,)]
    assert store.live().has_model
    load([HAND_INS / "jobs-after"], store)
    assert account(store, "bodies-first", "bodies")["taken_up"] == 2
    assert rebuild(store).alike


def test_a_copy_made_in_the_documented_order_while_loads_go_on_is_a_whole_store(tmp_path: Path) -> None:
    store = loaded(tmp_path / "store", "plain")
    loader = subprocess.Popen(
        [sys.executable, "-c", f"import sys; sys.path.insert(0, {str(HAND_INS.parents[1])!r})\nfrom pathlib import Path\n"
         f"from store_rig import HAND_INS\nfrom pipeline.store import Store, load\n"
         f"for name in ('correction', 'list-anew', 'revisions'): load([HAND_INS / name], Store(Path({str(store.root)!r})))"],
        env=os.environ,
    )  # fmt: skip
    copies = 0
    while loader.poll() is None:
        copies += 1
        copy = tmp_path / f"copy-{copies}"
        copy.mkdir()
        for name in ("live", "editions", "originals", "tarebook.toml", "desk.sqlite"):
            _copy(store.root / name, copy / name)
    assert loader.returncode == 0
    assert copies > 1
    for at in {1, copies // 2 + 1, copies}:
        restored = Store(tmp_path / f"copy-{at}")
        live = restored.live()
        assert reckoned(live.cursor()) == live.manifest["digests"]
        live.close()
    assert rebuild(restored).alike
    assert digests(restored)["items"] == digests(store)["items"]


def _copy(source: Path, target: Path) -> None:
    """As `cp -r` does it: what goes away meanwhile is passed over."""
    with contextlib.suppress(FileNotFoundError):
        if source.is_dir():
            target.mkdir()
            for path in sorted(source.iterdir()):
                _copy(path, target / path.name)
        else:
            shutil.copyfile(source, target)
