"""Whatever the bytes, intake ends in rows that add up or in a refusal; never in another error."""

from __future__ import annotations

import csv
import io
import re
import tempfile
from datetime import date
from pathlib import Path

from hand_ins import write
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from pipeline.contract import TABLES
from pipeline.errors import Fault, InputRefused
from pipeline.intake import Ragged, find_hand_ins, mapping_check, read_hand_in
from pipeline.intake.cells import date_pattern, date_text, number_text
from pipeline.intake.texttable import SourceFile
from pipeline.settings import IntakeSettings

FEW = settings(max_examples=150, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
LIMITS = IntakeSettings(max_line_bytes=200)
HEAD = ["job_id", "body", "length_mm", "width_mm", "note", "weighed_lb"]
PIECES = st.sampled_from([*",;\t\"'\n\r\0\x1a é€﻿", "\r\n", '""', "J1", "1,5", "1.5", *HEAD, ",".join(HEAD) + "\n", ";".join(HEAD) + "\r\n"])
TEXTS = st.lists(PIECES | st.text(max_size=4), max_size=40).map("".join)
ENCODINGS = st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252"])


def rows_of(name: str, content: bytes, mapping: str = "") -> tuple[list[tuple[str | None, ...]], int]:
    """All rows of all tables, and the lines left out, having looked that each row is whole."""
    with tempfile.TemporaryDirectory() as folder:
        files = {name: content} | ({"intake.toml": mapping} if mapping else {})
        tables = read_hand_in(find_hand_ins([write(Path(folder) / "n", files)])[0], LIMITS)
        rows = []
        for table in tables:
            for line, row in table.rows():
                assert line >= 1
                assert len(row) == len(table.columns)
                assert isinstance(row, Ragged) or any(row) or table.unknown_columns
                assert isinstance(table.as_stood(line), dict)
                rows.append(row)
        return rows, sum(table.left_out for table in tables)


def or_refused(name: str, content: bytes, mapping: str = "") -> None:
    faults: tuple[Fault, ...] = ()
    try:
        rows_of(name, content, mapping)
    except InputRefused as refused:
        faults = refused.faults
    assert all(str(fault) and "\n" not in str(fault) for fault in faults)


@FEW
@given(st.binary(max_size=300), st.sampled_from(["bodies.csv", "bodies.jsonl", "x.csv"]))
def test_any_bytes(content, name):
    or_refused(name, content)


@FEW
@given(TEXTS, ENCODINGS, st.sampled_from(["bodies.csv", "on_vehicle.csv"]))
def test_texts_made_of_what_breaks_readers(text, encoding, name):
    or_refused(name, (",".join(HEAD) + "\n" + text).encode(encoding, "replace"))


@FEW
@given(TEXTS, st.sampled_from(["header_row = 1\n", ""]))
def test_mapped_texts(text, header_row):
    mapping = f'[[sheet]]\n{header_row}[sheet.on_vehicle]\njob_id = "job_id"\nlabel = "note"\nkg = "weighed_lb"\n'
    or_refused("list.csv", (",".join(HEAD) + "\n" + text).encode(), mapping)


@FEW
@given(
    st.lists(st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=6), min_size=6, max_size=6), max_size=12),
    st.sampled_from(",;\t"),
    st.sampled_from(["\n", "\r\n"]),
    ENCODINGS.filter(lambda encoding: encoding != "cp1252"),
)
@example([["", "", "", "", "", "﻿"]], ",", "\n", "utf-8")
def test_what_a_writer_writes_is_read_back(rows, delimiter, end, encoding):
    """Against the standard library's own writer: every cell, every row, and lines that add up."""
    out = io.StringIO()
    # the writer leaves a lone carriage return unquoted, where it ends a line
    quoting = csv.QUOTE_ALL if any("\r" in cell for row in rows for cell in row) else csv.QUOTE_MINIMAL
    csv.writer(out, delimiter=delimiter, lineterminator=end, quoting=quoting).writerows(
        [["job_id", "body", "length_mm", "width_mm", "drawing", "material"], *rows]
    )
    read, left_out = rows_of("bodies.csv", out.getvalue().encode(encoding))
    assert read == [tuple(cell or None for cell in row) for row in rows if "".join(row).strip()]
    assert len(read) + left_out == len(rows)


@FEW
@given(st.text(max_size=12), st.sampled_from(["", "mm", "kg", "h"]), st.sampled_from([".", ","]))
def test_a_number_that_is_read_is_written_plainly(text, unit, mark):
    found = number_text(text, unit, mark)
    assert found is None or re.fullmatch(rf"-?[0-9]+({re.escape(mark)}[0-9]+)?", found)


@FEW
@given(st.floats(-1e6, 1e6), st.sampled_from([".", ","]))
def test_a_plain_number_keeps_its_value(value, mark):
    assert float(number_text(f"{value:.6f}".replace(".", mark), "mm", mark).replace(",", ".")) == float(f"{value:.6f}")


@FEW
@given(st.dates(date(1900, 1, 1)), st.sampled_from(["DD/MM/YYYY", "D.M.YYYY", "YYYY-MM-DD", "D MMM YYYY", "MM-DD-YYYY"]))
def test_a_date_of_a_stated_format_is_that_date(day, written):
    pattern = date_pattern(written)
    assert date_text(day.strftime(pattern), [pattern]) == day.isoformat()


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 5) | st.text(max_size=5) | st.sampled_from(["Job", "lower", "DD/MM/YYYY", "mm"]),
    lambda inner: (
        st.lists(inner, max_size=2) | st.dictionaries(st.sampled_from(["job_id", "header", "body", "always", "columns"]), inner, max_size=3)
    ),
    max_leaves=5,
)
KEYS = st.sampled_from(["file", "sheet", "header_row", "dates", "yes", "case", "units", "words", "leave_out", "item_columns", *TABLES, "x"])


@FEW
@given(st.dictionaries(KEYS, VALUES, max_size=5))
def test_any_mapping(given_keys):
    """Through the checker itself: TOML would refuse some of these before it."""
    checker = mapping_check._Checker("x.toml")
    checker.sheets({"sheet": [given_keys]})
    assert all(str(fault) for fault in checker.faults)


@FEW
@given(st.text(max_size=80))
def test_any_text_as_a_mapping(text):
    with tempfile.TemporaryDirectory() as folder:
        path = write(Path(folder), {"x.toml": text.encode("utf-8", "replace")}) / "x.toml"
        try:
            mapping_check.read_mapping(SourceFile("x.toml", path, ""))
        except InputRefused:
            return
