"""Files made to do harm: refused with a sentence, and this process neither dies, waits nor reads what it should not."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hand_ins import records, workbook

from pipeline.errors import InputRefused
from pipeline.intake import hostile
from pipeline.intake.spool import Spool
from pipeline.intake.texttable import SourceFile
from pipeline.settings import IntakeSettings

BODIES = [["job_id", "body", "length_mm", "width_mm"], ["J1", "tray", 1650, 1780]]
SHEET = "xl/worksheets/sheet1.xml"
CELL = '<c r="A9" t="inlineStr"><is><t>{}</t></is></c>'


def changed(change: Callable[[str], str] = lambda xml: xml, more: dict[str, bytes] | None = None) -> bytes:
    """A good workbook with its sheet's XML changed and parts added."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook({"bodies": BODIES}))) as good, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as bad:
        for name in good.namelist():
            content = good.read(name)
            bad.writestr(name, change(content.decode()).encode() if name == SHEET else content)
        for name, content in (more or {}).items():
            bad.writestr(name, content)
    return out.getvalue()


def far_cell(xml: str) -> str:
    return xml.replace("</sheetData>", '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>')


def claims(xml: str) -> str:
    return xml.replace('ref="A1:D2"', 'ref="A1:XFD1048576"')


def wide_row(xml: str) -> str:
    return xml.replace("</sheetData>", '<row r="3"><c r="XFD3"><v>1</v></c></row></sheetData>')


def row_twice(xml: str) -> str:
    return xml.replace("</sheetData>", '<row spans="1:4" r="2"><c r="A2"><v>1</v></c></row></sheetData>')


def entity(xml: str) -> str:
    head, rest = xml.split("?>", 1)
    return f'{head}?><!DOCTYPE x [<!ENTITY a "{"a" * 1000}"><!ENTITY b "{"&a;" * 1000}">]>{rest.replace("<sheetData>", "<sheetData>&b;")}'


def outside(xml: str) -> str:
    head, rest = xml.split("?>", 1)
    return f'{head}?><!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>{rest}'


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (far_cell, "reaches row 1,048,576"),
        (claims, "reaches row 1,048,576, column 16,384"),
        (wide_row, "reaches row 3, column 16,384"),
        (row_twice, "sheet 'bodies' has row 2 after row 2"),
        (entity, "EntitiesForbidden"),
        (outside, "EntitiesForbidden"),
        (lambda xml: xml[:-30], "not readable as a workbook"),
        (lambda xml: "", "not readable as a workbook"),
        (lambda xml: "<a>" * 100_000, "not readable as a workbook"),
    ],
)
def test_a_sheet_made_to_do_harm(refusal, change, sentence):
    began = time.monotonic()
    assert sentence in refusal({"records.xlsx": changed(change)})
    assert time.monotonic() - began < 20


def test_a_wrong_dimension_hides_no_row(read):
    (table,) = read({"records.xlsx": changed(lambda xml: xml.replace('ref="A1:D2"', 'ref="A1:B1"'))})
    assert records(table) == [{"job_id": "J1", "body": "tray", "length_mm": "1650", "width_mm": "1780"}]


def test_macros_and_links_are_left_alone(read):
    link = b'<externalLink xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"/>'
    (table,) = read({"records.xlsx": changed(more={"xl/vbaProject.bin": b"\xd0\xcf\x11\xe0", "xl/externalLinks/externalLink1.xml": link})})
    assert len(records(table)) == 1


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (lambda: changed(more={"xl/media/a.bin": bytes(301 << 20)}), "it unpacks to too much; got 301 MB"),
        (lambda: changed(more={"xl/media/a.bin": bytes(20 << 20)}), "it unpacks to suspiciously much"),
        (lambda: changed(more={"../../evil.xml": b""}), "parts are not what a sheet program writes"),
        (lambda: changed()[:-40], "not an .xlsx workbook"),
        (lambda: b"", "not an .xlsx workbook"),
        (lambda: b"\xd0\xcf\x11\xe0" + bytes(100), "locked with a password, or of an old format"),
    ],
)
def test_a_zip_made_to_do_harm(refusal, content, sentence):
    assert sentence in refusal({"records.xlsx": content()})


def test_a_part_that_stands_there_twice(refusal):
    with pytest.warns(UserWarning, match="Duplicate name"):
        content = changed(more={SHEET: b"<x/>"})
    assert "parts are not what a sheet program writes" in refusal({"records.xlsx": content})


@pytest.mark.parametrize("name", ["records.xlsx", "jobs.parquet"])
def test_a_file_over_the_size_limit(refusal, name):
    limits = IntakeSettings(max_workbook_mb=0.001)
    assert f"{name}: the file is too large; got 0.00191 MB, expected at most 0.001 MB" in refusal({name: bytes(2000)}, limits=limits)


def test_a_parser_that_takes_its_time_is_stopped(refusal):
    began = time.monotonic()
    assert "parsing the workbook takes too long" in refusal({"records.xlsx": changed()}, limits=IntakeSettings(child_seconds=0.05))
    assert time.monotonic() - began < 10


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux bounds a process's memory")
def test_a_parser_that_wants_too_much_memory_is_stopped(refusal):
    """The text of one cell is 60 MB; as text of four bytes a letter, with its copies, it is more than is left."""
    content = changed(lambda xml: xml.replace("</sheetData>", f'<row r="9">{CELL.format("𝄞" + "a" * 60_000_000)}</row></sheetData>'))
    limits = IntakeSettings(child_memory_mb=256, max_ratio=100_000)
    told = refusal({"records.xlsx": content}, limits=limits)
    assert "needs too much memory" in told or "broke off" in told


def test_the_parser_cannot_be_given_other_modules(read, tmp_path, monkeypatch):
    (tmp_path / "openpyxl.py").write_text("raise SystemExit(7)")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    assert len(records(read({"records.xlsx": changed()})[0])) == 1


@pytest.mark.parametrize(
    "line",
    [
        "no json",
        '{"sheet": 5}\n[1, ["x"]]',
        '[1, ["before any sheet"]]',
        '{"sheet": "a"}\n["1", []]',
        '{"sheet": "a"}\n[1, [{"x": 1}]]',
        '{"sheet": "a"}\n[1, ["x"]]',
    ],
)
def test_what_a_parser_says_is_checked(line, monkeypatch, tmp_path):
    """A file may have taken the parser over: whatever it writes ends in rows of text or in a refusal."""
    path = tmp_path / "x.parquet"
    path.write_bytes(b"x")

    def taken_over(command, *, stdout, **_):
        import os

        os.write(stdout, line.encode() + b"\n")
        return subprocess.CompletedProcess(command, -6)

    monkeypatch.setattr(hostile.subprocess, "run", taken_over)
    with pytest.raises(InputRefused, match="broke off; got signal 6"):
        hostile.parse_parquet(SourceFile("x.parquet", path, ""), IntakeSettings())


def test_a_spool_leaves_nothing_behind(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    spool = Spool()
    written = [[i, ["x" * i]] for i in range(2000)]
    size = sum(map(spool.write, written))
    assert list(tmp_path.iterdir()) == []
    assert [json.loads(line) for _, line in spool.lines()] == written
    start = len(json.dumps(written[0], separators=(",", ":"))) + 1
    assert [json.loads(line) for _, line in spool.lines(start, size)] == written[1:]
    fd = Path(f"/proc/self/fd/{spool.fd}")
    assert fd.exists()
    del spool
    assert not fd.exists()
