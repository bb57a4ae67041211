"""A mapping is checked as a whole, and every problem in it is told at once."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hand_ins import workbook, write

from pipeline.errors import InputRefused
from pipeline.intake import find_hand_ins, mapping_check
from pipeline.intake.texttable import SourceFile

GOOD = '[[sheet]]\n[sheet.jobs]\njob_id = "Job"\nvehicle_id = "Ute"\nstatus = "State"\n'
README = Path(mapping_check.__file__).with_name("README.md")


def told(tmp_path: Path, mapping: str) -> list[str]:
    path = write(tmp_path, {"x.intake.toml": mapping}) / "x.intake.toml"
    try:
        mapping_check.read_mapping(SourceFile(path.name, path, ""))
    except InputRefused as refused:
        return str(refused).splitlines()
    return []


@pytest.mark.parametrize(
    ("mapping", "sentence"),
    [
        ("x = [", "not readable as TOML"),
        ("", "no section [[sheet]]"),
        ("sheets = 1\n" + GOOD, "no key 'sheets'; did you mean 'sheet'?"),
        ("sheet = 5", "sheet: no section; got '5'"),
        ("[[sheet]]\n", "sheet: it makes no table"),
        (GOOD.replace("jobs", "job"), "sheet: no key 'job'; did you mean 'jobs'?"),
        (GOOD.replace("vehicle_id", "vehicel_id"), "sheet, jobs: no key 'vehicel_id'; did you mean 'vehicle_id'?"),
        (GOOD.replace('"State"', "7"), "sheet, jobs: status cannot be '7'; expected the header under which it stands"),
        (GOOD.replace('status = "State"', ""), "sheet, jobs: status is missing"),
        (GOOD + 'always = { status = "lost" }', "status has a header and an always"),
        (GOOD + 'always = { stat = "lost" }', "sheet, jobs, always: no key 'stat'"),
        (GOOD + "always = 5", "always cannot be '5'"),
        (GOOD + "only_if = 5", "only_if cannot be '5'"),
        ("[[sheet]]\nheader_row = 0\n" + GOOD[10:], "header_row cannot be '0'"),
        ('[[sheet]]\nheader_rows = "4"\n' + GOOD[10:], "no key 'header_rows'; did you mean 'header_row'?"),
        ('[[sheet]]\ndates = ["day first"]\n' + GOOD[10:], "dates: 'day first' is no format"),
        ('[[sheet]]\nunits = { length_mm = "kg" }\n' + GOOD[10:], "length_mm cannot be in 'kg'; expected mm, cm, m, in, ft"),
        ('[[sheet]]\nunits = { price = "kg" }\n' + GOOD[10:], "price cannot be in 'kg'; expected no unit"),
        ('[[sheet]]\ncase = { jobid = "lower" }\n' + GOOD[10:], "sheet, case: no key 'jobid'; did you mean 'job_id'?"),
        ('[[sheet]]\ncase = { job_id = "title" }\n' + GOOD[10:], "sheet: case cannot be"),
        ('[[sheet]]\nfile = "../jobs.xlsx"\n' + GOOD[10:], "file cannot be '../jobs.xlsx'"),
        ('[[sheet]]\nleave_out = [{ header = "Job" }]\n' + GOOD[10:], "leave_out: one condition is needed"),
        ('[[sheet]]\nleave_out = [{ starts_with = "Sub" }]\n' + GOOD[10:], "leave_out: header is missing"),
        (GOOD + '[sheet.item_columns]\nbody = "What"\ncolumns = { Sink = "sink" }', "item_columns: job_id is missing"),
        (GOOD + '[sheet.item_columns]\njob_id = "Job"\ncolumns = { Sink = "sink" }', "item_columns: body is missing"),
        (GOOD + '[sheet.item_columns]\njob_id = "Job"\nbody = "What"\nfirst = "Sink"', "no item columns"),
        (GOOD + '[sheet.item_columns]\njob_id = "Job"\nbody = "What"\ncolumns = { Sink = { zone = "roof" } }', "columns cannot be"),
    ],
)
def test_each_problem_has_its_sentence(tmp_path, mapping, sentence):
    lines = told(tmp_path, mapping)
    assert any(line.startswith("x.intake.toml: ") and sentence in line for line in lines), lines


def test_every_problem_at_once(tmp_path):
    mapping = '[[sheet]]\nheadr_row = 4\ndates = ["x"]\n[sheet.jobs]\njob = "Job"\nvehicle_id = 5\nstatus = "S"\n[sheet.bodys]\n'
    assert len(told(tmp_path, mapping)) == 7


def test_a_good_one_has_none(tmp_path):
    assert told(tmp_path, GOOD) == []
    assert told(tmp_path, GOOD.replace("[[sheet]]", "[sheet]")) == []


def test_the_example_of_the_readme_is_a_good_one(tmp_path):
    (example,) = re.findall(r"```toml\n(.*?)```", README.read_text("utf-8"), re.DOTALL)
    assert told(tmp_path, example) == []


def test_problems_of_a_mapping_come_with_those_of_the_files(refusal):
    files = {"list.xlsx": workbook({"a": [["Job"]]}), "bodies.csv": "job_id,body,lenght_mm,width_mm\n", "intake.toml": "[[sheet]]\n"}
    assert len(refusal(files).splitlines()) >= 2


def test_a_file_that_a_broken_mapping_speaks_of_is_not_told_as_unknown(refusal):
    assert "no table is called" not in refusal({"list.csv": "Job\n", "intake.toml": "[[sheet]]\nx = 1\n"})


def test_a_mapping_that_is_no_toml_still_is_found(tmp_path):
    write(tmp_path / "n", {"list.csv": "Job\n", "intake.toml": "x = ["})
    (hand_in,) = find_hand_ins([tmp_path / "n"])
    assert hand_in.mapping is not None
