"""The examples in the docstrings of what pages say."""

from __future__ import annotations

import doctest
from types import ModuleType

import pytest

from dashboard import called, units, words
from dashboard.parts import columns, tables


@pytest.mark.parametrize("module", [called, units, words, columns, tables], ids=lambda module: module.__name__)
def test_the_examples_hold(module: ModuleType) -> None:
    found = doctest.testmod(module)
    assert found.attempted
    assert not found.failed
