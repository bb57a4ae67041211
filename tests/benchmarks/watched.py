"""A stopwatch around the database: how much of a page's rerun is its queries."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


class Stopwatch:
    """Seconds of processors spent in the database, its own threads too, nested calls counted once; what others at work hardly change."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self._depth = 0

    def run(self, call: Any, *args: Any, **named: Any) -> Any:
        """Call, and add the time it took."""
        began = time.process_time()
        self._depth += 1
        try:
            return call(*args, **named)
        finally:
            self._depth -= 1
            if not self._depth:
                self.seconds += time.process_time() - began


class Watched:
    """A cursor, or what one of its calls returned, with every call timed."""

    def __init__(self, inner: Any, watch: Stopwatch) -> None:
        self._inner, self._watch = inner, watch

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._inner, name)
        if not callable(found):
            return found

        def timed(*args: Any, **named: Any) -> Any:
            given = self._watch.run(found, *args, **named)
            return Watched(given, self._watch) if type(given).__module__.startswith(("duckdb", "_duckdb")) else given

        return timed


@contextmanager
def watching() -> Iterator[Stopwatch]:
    """Time every cursor that editions give out meanwhile."""
    from pipeline.store import Edition

    watch, plain = Stopwatch(), Edition.cursor
    Edition.cursor = lambda edition: Watched(plain(edition), watch)
    try:
        yield watch
    finally:
        Edition.cursor = plain
