"""One cell: what it is read as, or the one rule that refuses it."""

from __future__ import annotations

import math
import re
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from store_rig import FINE, staged

from pipeline.contract import TABLES, Column, Table

NUMBERS = [
    ("1650", 1650.0),
    (" 1650 ", 1650.0),
    ("1650.5", 1650.5),
    ("1.65e3", 1650.0),
    ("+1650", 1650.0),
    ("01650", 1650.0),
    ("300", 300.0),
    ("9000", 9000.0),
    ("299.999", "out-of-range"),
    ("9000.001", "out-of-range"),
    ("-1650", "out-of-range"),
    ("0", "out-of-range"),
    ("1e400", "out-of-range"),
    ("inf", "out-of-range"),
    ("-Infinity", "out-of-range"),
    ("NaN", "not-a-number"),
    ("nan(5)", "not-a-number"),
    ("long", "not-a-number"),
    ("1,650", "not-a-number"),
    ("1 650", "not-a-number"),
    ("1_650", "not-a-number"),
    ("1650mm", "not-a-number"),
    ("0x672", "not-a-number"),
    ("+-1650", "not-a-number"),
    ("'; DROP TABLE bodies; --", "not-a-number"),
    ("１６５０", "not-a-number"),
    ("", "missing"),
    ("?", "missing"),
    ("TBC", "missing"),
]
COMMA_NUMBERS = [
    ("1650", 1650.0),
    ("1650,5", 1650.5),
    ("1650.5", "not-a-number"),
    ("1.650", "not-a-number"),
    ("1.650,5", "not-a-number"),
    ("1,650,5", "not-a-number"),
]
DATES = [
    ("2026-03-02", date(2026, 3, 2)),
    ("2026-03-02 00:00:00", date(2026, 3, 2)),
    ("2026-03-02T00:00:00", date(2026, 3, 2)),
    ("2024-02-29", date(2024, 2, 29)),
    ("1980-01-01", date(1980, 1, 1)),
    ("2027-06-30", date(2027, 6, 30)),
    ("1979-12-31", "out-of-range"),
    ("1874-01-01", "out-of-range"),
    ("2027-07-01", "out-of-range"),
    ("2026-02-29", "not-a-date"),
    ("2031-13-45", "not-a-date"),
    ("2026-3-2", "not-a-date"),
    ("02/03/2026", "not-a-date"),
    ("20260302", "not-a-date"),
    ("2026-03-02 10:30:00", "not-a-date"),
    ("epoch", "not-a-date"),
    ("infinity", "not-a-date"),
    ("46083", "not-a-date"),
    ("n/a", None),
]
OTHERS = [
    ("bodies", "painted", "yes", True),
    ("bodies", "painted", "Y", True),
    ("bodies", "painted", "TRUE", True),
    ("bodies", "painted", "0", False),
    ("bodies", "painted", "No", False),
    ("bodies", "painted", "-", None),
    ("bodies", "painted", "perhaps", "not-in-list"),
    ("bodies", "body", "Canopy", "canopy"),
    ("bodies", "body", "tray-2", "tray-2"),
    ("bodies", "body", "tray-", "not-in-list"),
    ("bodies", "body", "gazebo", "not-in-list"),
    ("bodies", "body", "?", "missing-key"),
    ("bodies", "job_id", " ", "missing-key"),
    ("bodies", "job_id", " a B ", "a B"),
    ("bodies", "revision", None, ""),
    ("bodies", "revision", "A", "A"),
    ("bodies", "doors", "2", 2),
    ("bodies", "doors", "2.0", 2),
    ("bodies", "doors", "2.5", "not-a-whole-number"),
    ("bodies", "doors", "21", "out-of-range"),
    ("bodies", "weighed_kg", "1e9", "out-of-range"),
    ("bodies", "weighed_kg", "TBC", None),
    ("bodies", "sits_on", "Tray", "tray"),
    ("bodies", "sits_on", "roof", "not-in-list"),
    ("bodies", "scale_step_kg", "0", "out-of-range"),
    ("fitout", "qty", None, 1.0),
    ("fitout", "qty", "0", "out-of-range"),
    ("fitout", "qty", "0.5", 0.5),
    ("fitout", "qty", "200", 200.0),
    ("fitout", "qty", "201", "out-of-range"),
    ("fitout", "qty", "two", "not-a-number"),
    ("fitout", "zone", "left-front", "left-front"),
    ("fitout", "zone", "driver-side", "not-in-list"),
    ("jobs", "status", "vanished", "not-in-list"),
    ("jobs", "price", "-5", "out-of-range"),
    ("vehicles", "size_class", "small", "not-in-list"),
    ("vehicles", "tub_kg", "0", 0.0),
    ("on_vehicle", "kg", "-38", -38.0),
    ("weighings", "fuel_fraction", "1.01", "out-of-range"),
]


@pytest.mark.parametrize(
    ("table", "column", "cases", "comma"),
    [("bodies", "length_mm", NUMBERS, False), ("bodies", "length_mm", COMMA_NUMBERS, True), ("jobs", "quoted_on", DATES, False)],
)
def test_a_cell_is_read_as_the_contract_says_or_refused_by_one_rule(
    table: str, column: str, cases: list[tuple[str, object]], comma: bool, tmp_path: Path
) -> None:
    typed, accused = staged(table, [{column: raw} for raw, _ in cases], tmp_path, decimal_comma=comma)
    rules = {line: (name, rule) for line, name, rule in accused}
    found = [(raw, rules.get(at, (None, typed[at][column]))[1]) for at, (raw, _) in enumerate(cases)]
    assert found == cases
    assert len(rules) == len(accused)


@pytest.mark.parametrize(("table", "column", "raw", "expected"), OTHERS)
def test_choices_keys_and_whole_numbers(table: str, column: str, raw: str | None, expected: object, tmp_path: Path) -> None:
    typed, accused = staged(table, [{column: raw}], tmp_path)
    if isinstance(expected, str) and accused:
        assert accused == [(0, column, expected)]
    else:
        assert (accused, typed[0][column]) == ([], expected)


def test_every_word_for_not_known_is_not_known_and_never_nought(tmp_path: Path) -> None:
    words = ["", "?", "-", "n/a", "N/A", "TBC", "tbc", "  "]
    typed, accused = staged("bodies", [{"weighed_kg": word, "colour_outside": word} for word in words], tmp_path)
    assert accused == []
    assert [(row["weighed_kg"], row["colour_outside"]) for row in typed] == [(None, None)] * len(words)


def test_a_cell_that_fails_its_cast_is_accused_once_and_other_cells_beside_it(tmp_path: Path) -> None:
    _, accused = staged("bodies", [{"length_mm": "x", "width_mm": "1.8", "painted": "perhaps"}], tmp_path)
    assert accused == [(0, "length_mm", "not-a-number"), (0, "painted", "not-in-list"), (0, "width_mm", "out-of-range")]


def test_line_ends_of_every_kind_may_stand_inside_a_cell(tmp_path: Path) -> None:
    labels = [f"L{end}x" for end in ("\r", "\n", "\r\n", "\n\r", '"\r"', "\u2028", "\x85", "\r\r\n")] * 40
    typed, accused = staged("vehicles", [{"vehicle_id": str(at), "label": label} for at, label in enumerate(labels)], tmp_path)
    assert accused == []
    assert [row["label"] for row in typed] == labels


def test_a_scaled_column_is_judged_in_the_unit_of_the_contract(tmp_path: Path) -> None:
    # 1 in = 25.4 mm and 1 lb = 0.45359237 kg, exact by definition (NIST SP 811, appendix B.8).
    rows = [{"length_mm": "64.96", "weighed_kg": "683.4"}, {"length_mm": "11"}]
    typed, accused = staged("bodies", rows, tmp_path, scale={"length_mm": 25.4, "weighed_kg": 0.45359237})
    assert typed[0]["length_mm"] == pytest.approx(64.96 * 25.4, abs=1e-9)
    assert typed[0]["weighed_kg"] == pytest.approx(683.4 * 0.45359237, abs=1e-9)
    assert accused == [(1, "length_mm", "out-of-range")]


NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?|[+-]?(inf|infinity)", re.IGNORECASE | re.ASCII)
DAY = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})([ T]00:00:00)?", re.ASCII)


def read_plainly(table: Table, column: Column, raw: str | None, decimal_comma: bool) -> tuple[object, str | None]:
    """The contract in plain Python, written without a look at the SQL: (value, None) or (None, rule)."""
    text = (raw or "").strip()
    if text.lower() in ("", "?", "-", "n/a", "tbc"):
        if column.required:
            return None, "missing-key" if column.name in table.key else "missing"
        return (float(column.default) if column.default else "" if column.name == "revision" else None), None
    if column.kind in ("number", "integer"):
        return _number(column, text, decimal_comma)
    if column.kind == "date":
        return _day(text)
    if column.kind == "yes_no":
        word = text.lower()
        return (
            (word in ("yes", "y", "true", "1"), None)
            if word in ("yes", "y", "true", "1", "no", "n", "false", "0")
            else (None, "not-in-list")
        )
    if column.kind in ("choice", "zone"):
        return (text.lower(), None) if text.lower() in column.choices else (None, "not-in-list")
    if column.kind == "body":
        kind, dash, count = text.lower().partition("-")
        fine = kind in column.choices and (not dash or (count.isascii() and count.isdigit()))
        return (text.lower(), None) if fine else (None, "not-in-list")
    return text, None


def _number(column: Column, text: str, decimal_comma: bool) -> tuple[object, str | None]:
    if decimal_comma and "." in text:
        return None, "not-a-number"
    plain = text.replace(",", ".") if decimal_comma else text
    if not NUMBER.fullmatch(plain):
        return None, "not-a-number"
    value = float(plain)
    low = -math.inf if column.low is None else column.low
    high = math.inf if column.high is None else column.high
    if math.isinf(value) or not low <= value <= high or (column.low_open and value == low):
        return None, "out-of-range"
    if column.kind == "integer" and value != int(value):
        return None, "not-a-whole-number"
    return value, None


def _day(text: str) -> tuple[object, str | None]:
    found = DAY.fullmatch(text)
    try:
        day = date.fromisoformat(found[1]) if found else None
    except ValueError:
        day = None
    if day is None:
        # Year 0 is a day to the database and none to Python; both are refused.
        return None, "out-of-range" if found and found[1].startswith("0000") and _exists(found[1]) else "not-a-date"
    return (day, None) if date(1980, 1, 1) <= day <= date(2027, 6, 30) else (None, "out-of-range")


def _exists(day: str) -> bool:
    try:
        date.fromisoformat(f"2000{day[4:]}")
    except ValueError:
        return False
    return True


def texts(column: Column) -> st.SearchStrategy[str]:
    """Cells that people, machines and the ill-meaning write."""
    odd = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)
    near = st.text("0123456789.,eE+-_ xnNaAifIF%'", max_size=9)
    numbers = st.one_of(st.integers(-20_000, 20_000).map(str), st.floats().map(str), st.floats(-10, 10_000).map(lambda x: f"{x:.3f}"))
    days = st.dates(date(1900, 1, 1), date(2100, 1, 1)).map(str) | st.from_regex(r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}", fullmatch=True)
    words = st.sampled_from(
        [*column.choices, "yes", "No", "TRUE", "?", "n/a", "TBC", "canopy-2", "tray-x", " ", "1e400", "=1+1", '"', "a\nb"]
    )
    return st.one_of(odd, near, numbers, days, words, words.map(str.upper), words.map(lambda word: f" {word} "))


@pytest.mark.parametrize("comma", [False, True])
@pytest.mark.parametrize("name", list(TABLES))
@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_the_database_reads_cells_as_a_plain_reading_of_the_contract_does(
    name: str, comma: bool, data: st.DataObject, tmp_path: Path
) -> None:
    table = TABLES[name]
    columns = [column for column in table.columns if not column.private]
    rows = data.draw(
        st.lists(st.fixed_dictionaries({column.name: st.none() | texts(column) for column in columns}), min_size=1, max_size=6)
    )
    typed, accused = staged(name, rows, tmp_path, decimal_comma=comma)
    rules = {(line, column): rule for line, column, rule in accused}
    for at, row in enumerate(rows):
        for column in columns:
            raw = {**FINE[name], **row}[column.name]
            value, rule = read_plainly(table, column, raw, comma)
            assert rules.get((at, column.name)) == rule, (column.name, raw)
            if rule is None:
                assert typed[at][column.name] == value, (column.name, raw)
