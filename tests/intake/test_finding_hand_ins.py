"""Which folders and files are hand-ins; nothing outside of them is read, nothing in them is passed over in silence."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest
from hand_ins import write

from pipeline.errors import InputRefused
from pipeline.intake import HandIn, find_hand_ins

BODIES = "job_id,body,length_mm,width_mm\n"


def found(hand_ins: list[HandIn]) -> list[tuple[str, list[str]]]:
    return [(hand_in.name, [file.name for file in hand_in.files]) for hand_in in hand_ins]


def refused(*paths: Path, mapping: Path | None = None) -> str:
    with pytest.raises(InputRefused) as caught:
        find_hand_ins(paths, mapping)
    return str(caught.value)


def test_a_folder_with_tables_is_one(tmp_path):
    write(tmp_path / "north", {"bodies.csv": BODIES, "jobs-1.parquet": b"x", "README.md": "x", "photo.png": b"x"})
    (hand_in,) = find_hand_ins([tmp_path / "north"])
    assert found([hand_in]) == [("north", ["bodies.csv", "jobs-1.parquet"])]
    assert hand_in.files[0].sha256 == hashlib.sha256(BODIES.encode()).hexdigest()


def test_a_path_may_hold_several_in_name_order(tmp_path):
    write(tmp_path, {"b/bodies.csv": "", "a/jobs.csv": "", "a2.xlsx": b"x", "pictures/x.png": b"", "c/deep/items.csv": ""})
    assert found(find_hand_ins([tmp_path])) == [
        ("a", ["jobs.csv"]),
        ("a2.xlsx", ["a2.xlsx"]),
        ("b", ["bodies.csv"]),
        ("c/deep", ["items.csv"]),
    ]


def test_a_sub_folder_has_the_same_name_alone_and_with_others(tmp_path):
    write(tmp_path, {"north/bodies.csv": "", "south/bodies.csv": ""})
    assert found(find_hand_ins([tmp_path]))[0] == found(find_hand_ins([tmp_path / "north"]))[0]


def test_a_workbook_named_for_a_table_belongs_to_its_folder(tmp_path):
    write(tmp_path, {"n/bodies.xlsx": b"x", "n/jobs.csv": "", "n/all.xlsx": b"x"})
    assert found(find_hand_ins([tmp_path / "n"])) == [("n", ["bodies.xlsx", "jobs.csv"]), ("all.xlsx", ["all.xlsx"])]


def test_each_workbook_takes_the_mapping_beside_it(tmp_path):
    write(tmp_path, {"a.xlsx": b"x", "a.intake.toml": "[[sheet]]", "b.csv": "x", "b.intake.toml": "[[sheet]]", "c.xlsx": b"x"})
    hand_ins = find_hand_ins([tmp_path])
    assert [(hand_in.name, hand_in.mapping and hand_in.mapping.name) for hand_in in hand_ins] == [
        ("a.xlsx", "a.intake.toml"),
        ("b.csv", "b.intake.toml"),
        ("c.xlsx", None),
    ]
    (alone,) = find_hand_ins([tmp_path / "a.xlsx"])
    assert (alone.name, alone.files, alone.mapping) == (hand_ins[0].name, hand_ins[0].files, hand_ins[0].mapping)


def test_an_intake_toml_speaks_of_files_of_its_folder(tmp_path):
    write(tmp_path / "n", {"list.csv": "x", "bodies.csv": "", "other.xlsx": b"x", "intake.toml": '[[sheet]]\nfile = "list*.csv"\n'})
    assert found(find_hand_ins([tmp_path / "n"])) == [("n", ["bodies.csv", "list.csv"]), ("other.xlsx", ["other.xlsx"])]


def test_a_mapping_of_the_call_goes_before_the_one_beside(tmp_path):
    write(tmp_path, {"n/list.xlsx": b"x", "n/list.intake.toml": "[[sheet]]", "m.toml": "[[sheet]]"})
    (hand_in,) = find_hand_ins([tmp_path / "n" / "list.xlsx"], tmp_path / "m.toml")
    assert hand_in.mapping is not None
    assert hand_in.mapping.name == "m.toml"


@pytest.mark.parametrize(
    ("mapping", "sentence"),
    [
        ('[[sheet]]\nfile = "lst.csv"\n', "no file 'lst.csv' in the hand-in"),
        ("[[sheet]]\n", "it could speak of several files; got list.csv, more.csv"),
    ],
)
def test_a_mapping_must_find_its_file(tmp_path, mapping, sentence):
    write(tmp_path, {"n/list.csv": "x", "n/more.csv": "x", "n/intake.toml": mapping})
    assert sentence in refused(tmp_path / "n")


def test_a_mapping_of_the_call_must_be_of_use(tmp_path):
    write(tmp_path, {"n/bodies.csv": "x", "m.toml": "[[sheet]]"})
    assert "speaks of no file that was handed in" in refused(tmp_path / "n", mapping=tmp_path / "m.toml")
    assert "no such mapping" in refused(tmp_path / "n", mapping=tmp_path / "nix.toml")


def test_every_bad_path_is_told_at_once(tmp_path):
    write(tmp_path, {"empty/README.md": "x", "note.txt": "x"})
    told = refused(tmp_path / "empty", tmp_path / "nowhere", tmp_path / "note.txt")
    assert [line.split(": ", 1)[1][:16] for line in told.splitlines()] == ["nothing to read;", "no such file or ", "nothing to read;"]


def test_links_out_of_the_hand_in_are_refused_and_links_inside_are_not(tmp_path):
    write(tmp_path, {"secret/jobs.csv": "s", "n/real.d/bodies.csv": "", "n/items.csv": ""})
    (tmp_path / "n" / "items-2.csv").symlink_to("items.csv")
    (tmp_path / "n" / "again").symlink_to("real.d")
    assert found(find_hand_ins([tmp_path / "n"])) == [("n", ["items-2.csv", "items.csv"]), ("real.d", ["bodies.csv"])]
    (tmp_path / "n" / "jobs.csv").symlink_to("../secret/jobs.csv")
    (tmp_path / "n" / "more").symlink_to(tmp_path / "secret")
    (tmp_path / "n" / "intake.toml").symlink_to("/etc/hostname")
    assert refused(tmp_path / "n").count("a link that leads out of the hand-in") == 3


def test_what_is_no_file_is_refused_and_not_waited_for(tmp_path):
    (tmp_path / "n").mkdir()
    os.mkfifo(tmp_path / "n" / "bodies.csv")
    assert "bodies.csv: not a file" in refused(tmp_path / "n")


def test_a_name_with_a_line_break_cannot_forge_a_line(tmp_path):
    write(tmp_path, {"n/bodies-a\nledger: all fine.csv": BODIES})
    (line,) = refused(tmp_path / "n").splitlines()
    assert line.startswith("bodies-a\\nledger: all fine.csv: the file's name holds a line break")


def test_a_name_that_is_no_text_is_refused(tmp_path):
    (tmp_path / "n").mkdir()
    (tmp_path / "n" / os.fsdecode(b"bodies-\xff.csv")).write_text(BODIES)
    refused(tmp_path / "n").encode("utf-8")
