"""CSV as people save it comes out as the same rows, each with its physical line."""

from __future__ import annotations

import itertools

import pytest
from hand_ins import cells, records

from pipeline.intake import Ragged

ROWS = [
    ["job_id", "body", "length_mm", "width_mm", "colour_outside"],
    ["J1", "canopy", "1650", "1780", "grün"],
    ["J2", "tray", "2400", "1860", ""],
]
KEPT = [("J1", "canopy", "1650", "1780", "grün"), ("J2", "tray", "2400", "1860", None)]
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]


def text(delimiter: str, end: str, quote: str = "") -> str:
    return "".join(delimiter.join(f"{quote}{cell}{quote}" for cell in row) + end for row in ROWS)


@pytest.mark.parametrize(
    ("encoding", "delimiter", "end", "quote"),
    list(itertools.product(ENCODINGS, [",", ";", "\t"], ["\n", "\r\n", "\r"], ["", '"'])),
)
def test_every_dialect_gives_the_same_rows(read, encoding, delimiter, end, quote):
    (table,) = read({"bodies.csv": text(delimiter, end, quote).encode(encoding)})
    assert cells(table) == KEPT
    assert [line for line, _ in table.rows()] == [2, 3]
    assert table.decimal_comma == (delimiter == ";")
    assert table.left_out == 0


def test_utf_16_with_a_mark_of_either_order(read):
    for mark, encoding in ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        (table,) = read({"bodies.csv": mark + text(";", "\r\n").encode(encoding)})
        assert cells(table) == KEPT


def test_a_last_line_without_an_end_counts(read):
    (table,) = read({"bodies.csv": text(",", "\n").rstrip("\n")})
    assert cells(table)[-1] == KEPT[-1]


def test_a_quoted_line_break_keeps_the_physical_lines_of_what_follows(read):
    notes = 'job_id,vehicle_id,status,note\nJ1,V,lost,"two\nlines, and ""quotes"""\nJ2,V,lost,\n'
    (table,) = read({"jobs.csv": notes})
    assert list(table.rows()) == [(2, ("J1", "V", "lost", 'two\nlines, and "quotes"')), (4, ("J2", "V", "lost", None))]
    assert table.plain is None


def test_title_block_blank_rows_and_trailing_blank_columns_are_left_out(read):
    north = 'Job list; north\r\nsaved "today\r\n\r\njob_id;vehicle_id;status;;\r\nJ1;V;lost;;\r\n;;;;\r\n\r\n   ;;;;\r\nJ2;V;lost\r\n'
    (table,) = read({"jobs-2020.csv": north})
    assert list(table.rows()) == [(5, ("J1", "V", "lost")), (9, ("J2", "V", "lost"))]
    assert table.left_out == 3 + 3


@pytest.mark.parametrize(("above", "found"), [(29, True), (30, False)])
def test_a_header_stands_in_the_first_30_lines(read, refusal, above, found):
    content = "title\n" * above + text(",", "\n")
    if found:
        (table,) = read({"bodies.csv": content})
        assert table.left_out == above
    else:
        assert "no header in its first 30 lines" in refusal({"bodies.csv": content})


def test_a_header_name_may_hold_a_line_break(read):
    (table,) = read({"bodies.csv": 'job_id,body,"said\nby",length_mm,width_mm\nJ1,tray,Ann,1,2\n'})
    assert table.unknown_columns == ("said\nby",)
    assert list(table.rows()) == [(3, ("J1", "tray", "1", "2"))]


def test_a_row_with_cells_under_no_header_is_not_read_in_wrong_columns(read):
    (table,) = read({"bodies.csv": "job_id,body,length_mm,width_mm\nJ1,tray,1,650,1780\nJ2,tray,2,3,,\n"})
    (_, ragged), (line, row) = table.rows()
    assert set(ragged) == {None}
    assert ragged.stood == ("J1", "tray", "1", "650", "1780")
    assert (line, row) == (3, ("J2", "tray", "2", "3"))


def test_in_a_ragged_row_nobody_is_told_by_another_columns_name(read):
    (table,) = read({"jobs.csv": "job_id,vehicle_id,status,note,customer_ref,price\nJ1,V,lost,blue,or green,Ann Example,5,6\n"})
    stood = {"cell 1": "J1", "cell 2": "V", "cell 3": "lost", "cell 4": "blue"}
    assert table.as_stood(2) == stood | {"cell 5 and beyond": "(hidden)"}


HEAD = "job_id,vehicle_id,status,price,customer_ref,note\n"


@pytest.mark.parametrize(
    ("head", "row", "stood"),
    [
        (HEAD, "J1,V,lost,450,Ann Example", None),
        (HEAD, "J1,V,lost,450", None),
        (HEAD, "J1,V,lost,", None),
        # Three cells too few: the vehicle could be a name by now.
        (HEAD, "J1,V,lost", {"cell 1": "J1", "cell 2 and beyond": "(hidden)"}),
        # A cell is lost before the name: it stands where a price would, or in the row of a file with no room for numbers.
        (HEAD, "J1,V,lost,Ann Example,blue", {"cell 1": "J1", "cell 2": "V", "cell 3": "lost", "cell 4 and beyond": "(hidden)"}),
        (HEAD, "J1,V,Ann Example,blue", {"cell 1": "J1", "cell 2": "V", "cell 3 and beyond": "(hidden)"}),
        (HEAD, "J1,Ann Example,blue", {"cell 1": "J1", "cell 2 and beyond": "(hidden)"}),
        ("job_id,vehicle_id,status,note,customer_ref\n", "J1,V,lost,blue", {"cell 1": "J1", "cell 2": "V", "cell 3": "lost",
                                                                           "cell 4 and beyond": "(hidden)"}),
        ("job_id,vehicle_id,status,salesman,customer_ref\n", "J1,V,lost,blue", None),
        ("job_id,vehicle_id,status,note\n", "J1,V,lost", None),
    ],
)  # fmt: skip
def test_a_short_row_is_read_only_where_no_name_can_have_slid_into_another_column(read, head, row, stood):
    (table,) = read({"jobs.csv": head + row + "\n"})
    ((_, cells),) = table.rows()
    assert isinstance(cells, Ragged) == (stood is not None)
    if stood:
        assert table.as_stood(2) == stood


def test_a_short_ragged_row_does_not_tell_either(read):
    (table,) = read({"jobs.csv": "job_id,vehicle_id,status,,customer_ref,note,price,cost\nJ1,V,lost,what,or that,Ann Example\n"})
    assert isinstance(next(table.rows())[1], Ragged)
    assert table.as_stood(2) == {"cell 1": "J1", "cell 2": "V", "cell 3 and beyond": "(hidden)"}


def test_as_stood_holds_the_known_columns_by_their_own_headers(read):
    (table,) = read({"bodies.csv": "job_id,body,length_in,width_mm,salesman\nJ1,tray,70,,Ann\n"})
    assert table.as_stood(2) == {"job_id": "J1", "body": "tray", "length_in": "70"}
    assert table.stood_as == {"length_mm": "length_in"}
    assert table.cell(2, "length_mm") is None


def test_several_files_of_a_table_are_several_tables(read):
    tables = read({"bodies-2024.csv": text(",", "\n"), "bodies.north.csv": text(";", "\n")})
    assert [(table.table, table.file) for table in tables] == [("bodies", "bodies-2024.csv"), ("bodies", "bodies.north.csv")]


def test_rows_can_be_read_again_and_side_by_side(read):
    (table,) = read({"bodies.csv": text(",", "\n")})
    assert list(zip(table.rows(), table.rows(), strict=True)) == [(row, row) for row in table.rows()]


@pytest.mark.parametrize(
    ("content", "plain"),
    [
        (text(",", "\n"), True),
        (text(";", "\r\n"), True),
        ("\ufeff" + text("\t", "\n"), True),
        (text(",", "\n", '"'), False),
        (text(",", "\r"), False),
        ("title\n" + text(",", "\n"), False),
        (text(",", "\n") + "\n", False),
        (text(",", "\n") + ",,,,\n", False),
        (text(",", "\n") + "J3,tray\n", False),
        (text(",", "\n").encode("cp1252"), False),
        (text(",", ",\n"), False),
    ],
)
def test_only_a_file_that_any_reader_reads_alike_is_plain(read, content, plain):
    (table,) = read({"bodies.csv": content})
    assert (table.plain is not None) == plain
    if table.plain:
        assert table.plain.header == tuple(ROWS[0])
        assert table.plain.header_line == 1


def test_headers_are_matched_by_name_not_by_position(read):
    (table,) = read({"bodies.csv": "width_mm,body,job_id,length_mm\n1780,tray,J1,2400\n"})
    assert records(table) == [{"width_mm": "1780", "body": "tray", "job_id": "J1", "length_mm": "2400"}]


def test_the_other_numbers_of_a_draft_need_less(read):
    (table,) = read({"jobs.csv": "job_id\nD1\n"}, jobs=("job_id",))
    assert records(table) == [{"job_id": "D1"}]


def test_a_table_with_a_header_alone_is_empty(read):
    (table,) = read({"fitout.csv": "job_id,body,item_id\n"})
    assert cells(table) == []
