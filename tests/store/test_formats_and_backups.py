"""A store of an older format opens; a copy of one, made while it is at work, is a whole store elsewhere."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import duckdb
import pytest
from store_rig import HAND_INS, account, ask, digests, loaded

from pipeline.answers.exports import EXPORTS
from pipeline.answers.fitting import fit_store
from pipeline.cli import main
from pipeline.store import Store
from pipeline.store.audit import digests as reckoned
from pipeline.store.editions import SCHEMA_VERSION
from pipeline.store.load import load
from pipeline.store.rebuild import rebuild

FORMATS = sorted(Path(__file__).parent.glob("format-*"))


def test_a_store_of_todays_format_is_kept() -> None:
    assert {int(folder.name.split("-")[1]) for folder in FORMATS} == set(range(1, SCHEMA_VERSION + 1))
    assert all(sum(path.stat().st_size for path in folder.iterdir()) < 1_000_000 for folder in FORMATS)


@pytest.fixture(params=FORMATS, ids=lambda folder: folder.name)
def of_format(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    """A store as it was written by a program of its time: plain, list-anew, with-customers, bodies-first, then a fit."""
    monkeypatch.setenv("TAREBOOK_KEY", str(request.param / "customer.key"))
    with zipfile.ZipFile(request.param / "store.zip") as archive:
        archive.extractall(tmp_path / "store")
    return Store(tmp_path / "store")


def test_a_store_of_every_format_so_far_opens_takes_a_load_in_and_is_rebuilt(of_format: Store) -> None:
    assert ask(of_format, "SELECT count(*) FROM current_bodies") == [(4,)]
    assert of_format.live().has_model
    older = not of_format.live().is_of_today
    load([HAND_INS / "jobs-after"], of_format)
    assert of_format.live().is_of_today
    assert account(of_format, "bodies-first", "bodies")["taken_up"] == 2
    fitted = _of_the_fit(of_format)
    assert len(fitted["families"]) == 2
    # Rows that came in by older rules may come to something else by today's, once.
    assert rebuild(of_format).alike or older
    assert rebuild(of_format).alike
    assert _of_the_fit(of_format) == fitted


def _of_the_fit(store: Store) -> dict[str, object]:
    """What a rebuild carries over: families with their numbers, who is in which, estimates, and the model."""
    tables = ("families", "family_of_body", "family_changes", "body_estimates")
    return {table: ask(store, f"SELECT * FROM {table} ORDER BY ALL") for table in tables} | {"model": store.live().model_text()}


@pytest.mark.parametrize("of_format", FORMATS[:1], indirect=True)
def test_everything_can_be_asked_of_the_oldest_store_and_it_can_be_fitted_again(
    of_format: Store, capsys: pytest.CaptureFixture[str]
) -> None:
    for what in EXPORTS:
        code, said = main(["export", what, "--store", str(of_format.root)]), capsys.readouterr()
        # A model that another program has fitted may be written otherwise; records never are.
        assert (code, what) == (0, what) or (code, what, "run `tarebook fit` again" in said.err) == (4, "margins", True)
    with pytest.raises(duckdb.Error):
        ask(of_format, "SELECT * FROM read_text('/etc/hostname')")
    assert fit_store(of_format)["bodies_used"] == 2
    assert of_format.live().is_of_today
    assert ask(of_format, "SELECT count(*) FROM current_bodies") == [(4,)]
    assert main(["export", "margins", "--store", str(of_format.root)]) == 0


def test_a_copy_made_in_the_documented_order_while_loads_go_on_is_a_whole_store(tmp_path: Path) -> None:
    store = loaded(tmp_path / "store", "plain")
    loader = subprocess.Popen(
        [sys.executable, "-c", f"import sys; sys.path.insert(0, {str(HAND_INS.parents[1])!r})\nfrom pathlib import Path\n"
         f"from store_rig import HAND_INS\nfrom pipeline.store import Store\nfrom pipeline.store.load import load\n"
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
