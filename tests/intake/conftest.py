"""A hand-in of some files, read or refused."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from pathlib import Path

import pytest
from hand_ins import Files, write

from pipeline.errors import InputRefused
from pipeline.intake import TextTable, find_hand_ins, read_hand_in
from pipeline.settings import IntakeSettings


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., list[TextTable]]:
    """The tables of one hand-in with these files; each call has a folder of its own."""
    number = count(1)

    def run(
        files: Files, mapping: Path | None = None, limits: IntakeSettings | None = None, **required: tuple[str, ...]
    ) -> list[TextTable]:
        (hand_in,) = find_hand_ins([write(tmp_path / f"hand-in-{next(number)}", files)], mapping)
        return read_hand_in(hand_in, limits or IntakeSettings(), required)

    return run


@pytest.fixture
def refusal(read: Callable[..., list[TextTable]]) -> Callable[..., str]:
    """The sentences with which these files are refused."""

    def run(files: Files, **options: object) -> str:
        with pytest.raises(InputRefused) as caught:
            read(files, **options)
        return str(caught.value)

    return run
