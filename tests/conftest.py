"""Puts this folder on the path, so that tests of every room find the helpers that lie here."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

from pipeline.store.customer import KEY_PLACE


@pytest.fixture(autouse=True, scope="session")
def _key_of_the_tests(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep the tests' customer key away from whoever runs them."""
    before = os.environ.get(KEY_PLACE)
    os.environ[KEY_PLACE] = str(tmp_path_factory.mktemp("key") / "customer.key")
    yield
    if before is None:
        del os.environ[KEY_PLACE]
    else:
        os.environ[KEY_PLACE] = before
