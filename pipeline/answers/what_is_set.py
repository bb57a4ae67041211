"""Every setting with its value, its default and where it was set: for the command and the page."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import msgspec

from pipeline.answers.files import Rows
from pipeline.settings import Setting


def setting_rows(listed: Iterable[Setting]) -> Rows:
    """Settings as rows, values as they would stand in a file of JSON."""
    rows = [(each.key, told(each.value), told(each.default), each.source, each.doc) for each in listed]
    return Rows(("key", "value", "default", "from", "meaning"), rows)


def told(value: Any) -> str:
    """A value in one line.

    >>> told("metric"), told([1, 2]), told(True)
    ('metric', '[1,2]', 'true')
    """
    return value if isinstance(value, str) else msgspec.json.encode(value).decode()
