"""The log: one JSON object a line, rotated, for whoever has to find out later. No row of anybody's records stands in it."""

from __future__ import annotations

import json
import logging
import logging.handlers
import threading
import traceback
from datetime import UTC, datetime
from pathlib import Path

LOGGER = logging.getLogger("tarebook")
FILE = Path("log") / "tarebook.log"
_one_at_a_time = threading.Lock()


class _Json(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        told = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "step": record.getMessage(),
            **getattr(record, "facts", {}),
        }
        if record.exc_info and record.exc_info[0]:
            # Where it broke, not what the values were: an exception's own text may carry somebody's row.
            told |= {
                "error": record.exc_info[0].__name__,
                "trace": [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in traceback.extract_tb(record.exc_info[2])],
            }
        return json.dumps(told, ensure_ascii=False)


def log_unexpected(store: Path, step: str, **facts: str) -> Path | None:
    """Log the exception that is being handled; where it is to be read, or None where that folder cannot be written (then on stderr)."""
    with _one_at_a_time:
        path = log_to(store)
        LOGGER.exception(step, extra={"facts": facts})
    return path


def log_to(store: Path) -> Path | None:
    """Send the log to a store's folder; None where that folder cannot be written: then it goes to stderr."""
    for earlier in list(LOGGER.handlers):
        LOGGER.removeHandler(earlier)
        earlier.close()
    handler: logging.Handler
    path: Path | None = store / FILE
    try:
        (store / FILE).parent.mkdir(parents=True, exist_ok=True)
        handler = logging.handlers.RotatingFileHandler(store / FILE, maxBytes=2_000_000, backupCount=4, encoding="utf-8", delay=True)
    except OSError:
        handler, path = logging.StreamHandler(), None
    handler.setFormatter(_Json())
    LOGGER.addHandler(handler)
    LOGGER.setLevel(logging.INFO)
    LOGGER.propagate = False
    return path
