"""Writing that survives a crash: a name appears only when what it names is whole and on the disk."""

from __future__ import annotations

import errno
import fcntl
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pipeline.errors import Fault, StoreBusy, StoreUnwritable

_NOT_WRITABLE = {errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EACCES, errno.EPERM, errno.EFBIG}


def reached(step: str) -> None:
    """A named step of a load or a fit is done. Does nothing: fault tests stop the process here."""


def flush(path: Path) -> None:
    """Bring a file, or a folder's list of names, to the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def make_folder(path: Path) -> None:
    """Make a folder, and those it lies in, with their names on the disk."""
    if not path.is_dir():
        make_folder(path.parent)
        path.mkdir(exist_ok=True)
        flush(path.parent)


def write_whole(path: Path, data: bytes, mode: int = 0o644) -> None:
    """Write a file so that its name never points at half of it."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)
    flush(path.parent)


def write_json(path: Path, value: Any) -> None:
    """As `write_whole`, a value as JSON with sorted keys."""
    write_whole(path, (json.dumps(value, indent=1, sort_keys=True, default=str) + "\n").encode())


def copy_file(source: Path, target: Path) -> None:
    """Copy a file to the disk, by the file system's own shortcut where it has one."""
    shutil.copyfile(source, target)
    flush(target)


@contextmanager
def only_one(path: Path) -> Iterator[None]:
    """Hold the store's lock; it is let go when the process ends, however it ends.

    Raises: StoreBusy: somebody else holds it.
    """
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise StoreBusy("another load or fit is at work", where=str(path.parent), do="wait until it is done, then try again") from error
        yield
    finally:
        os.close(handle)


@contextmanager
def writing(root: Path) -> Iterator[None]:
    """Turn a full disk or a read-only folder into a sentence; the live edition is untouched by then.

    Raises: StoreUnwritable.
    """
    import duckdb

    try:
        yield
    except OSError as error:
        if error.errno not in _NOT_WRITABLE:
            raise
        raise _unwritable(root, error.strerror or str(error)) from error
    except duckdb.Error as error:
        if not any(word in str(error) for word in ("No space left", "Permission denied", "Read-only", "Could not write", "File too large")):
            raise
        raise _unwritable(root, str(error).splitlines()[0]) from error


def _unwritable(root: Path, why: str) -> StoreUnwritable:
    return StoreUnwritable(
        Fault("the store cannot be written", where=str(root), got=why, do="make room or permit writing; nothing was changed")
    )
