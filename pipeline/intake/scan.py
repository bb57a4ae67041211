"""One pass over a text file before anything parses it: its encoding, its longest line, and what is simple about it."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from pipeline.errors import Fault, InputRefused

BLOCK_BYTES = 131_072
"""Large enough that Python's cost for a block vanishes, small enough to stay in the processor's cache."""

DELIMITERS = (",", ";", "\t")

_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_END, _BLANK = ord("\n"), ord(" ")
_ENDS_CELL = np.isin(np.arange(256), [*map(ord, DELIMITERS), _END])
_OPENS_BARE = np.isin(np.arange(256), [*map(ord, DELIMITERS), _END, _BLANK])
_WIDE_BLANKS = "\u00a0\u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000"
"""Blanks beyond ASCII (the category Zs of Unicode), which the database takes off a cell's edges as it does the plain one."""
_CURE = "save it as CSV (UTF-8)"


@dataclass
class Scan:
    """What one pass found.

    `lines` are physical; `bare_start` tells of a line that is blank or opens with a blank or a delimiter, `padded` of a blank
    at the edge of some cell, `odd_numbers` of a `_` or a `+-`, which the database takes for part of a number, `lone_cr` of an
    old line end; `delimiters` counts each candidate in the whole file.
    """

    encoding: str
    lines: int = 0
    quotes: bool = False
    lone_cr: bool = False
    bare_start: bool = False
    padded: bool = False
    odd_numbers: bool = False
    delimiters: dict[str, int] = field(default_factory=lambda: dict.fromkeys(DELIMITERS, 0))


def scan(path: Path, name: str, max_line_bytes: int) -> Scan:
    """Read a text file once, in constant memory.

    UTF-8 and UTF-16, with or without mark, are told by their bytes; what is no UTF-8 is taken as cp1252.

    Args:
        name: the file's name for faults.
        max_line_bytes: longest line allowed, in bytes of UTF-8.
    Raises: InputRefused: no text, a line too long, or bytes that are no characters; the sentence names the line.
    """
    encoding = _told_by_bytes(path)
    if encoding != "utf-8":
        return _scan(path, name, encoding, max_line_bytes)
    try:
        return _scan(path, name, encoding, max_line_bytes)
    except _OneByteEncoding:
        return _scan(path, name, "cp1252", max_line_bytes)


class _OneByteEncoding(Exception):
    """The very first byte above ASCII is no UTF-8, so none of the file is."""


def _told_by_bytes(path: Path) -> str:
    with path.open("rb") as file:
        head = file.read(4096)
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return encoding
    even, odd, few = head[0::2].count(0), head[1::2].count(0), len(head) // 4
    if odd > few > even:
        return "utf-16-le"
    if even > few > odd:
        return "utf-16-be"
    return "utf-8"


def _scan(path: Path, name: str, encoding: str, max_line_bytes: int) -> Scan:
    found, ascii_only = Scan(encoding), True
    open_bytes, last = 0, "\n"
    try:
        for text in _decoded(path, encoding, min(BLOCK_BYTES, max(1, max_line_bytes // 4))):
            plain = text.replace("\r\n", "\n") if "\r" in text else text
            if "\r" in plain:
                found.lone_cr, plain = True, plain.replace("\r", "\n")
            if "\0" in plain:
                line = found.lines + 1 + plain[: plain.index("\0")].count("\n")
                raise InputRefused("not a text file: it holds a zero byte", where=f"{name} line {line}", do=_CURE)
            first, end = plain.find("\n"), plain.rfind("\n")
            open_bytes += len(plain[: first if first >= 0 else None].encode())
            if open_bytes > max_line_bytes:
                raise _too_long(f"{name} line {found.lines + 1}", max_line_bytes)
            if first >= 0:
                open_bytes = len(plain[end + 1 :].encode())
            if not plain.isascii():
                ascii_only = False
                found.padded = found.padded or any(blank in plain for blank in _WIDE_BLANKS)
            _note(found, (last + plain).encode())
            last = plain[-1]
    except UnicodeDecodeError as error:
        before = bytes(error.object[: error.start])
        if encoding == "utf-8" and ascii_only and before.isascii():
            raise _OneByteEncoding from None
        line = found.lines + 1 + before.replace(b"\0", b"").count(b"\n")
        raise InputRefused(_no_character(error, encoding, f"{name} line {line}")) from error
    found.padded = found.padded or last == " "
    found.lines += last != "\n"
    return found


def _note(found: Scan, text: bytes) -> None:
    """What stands in one block, whose first byte is the last one of the block before."""
    found.quotes = found.quotes or b'"' in text
    found.odd_numbers = found.odd_numbers or b"_" in text or b"+-" in text
    codes = np.frombuffer(text, dtype=np.uint8)
    after_end = codes[np.flatnonzero(codes[:-1] == _END) + 1]
    found.bare_start = found.bare_start or bool(_OPENS_BARE[after_end].any())
    found.lines += int(np.count_nonzero(codes[1:] == _END))
    for delimiter in DELIMITERS:
        found.delimiters[delimiter] += int(np.count_nonzero(codes[1:] == ord(delimiter)))
    if not found.padded and b" " in text:
        blanks = np.flatnonzero(codes == _BLANK)
        beside = codes[np.concatenate((blanks[blanks > 0] - 1, blanks[blanks < len(codes) - 1] + 1))]
        found.padded = bool(_ENDS_CELL[beside].any())


def _decoded(path: Path, encoding: str, block_bytes: int) -> Iterator[str]:
    """Blocks of text, none of them empty; a carriage return at the end of one waits for the next."""
    decoder = codecs.getincrementaldecoder(encoding)()
    held = ""
    with path.open("rb") as file:
        while True:
            block = file.read(block_bytes)
            text = held + decoder.decode(block, final=not block)
            held = "\r" if block and text.endswith("\r") else ""
            text = text[:-1] if held else text
            if text:
                yield text
            if not block:
                return


def _no_character(error: UnicodeDecodeError, encoding: str, where: str) -> Fault:
    what = "neither UTF-8 nor cp1252" if encoding == "cp1252" else f"no longer {encoding.upper().removesuffix('-SIG')}"
    return Fault(f"the text is {what} from here on", where=where, got=f"byte 0x{error.object[error.start]:02X}", do=_CURE)


def _too_long(where: str, max_line_bytes: int) -> InputRefused:
    return InputRefused(
        "a line without an end",
        where=where,
        expected=f"lines of at most {max_line_bytes:,} bytes",
        do="see whether it is a table at all, or raise intake.max_line_bytes in the settings",
    )
