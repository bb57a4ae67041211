"""What it says when something is wrong: a table out of the code, and the code keeps its form."""

from __future__ import annotations

from pathlib import Path

from pipeline.cli.fault_page import kinds, markdown, sentences
from pipeline.errors import Exit, Fault, TarebookError

PAGE = Path(__file__).parents[2] / "pipeline" / "cli" / "FAULTS.md"


def test_the_page_of_faults_is_what_the_code_says():
    assert PAGE.read_text("utf-8") == markdown(), "write it anew: python -m pipeline.cli.fault_page > pipeline/cli/FAULTS.md"


def test_every_kind_of_fault_has_a_meaning_and_one_of_the_exit_codes():
    found = set(_below(TarebookError))
    assert found == set(kinds().values())
    assert {kind.exit_code for kind in found} == {Exit.WRONG_CALL, Exit.INPUT_REFUSED, Exit.STORE}


def test_sentences_begin_small_and_do_not_end_with_a_stop():
    # They are joined to where it is, what stood there and what to do.
    odd = [each.what for each in sentences() if each.what[0].isupper() and not each.what.split()[0].isupper()]
    assert odd == []
    assert [each.what for each in sentences() if each.what.endswith(".")] == []


def test_a_fault_is_one_line_with_what_where_got_expected_and_what_to_do():
    fault = Fault("not a date", where="jobs.csv line 3", got="2031-13-45", expected="YYYY-MM-DD", do="mend the cell")
    assert str(fault) == "jobs.csv line 3: not a date; got 2031-13-45, expected YYYY-MM-DD; mend the cell"


def _below(kind: type[TarebookError]) -> list[type[TarebookError]]:
    return [each for child in kind.__subclasses__() for each in (child, *_below(child))]
