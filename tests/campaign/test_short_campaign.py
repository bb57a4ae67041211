"""A small seeded part of the long campaign (`python tests/campaign/campaign.py`), so that none of it rots."""

from __future__ import annotations

from pathlib import Path

import fuzz_books
import fuzz_csv
import pollution
from campaign import LATER, TIDY, parts
from outcome import Outcome


def test_the_campaign_names_every_part(tmp_path: Path) -> None:
    assert set(parts(1.0, 1, tmp_path)) == {
        "csv",
        "books",
        "spectrum",
        "pollution",
        "kills",
        "power",
        "disk",
        "readers",
        "advisories",
        "turns",
    }
    assert TIDY.is_dir()
    assert LATER.is_dir()


def test_mutated_csvs_lose_no_row(tmp_path: Path) -> None:
    outcome = fuzz_csv.run(100, 3, TIDY, tmp_path)
    _held(outcome, 100)
    assert {"refused whole", "taken in", "taken in, with rejected rows"} <= set(outcome.seen)


def test_mutated_workbooks_are_read_or_refused(tmp_path: Path) -> None:
    _held(fuzz_books.run(8, 3, tmp_path), 8)


def test_no_kind_of_pollution_lets_another_value_in(tmp_path: Path) -> None:
    outcome = pollution.run(tmp_path, every=6)
    _held(outcome, 10)
    assert outcome.seen["read whole"] >= 4


def _held(outcome: Outcome, tried: int) -> None:
    assert outcome.lost == []
    assert outcome.tried == tried
