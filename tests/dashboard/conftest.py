"""One store and one server for all tests of this folder."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import proxy_rig
import rig

from pipeline.store import Store


@pytest.fixture(scope="session")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return rig.make_store(tmp_path_factory.mktemp("dashboard"))


@pytest.fixture(scope="session")
def address(store: Store) -> Iterator[str]:
    with rig.server(store.root, "--allowed-host", "127.0.0.1", "--allowed-host", proxy_rig.NAME) as address:
        yield address


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One browser; each test opens contexts of its own."""
    with rig.browser() as running:
        yield running


@pytest.fixture(autouse=True)
def _key_outside_the_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TAREBOOK_KEY", str(tmp_path_factory.getbasetemp() / "customer.key"))
