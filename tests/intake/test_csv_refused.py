"""A CSV that cannot be used gets a sentence that says where, what and what to do; all faults of all files at once."""

from __future__ import annotations

import pytest

from pipeline.errors import InputRefused
from pipeline.settings import IntakeSettings

HEAD = "job_id,body,length_mm,width_mm"


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ("", "bodies.csv: no header in its first 30 lines"),
        ("nothing,of,this\n1,2,3\n", "bodies.csv: no header in its first 30 lines"),
        (f"{HEAD}|x\n", "did you mean 'width_mm'"),
        ("job_id,body,lenght_mm,width_mm\n", "bodies.csv line 1: no column 'lenght_mm'; did you mean 'length_mm'?"),
        ("\n\njob_id,body,Length (mm),width_mm\n", "bodies.csv line 3: no column 'Length (mm)'; did you mean 'length_mm'?"),
        ("job_id;body;length_mm;width\n", "no column 'width'; did you mean 'width_mm'?"),
        ("job_id,body,length_inches,width_mm\n", "no column 'length_inches'; did you mean 'length_in'?"),
        ("job_id,body,length_cm,width_mm\n", "no column 'length_cm'; did you mean 'length_mm'? Its values are in mm."),
        (f"{HEAD},Weighed lbs\n", "no column 'Weighed lbs'; did you mean 'weighed_lb'?"),
        (f"{HEAD},weighd_kg\n", "no column 'weighd_kg'; did you mean 'weighed_kg'?"),
        ("job,body,length_mm,width_mm\n", "column 'job_id' is missing"),
        (f"{HEAD},width_mm\n", "column 'width_mm' stands there twice"),
        (f"{HEAD},weighed_kg,weighed_lb\n", "'weighed_kg' is given in two units; got 'weighed_kg' and 'weighed_lb'"),
        (f'{HEAD},note\nJ1,tray,1,2,"open\nJ2,tray,1,2,\n', "bodies.csv line 2: a quote opens here and is never closed"),
        (f'{HEAD},drawing\nJ1,tray,1,2,"12" wide"\n', "bodies.csv line 2: the quotes of this row do not add up"),
        (f"{HEAD}\nJ1,tray,1\0,2\n", "bodies.csv line 2: not a text file: it holds a zero byte"),
        (f"{HEAD},drawing\nJ1,tray,1,2,é\n".encode() + b"J2,tray,1,2,\xe9\n", "bodies.csv line 3: the text is no longer UTF-8"),
        (f"{HEAD},drawing\nJ1,tray,1,2,".encode() + b"\x81\n", "bodies.csv line 2: the text is neither UTF-8 nor cp1252"),
        (b"\xff\xfe" + f"{HEAD}\n".encode("utf-16-le") + b"x", "the text is no longer UTF-16"),
    ],
)
def test_one_fault_one_sentence(refusal, content, sentence):
    assert sentence in refusal({"bodies.csv": content})


def test_a_near_miss_is_told_once(refusal):
    assert refusal({"bodies.csv": "job_id,body,lenght_mm,width_mm\n"}).count("length_mm") == 1


def test_the_faults_of_all_files_come_at_once(refusal):
    told = refusal({"bodies.csv": "job_id,body,lenght_mm,width\n", "jobs.csv": "", "fitouts.csv": "x\n", "items.jsonl": "{\n"})
    assert len(told.splitlines()) == 5
    assert "no table is called 'fitouts'" in told
    assert "did you mean 'fitout'?" in told


@pytest.mark.parametrize(
    ("name", "near"), [("bodeis.csv", "bodies"), ("Bodies.csv", "bodies"), ("job.csv", "jobs"), ("onvehicle.csv", "on_vehicle")]
)
def test_a_table_of_unknown_name_gets_an_offer(refusal, name, near):
    assert f"did you mean {near!r}?" in refusal({name: "x\n"})


@pytest.mark.parametrize("name", ["README.md", "make.py", "photo.PNG", "notes", ".bodies.csv", "~$bodies.xlsx", "old.xls"])
def test_other_endings_are_ignored(read, name):
    (table,) = read({name: b"\0\1", "bodies.csv": f"{HEAD}\n"})
    assert table.table == "bodies"


def test_other_unknown_columns_are_named_and_left_out(read):
    (table,) = read({"bodies.csv": f"{HEAD},shade,customer_name,z_mm\nJ1,tray,1,2,red,Ann,3\n"})
    assert table.unknown_columns == ("shade", "customer_name", "z_mm")
    assert table.columns == ("job_id", "body", "length_mm", "width_mm")


@pytest.mark.parametrize(("length", "fine"), [(1_048_576, True), (1_048_577, False)])
def test_a_line_has_a_limit_of_one_mebibyte(read, refusal, length, fine):
    head = f"{HEAD},drawing\n"
    line = "J1,tray,1,2,"
    content = head + line + "x" * (length - len(line)) + "\n"
    if fine:
        (table,) = read({"bodies.csv": content})
        ((_, row),) = table.rows()
        assert row[-1] == "x" * (length - len(line))
    else:
        assert "bodies.csv line 2: a line without an end" in refusal({"bodies.csv": content})


def test_a_long_file_of_old_line_ends_is_no_long_line(read):
    limits = IntakeSettings(max_line_bytes=60)
    (table,) = read({"bodies.csv": f"{HEAD}\r" + "J1,tray,1,2\r" * 1000}, limits=limits)
    assert len(list(table.rows())) == 1000


def test_a_quote_that_never_closes_cannot_fill_the_memory(refusal):
    content = f'{HEAD},note\nJ1,tray,1,2,"' + ("x" * 99 + "\n") * 30
    assert "never closed" in refusal({"bodies.csv": content}, limits=IntakeSettings(max_line_bytes=1000))


def test_pounds_and_inches_come_with_their_exact_factors(read):
    """1 lb = 0.45359237 kg and 1 in = 25.4 mm, exact by definition: NIST SP 811."""
    bodies, on_vehicle = read({"bodies.csv": "job_id,body,length_in,width_in,cad_lb\n", "on_vehicle.csv": "job_id,label,lb\n"})
    assert bodies.columns == ("job_id", "body", "length_mm", "width_mm", "cad_kg")
    assert bodies.scale == {"length_mm": 25.4, "width_mm": 25.4, "cad_kg": 0.45359237}
    assert on_vehicle.scale == {"kg": 0.45359237}


def test_a_file_that_changes_while_it_is_read_is_refused_and_no_traceback(read, tmp_path):
    (table,) = read({"bodies.csv": f'{HEAD}\n"J1",tray,1,2\n'})
    (tmp_path / "hand-in-1" / "bodies.csv").write_text(f'{HEAD}\n"J1,tray,1,2\n')
    with pytest.raises(InputRefused):
        list(table.rows())
