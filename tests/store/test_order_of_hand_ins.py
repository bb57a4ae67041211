"""However the same rows are cut into hand-ins, and in whatever order these come, they make the same tables."""

from __future__ import annotations

import csv
from pathlib import Path
from random import Random

import pytest
from store_rig import HAND_INS, ask, digests, hand_in, loaded

from pipeline.contract import TABLES
from pipeline.store.schema import select_of

WAYS = 4


def cut(dice: Random, folder: Path) -> list[Path]:
    """The tidy hand-in cut at random into several; the lines of one list stay together."""
    pieces: list[dict[str, list[dict[str, str]]]] = [{} for _ in range(dice.randint(3, 5))]
    for path in sorted((HAND_INS / "plain").glob("*.csv")):
        table = TABLES[path.stem]
        together: dict[tuple[str, ...], dict[str, list[dict[str, str]]]] = {}
        with path.open(newline="", encoding="utf-8") as file:
            for row in csv.DictReader(file):
                key = tuple(row.get(column, "") for column in table.key) if table.grouped else tuple(row.values())
                piece = together.setdefault(key, dice.choice(pieces))
                piece.setdefault(path.stem, []).append(row)
    dice.shuffle(pieces)
    return [hand_in(folder / str(at), piece) for at, piece in enumerate(pieces) if piece]


ALONE = ("list_sets", "set_items", "newest_day", "accounts")
"""Kept of records, or of other kept tables, whose old lists stay in them."""


@pytest.mark.parametrize("seed", range(WAYS))
def test_order_and_cut_do_not_matter_where_nothing_contradicts(seed: int, tmp_path: Path, whole: dict[str, str]) -> None:
    store = loaded(tmp_path / "store", *cut(Random(seed), tmp_path))
    found = digests(store)
    assert {table: found[table] for table in (*TABLES, "suspects")} == whole
    assert all(found[f"waiting_{table}"].startswith("0:") for table in TABLES)
    of_lists = "WHERE list IN (SELECT list FROM body_facts)"
    for table, held in (("body_facts", ""), ("list_lines", of_lists), *((table, "") for table in ALONE)):
        anew, kept = f"FROM ({select_of(table)})", f"FROM {table} {held}"
        assert ask(store, f"({anew} EXCEPT ALL {kept}) UNION ALL ({kept} EXCEPT ALL {anew})") == [], table


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    found = digests(loaded(tmp_path_factory.mktemp("whole") / "store", "plain"))
    return {table: found[table] for table in (*TABLES, "suspects")}
