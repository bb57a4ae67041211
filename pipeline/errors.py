"""Every expected fault of Tarebook, as one small tree; the exit code of a command comes from the class.

TarebookError
├── WrongCall        2  the call itself is wrong
├── InputRefused     3  a file cannot be used; nothing was changed
└── StoreFault       4  no store, no model, busy or broken store
    ├── NoStore
    ├── NoModel
    ├── StoreBusy
    ├── StoreBroken
    ├── StoreUnwritable
    ├── SourceAway
    ├── SourceDamaged
    └── EngineAway
"""

from __future__ import annotations

import enum
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


class Exit(enum.IntEnum):
    """Exit codes of every command."""

    DONE = 0
    LOOK = 1
    WRONG_CALL = 2
    INPUT_REFUSED = 3
    STORE = 4


@dataclass(frozen=True)
class Fault:
    """One problem, told so that a person can mend it: what, where, got, expected, what to do.

    >>> print(Fault("no column 'lenght_mm'", where="bodies.csv line 1", do="did you mean 'length_mm'?"))
    bodies.csv line 1: no column 'lenght_mm'; did you mean 'length_mm'?
    """

    what: str
    where: str = ""
    got: str = ""
    expected: str = ""
    do: str = ""

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        tail = [f"got {self.got}" if self.got else "", f"expected {self.expected}" if self.expected else ""]
        told = ", ".join(part for part in tail if part)
        return "; ".join(part for part in (head, told, self.do) if part)


class TarebookError(Exception):
    """Base of all expected faults. Unexpected ones are bugs, and keep their traceback for the log."""

    exit_code: Exit = Exit.LOOK
    meaning = ""

    def __init__(self, faults: Fault | str | Sequence[Fault], **parts: str) -> None:
        if isinstance(faults, str):
            faults = Fault(faults, **parts)
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class WrongCall(TarebookError):
    exit_code = Exit.WRONG_CALL
    meaning = "The command or its options are wrong."


class InputRefused(TarebookError):
    exit_code = Exit.INPUT_REFUSED
    meaning = "A file handed in cannot be used; nothing was changed."


class StoreFault(TarebookError):
    exit_code = Exit.STORE
    meaning = "The store cannot answer."


class NoStore(StoreFault):
    meaning = "There is no store in that folder yet."


class NoModel(StoreFault):
    meaning = "The live edition has no mass model yet."


class StoreBusy(StoreFault):
    meaning = "Another load or fit is at work on the store."


class StoreBroken(StoreFault):
    meaning = "The store's files are damaged, or newer than this program."


class StoreUnwritable(StoreFault):
    meaning = "The store's folder cannot be written: disk full, read-only, or not permitted."


class SourceAway(StoreFault):
    meaning = "The place that editions are published to cannot be reached, or holds none."


class SourceDamaged(StoreFault):
    meaning = "A published edition does not agree with its digests."


class EngineAway(StoreFault):
    meaning = "The engine that was asked for is not installed, or cannot be started."


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """A cure for a near miss, or an empty text.

    >>> did_you_mean("lenght_mm", ["length_mm", "width_mm"])
    "did you mean 'length_mm'?"
    """
    from difflib import get_close_matches  # where something is wrong

    near = get_close_matches(word, list(known), n=1, cutoff=0.7)
    return f"did you mean {near[0]!r}?" if near else ""
