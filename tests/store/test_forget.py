"""A person can be forgotten: gone from every original, and the store stands as it stood."""

from __future__ import annotations

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import xlsxwriter
from store_rig import HAND_INS, ask, digests, loaded

from pipeline.errors import StoreBroken, WrongCall
from pipeline.store import Store
from pipeline.store.forget import forget, main
from pipeline.store.load import load
from pipeline.store.rebuild import rebuild

REF = "Quillfeather"
OTHER = "Ottoline Brask"
COLUMNS = ("job_id", "vehicle_id", "status", "customer_ref", "price")


def rows(first: int) -> list[tuple[str, ...]]:
    return [
        (str(first), "V1", "quoted", REF, "14500"),
        (str(first + 1), "V1", "quoted", OTHER, "9800.5"),
        (str(first + 2), "V9", "quoted", f" {REF} ", ""),
        (str(first + 3), "V1", "vanished", REF, ""),
    ]


def as_csv(path: Path, encoding: str, delimiter: str, end: str) -> None:
    lines = [["Job book"], [], COLUMNS, *rows(700)]
    cells = [[f'"{cell}"' if cell.startswith(" ") else cell for cell in line] for line in lines]
    path.write_bytes("".join(delimiter.join(line) + end for line in cells).encode(encoding))


def as_jsonl(path: Path) -> None:
    path.write_text("".join(json.dumps(dict(zip(COLUMNS, row, strict=True))) + "\n" for row in rows(710)))


def as_parquet(path: Path) -> None:
    pq.write_table(pa.table(dict(zip(COLUMNS, zip(*rows(720), strict=True), strict=True))), path)


def as_workbook(path: Path) -> None:
    book = xlsxwriter.Workbook(path)
    sheet = book.add_worksheet("jobs")
    for at, row in enumerate([COLUMNS, *rows(730)]):
        sheet.write_row(at, 0, row)
    book.close()


@pytest.fixture
def store(tmp_path: Path, _kinds: Path) -> Store:
    """A store of its own with the same two customers in every kind of file."""
    shutil.copytree(_kinds, tmp_path / "store")
    return Store(tmp_path / "store")


@pytest.fixture(scope="module")
def _kinds(tmp_path_factory: pytest.TempPathFactory) -> Path:
    tmp_path = tmp_path_factory.mktemp("kinds")
    folder = tmp_path / "kinds"
    folder.mkdir()
    as_csv(folder / "jobs-a.csv", "cp1252", ";", "\r\n")
    as_jsonl(folder / "jobs-c.jsonl")
    as_parquet(folder / "jobs-d.parquet")
    as_workbook(folder / "jobs-e.xlsx")
    (folder / "jobs-b.csv").write_bytes("\n".join("\t".join(row) for row in [COLUMNS, *rows(740)]).encode("utf-16"))
    return loaded(tmp_path / "store", "plain", folder, "with-customers").root


def originals_with(store: Store, text: str) -> int:
    found = 0
    for path in store.originals.iterdir():
        held = path.read_bytes()
        if held.startswith(b"PK"):
            import zipfile

            with zipfile.ZipFile(path) as book:
                held = b"".join(book.read(part) for part in book.namelist())
        if held.startswith(b"PAR1"):
            held = str(pq.read_table(path).to_pylist()).encode()
        found += text.encode() in held or text.encode("utf-16-le") in held
    return found


def test_a_person_is_gone_from_every_kind_of_original_and_no_table_changes(store: Store, capsys: pytest.CaptureFixture[str]) -> None:
    before, kept = digests(store), originals_with(store, OTHER)
    hashes = ask(store, "SELECT job_id, customer_ref FROM jobs ORDER BY 1")
    assert originals_with(store, REF) == 6
    assert main(["--store", str(store.root), REF]) == 0
    assert "17 cells in 6 originals" in capsys.readouterr().err
    assert originals_with(store, REF) == 0
    assert originals_with(store, OTHER) == kept
    assert digests(store) == before
    assert ask(store, "SELECT job_id, customer_ref FROM jobs ORDER BY 1") == hashes
    assert rebuild(store).alike


def test_lines_and_other_cells_of_an_original_stay_where_they_were(store: Store) -> None:
    sha = ask(store, "SELECT DISTINCT sha256 FROM accounts WHERE file = 'jobs-a.csv'")[0][0]
    before = (store.originals / sha).read_bytes().splitlines(keepends=True)
    forget(store, REF)
    sha = ask(store, "SELECT DISTINCT sha256 FROM accounts WHERE file = 'jobs-a.csv'")[0][0]
    after = (store.originals / sha).read_bytes().splitlines(keepends=True)
    assert len(before) == len(after)
    changed = [at for at, (old, new) in enumerate(zip(before, after, strict=True), 1) if old != new]
    assert changed == [4, 6, 7]
    assert all(line.endswith(b"\r\n") for line in after)


def test_older_editions_are_pointed_to_the_new_originals_and_can_be_rebuilt(store: Store) -> None:
    forget(store, REF)
    store.use(2)
    assert rebuild(store).alike


def test_an_unknown_reference_changes_nothing(store: Store) -> None:
    before = sorted(path.name for path in store.originals.iterdir())
    with pytest.raises(WrongCall, match="no original holds that customer reference"):
        forget(store, "Nobody")
    assert sorted(path.name for path in store.originals.iterdir()) == before
    assert main(["--store", str(store.root), "Nobody"]) == 2


def test_with_another_key_nobody_is_forgotten_by_halves(store: Store, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    kept = originals_with(store, REF)
    monkeypatch.setenv("TAREBOOK_KEY", str(tmp_path / "another.key"))
    with pytest.raises(StoreBroken):
        forget(store, REF)
    assert originals_with(store, REF) >= kept


def test_the_same_text_elsewhere_is_told_and_left_to_a_person(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "told"
    folder.mkdir()
    (folder / "jobs.csv").write_text(f"job_id,vehicle_id,status,customer_ref,note\n801,V1,quoted,{REF},call {REF} first\n")
    store = loaded(tmp_path / "store", "plain", folder)
    assert main(["--store", str(store.root), REF]) == 1
    assert "stands also elsewhere in told: jobs.csv" in capsys.readouterr().err


def test_a_reference_in_a_row_that_does_not_fit_is_forgotten_too(tmp_path: Path) -> None:
    store = loaded(tmp_path / "store", "plain", "with-customers")
    before = digests(store)
    forget(store, OTHER)
    assert originals_with(store, OTHER) == 0
    assert digests(store) == before


@pytest.mark.parametrize("step", ["originals-rewritten", "rebuilt-without"])
def test_killed_at_any_step_the_same_call_finishes_it(step: str, store: Store) -> None:
    before = digests(store)
    killer = (
        "import os, signal, sys, pipeline.store.forget as f\n"
        f"die = lambda step: os.kill(os.getpid(), signal.SIGKILL) if step == {step!r} else None\n"
        f"f.reached = die\nf.main(['--store', {str(store.root)!r}, {REF!r}])"
    )
    assert subprocess.run([sys.executable, "-c", killer], env=os.environ, check=False).returncode == -signal.SIGKILL
    assert digests(store) == before
    forget(store, REF)
    assert originals_with(store, REF) == 0
    assert digests(store) == before
    assert rebuild(store).alike


MAPPING = """[[sheet]]
file = "{file}"
header_row = 2
[sheet.jobs]
job_id = "Job"
vehicle_id = "Ute"
customer_ref = "Client"
note = "Said"
always = {{ status = "quoted" }}
[sheet.bodies]
job_id = "Job"
length_mm = "Len"
width_mm = "Wid"
always = {{ body = "canopy" }}
"""
WIDE = [
    ["Job list", "", "", "", "", ""],
    ["Job", "Client", "Ute", "Said", "Len", "Wid"],
    ["901", REF, "V1", "blue, later", "1650mm", "1800"],
    ["902", OTHER, "V1", "", "1700", "1800"],
    ["903", f" {REF}", "V9", "", "1800", "1800"],
]


def test_a_person_is_gone_from_wide_lists_too(tmp_path: Path) -> None:
    """In a mapped CSV, in a row of it that does not fit, and in a mapped workbook."""
    odd = ["904", "V1", "blue", REF, "1", "650", "1800"]
    for name in ("list.csv", "list.xlsx"):
        folder = tmp_path / name.replace(".", "-")
        folder.mkdir()
        (folder / "intake.toml").write_text(MAPPING.format(file=name))
        if name.endswith("csv"):
            with (folder / name).open("w", newline="") as file:
                csv.writer(file).writerows([*WIDE, odd])
        else:
            book = xlsxwriter.Workbook(folder / name)
            sheet = book.add_worksheet("jobs")
            for at, row in enumerate(WIDE):
                sheet.write_row(at, 0, [cell.replace("90", "91") for cell in row])
            book.close()
    store = loaded(tmp_path / "store", "plain", tmp_path / "list-csv", tmp_path / "list-xlsx")
    before = digests(store)
    assert before["jobs"].startswith("7:")
    assert originals_with(store, REF) == 2
    assert forget(store, REF).cells == 4
    assert originals_with(store, REF) == 0
    assert originals_with(store, OTHER) == 2
    assert digests(store) == before


def test_the_file_handed_in_again_is_taken_as_new(store: Store) -> None:
    forget(store, REF)
    assert load([HAND_INS / "with-customers"], store).changed
