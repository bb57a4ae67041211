"""JSONL: names are headers, values stay as written."""

from __future__ import annotations

import json

import pytest
from hand_ins import records


def test_values_stay_the_text_that_stood_there(read):
    lines = [
        '{"item_id": "a", "label": "A", "group": "power", "datasheet_kg": 34.0, "holds_l": null}',
        "",
        '{"group": "power", "item_id": 7, "label": "grün", "datasheet_lb_": "x", "needs": ["b", "c"]}',
        '{"item_id": "c", "label": true, "group": false, "datasheet_kg": NaN}',
    ]
    (table,) = read({"items.jsonl": "\r\n".join(lines).replace("datasheet_lb_", "shade")})
    assert records(table) == [
        {"item_id": "a", "label": "A", "group": "power", "datasheet_kg": "34.0"},
        {"item_id": "7", "label": "grün", "group": "power", "needs": '["b", "c"]'},
        {"item_id": "c", "label": "yes", "group": "no", "datasheet_kg": "NaN"},
    ]
    assert [line for line, _ in table.rows()] == [1, 3, 4]
    assert (table.left_out, table.unknown_columns, table.as_stood(4)["label"]) == (1, ("shade",), "yes")


def test_an_empty_file_is_an_empty_table(read):
    (table,) = read({"items.jsonl": ""})
    assert records(table) == []


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_other_encodings(read, encoding):
    line = json.dumps({"item_id": "a", "label": "grün", "group": "power"}, ensure_ascii=False)
    (table,) = read({"items.jsonl": line.encode(encoding)})
    assert records(table)[0]["label"] == "grün"


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ('{"item_id": "a"\n', "items.jsonl line 1: not readable as JSON"),
        ("\n[1, 2]\n", "items.jsonl line 2: no JSON object"),
        ('{"item_id": "a", "item_id": "b"}\n', "a name stands there twice"),
        ("[" * 100_000 + "\n", "not readable as JSON"),
        ('{"item_id": "a", "lable": "b", "group": "power"}\n', "no column 'lable'; did you mean 'label'?"),
        ('{"item_id": "a", "label": "b", "group": "power", "shortest_in": 1}\n{"shortest_mm": 2}\n', "'shortest_mm' is given in two units"),
    ],
)
def test_refusals(refusal, content, sentence):
    assert sentence in refusal({"items.jsonl": content})


def test_only_the_first_bad_lines_are_told(refusal):
    assert len(refusal({"items.jsonl": "{\n" * 1000}).splitlines()) == 5
