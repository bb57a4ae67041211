"""Every text of a file is data: in SQL, in exports, in the log; and what reads an edition can reach nothing else."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import duckdb
import openpyxl
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from store_rig import ask, hand_in, loaded

from pipeline.answers.access import Role
from pipeline.answers.exports import export
from pipeline.answers.files import Rows, to_bytes, to_csv
from pipeline.cli import main
from pipeline.settings import Settings
from pipeline.store import Store

HOSTILE = [
    "'; DROP TABLE jobs; --",
    '"; DELETE FROM bodies; --',
    "$$; ATTACH '/etc/passwd'; $$",
    "x' OR '1'='1",
    "=cmd|' /C calc'!A0",
    "+1+cmd",
    "-2+3",
    "@SUM(A1:A9)",
    "<script>alert(1)</script>",
    "[click](javascript:alert(1))",
    "{{7*7}}",
    "%s%n{}",
    "\\",
    "a\tb",
]


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    """A store in which every text that a person may choose is hostile."""
    folder = tmp_path_factory.mktemp("hostile")
    jobs = [
        {"job_id": text, "vehicle_id": "V1", "status": "quoted", "branch": text, "note": text, "folder": text, "quoted_on": "2026-01-01"}
        for text in HOSTILE
    ]
    bodies = [{"job_id": text, "body": "canopy", "length_mm": "1650", "width_mm": "1800", "material": text} for text in HOSTILE]
    lines = [{"job_id": text, "body": "canopy", "item_id": "drawer" if at % 2 else text} for at, text in enumerate(HOSTILE)]
    return loaded(folder / "store", "plain", hand_in(folder / "told", {"jobs": jobs, "bodies": bodies, "fitout": lines}))


def test_every_hostile_text_is_in_the_store_as_it_was_written(store: Store) -> None:
    found = ask(store, "SELECT job_id, branch, note FROM jobs WHERE job_id NOT IN ('101', '102', '103') ORDER BY 1")
    assert found == sorted((text, text, text) for text in HOSTILE)
    assert ask(store, "SELECT count(*) FROM rejects WHERE rule = 'unknown-item'") == [(len(HOSTILE) // 2,)]


def test_no_text_cell_of_a_csv_export_begins_like_a_formula(store: Store, capsys: pytest.CaptureFixture[str]) -> None:
    for what in ("jobs", "bodies", "rejects", "suspects", "history"):
        assert main(["export", what, "--store", str(store.root)]) == 0
        for row in csv.reader(io.StringIO(capsys.readouterr().out)):
            assert [cell for cell in row if cell.startswith(("=", "+", "-", "@", "\t", "\r")) and not _is_number(cell)] == []


def test_other_exports_carry_the_text_itself_and_never_a_formula(store: Store) -> None:
    rows = export(store.live(), "jobs", Settings(), Role.MANAGER)
    store.live().close()
    wanted = sorted([*HOSTILE, "101", "102", "103"])
    assert sorted(pl.read_parquet(io.BytesIO(to_bytes(rows, ".parquet")))["job_id"].to_list()) == wanted
    assert sorted(record["job_id"] for record in json.loads(to_bytes(rows, ".json"))) == wanted
    sheet = openpyxl.load_workbook(io.BytesIO(to_bytes(rows, ".xlsx"))).active
    cells = [sheet.cell(row, 1) for row in range(2, sheet.max_row + 1)]
    assert sorted(str(cell.value) for cell in cells) == wanted
    assert {cell.data_type for cell in cells} <= {"s", "n"}
    assert [cell.hyperlink for cell in cells if cell.hyperlink] == []


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


@settings(max_examples=200, deadline=None)
@given(st.lists(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=8), min_size=1, max_size=6))
def test_a_csv_cell_is_the_text_or_the_text_behind_an_apostrophe(texts: list[str]) -> None:
    ((_, *rows),) = [list(csv.reader(io.StringIO(to_csv(Rows(("a",), [(f"x{text}",) for text in texts])), newline="")))]
    assert [row[0] for row in rows] == [f"x{text}" for text in texts]
    written = list(csv.reader(io.StringIO(to_csv(Rows(("a", "b"), [(text, "-") for text in texts])), newline="")))[1:]
    for (cell, dash), text in zip(written, texts, strict=True):
        assert dash == "'-"
        assert cell in (text, f"'{text}")
        assert cell != text or not text.startswith(("=", "+", "-", "@", "\t", "\r")) or _is_number(text)


@pytest.mark.parametrize(
    "sql",
    [
        "COPY jobs TO '{folder}/out.csv'",
        "ATTACH '{folder}/other.duckdb'",
        "SELECT * FROM read_csv('/etc/passwd')",
        "SELECT * FROM read_text('/etc/hostname')",
        "SELECT * FROM glob('/etc/*')",
        "FROM '/etc/passwd'",
        "INSTALL httpfs",
        "LOAD httpfs",
        "SET enable_external_access = true",
        "SET lock_configuration = false",
        "RESET lock_configuration",
        "EXPORT DATABASE '{folder}/dump'",
        "CREATE TABLE mine (x INTEGER)",
        "DELETE FROM jobs",
        "DROP VIEW accounts",
        "SELECT getenv('HOME')",
        "CREATE SECRET s (TYPE s3)",
        "CALL dbgen(sf = 1)",
    ],
)
def test_what_reads_an_edition_can_reach_nothing_else(sql: str, store: Store, tmp_path: Path) -> None:
    edition = store.live()
    try:
        with pytest.raises(duckdb.Error):
            edition.cursor().execute(sql.format(folder=tmp_path)).fetchall()
    finally:
        edition.close()
    assert list(tmp_path.iterdir()) == []


def test_the_log_of_something_unexpected_holds_no_row_of_anybody(
    store: Store, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def break_down(*_: object) -> None:
        raise ValueError("could not read 'Quillfeather' at 12 Mill Lane")

    monkeypatch.setattr("pipeline.cli.keeping.list_editions", break_down)
    assert main(["editions", "--store", str(store.root)]) == 4
    said = capsys.readouterr().err
    log = store.root / "log" / "tarebook.log"
    assert str(log) in said
    (line,) = log.read_text().splitlines()
    told = json.loads(line)
    assert told["error"] == "ValueError"
    assert any("break_down" in frame for frame in told["trace"])
    assert "Quillfeather" not in log.read_text() + said


def test_the_log_is_rotated(store: Store) -> None:
    from pipeline.log import LOGGER, log_to

    path = log_to(store.root)
    assert path is not None
    try:
        for _ in range(600):
            LOGGER.info("step", extra={"facts": {"filled": "x" * 20_000}})
        kept = sorted(path.parent.iterdir())
        assert 2 <= len(kept) <= 5
        assert sum(file.stat().st_size for file in kept) < 12_000_000
    finally:
        for handler in list(LOGGER.handlers):
            LOGGER.removeHandler(handler)
            handler.close()


def test_a_page_that_breaks_logs_where_and_nobodys_row(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Also where the folder cannot be written, and the log goes to the server's own output."""
    from pipeline.log import LOGGER, log_unexpected

    def break_down(store: Path) -> Path | None:
        try:
            raise ValueError("could not read 'Quillfeather' at 12 Mill Lane")
        except ValueError:
            return log_unexpected(store, "page", page="job-finder")

    try:
        path = break_down(tmp_path)
        assert path == tmp_path / "log" / "tarebook.log"
        (tmp_path / "no-folder").write_text("")
        assert break_down(tmp_path / "no-folder") is None
        for line in (path.read_text(), capsys.readouterr().err):
            told = json.loads(line)
            assert (told["step"], told["page"], told["error"]) == ("page", "job-finder", "ValueError")
            assert "Quillfeather" not in line
    finally:
        for handler in list(LOGGER.handlers):
            LOGGER.removeHandler(handler)
            handler.close()
