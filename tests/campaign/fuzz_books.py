"""Mutated workbooks: the bytes of the zip, of a part inside it, or its sheets; read, or refused in a sentence, by a child."""

from __future__ import annotations

import io
import random
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import xlsxwriter
from outcome import Outcome

from pipeline.errors import InputRefused
from pipeline.intake import find_hand_ins, read_hand_in
from pipeline.settings import IntakeSettings

HANG_S = 10.0
LIMITS = IntakeSettings(child_seconds=8.0, child_memory_mb=1024)
HEAD = ["job_id", "body", "length_mm", "width_mm", "weighed_kg", "drawing"]
CELLS = (1650, 1.5e308, -0.0, "", "=1+1", "x" * 32000, "a\nb", True, "\u202e", "1650mm", "2026-02-30", "'", "<si>", "&amp;", 0.1 + 0.2)


def _book(dice: random.Random) -> bytes:
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": dice.random() < 0.3, "constant_memory": dice.random() < 0.3})
    for name in dice.sample(["bodies", "notes", "bodies-2", "Sheet1"], dice.randint(1, 3)):
        sheet = book.add_worksheet(name)
        sheet.write_row(dice.choice([0, 0, 0, 3]), 0, HEAD)
        for row in range(4, dice.randint(5, 12)):
            sheet.write_row(row, 0, [str(row), "canopy", 1650, 1800, *(dice.choice(CELLS) for _ in range(dice.randint(0, 4)))])
        if dice.random() < 0.2:
            sheet.merge_range("A20:C22", "merged")
            sheet.write(dice.choice([100, 5000, 1_048_575]), dice.choice([0, 300, 16_383]), "far")
    book.close()
    return out.getvalue()


def _bytes(dice: random.Random, data: bytes) -> bytes:
    changed = bytearray(data)
    for _ in range(dice.choice([1, 3, 20])):
        if not changed:
            break
        at = dice.randrange(len(changed))
        if dice.random() < 0.5:
            changed[at] ^= 1 << dice.randrange(8)
        else:
            del changed[at : at + dice.randint(1, 60)]
    return bytes(changed)


def _cut(dice: random.Random, data: bytes) -> bytes:
    return data[: dice.randrange(len(data))]


def _parts(dice: random.Random, data: bytes) -> bytes:
    """The zip whole, one of its parts changed, gone, doubled, or moved to where it has no business."""
    out, what = io.BytesIO(), dice.randrange(6)
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        victim = dice.choice(old.namelist())
        for name in old.namelist():
            content = old.read(name)
            if name != victim or what == 5:
                new.writestr(name, content)
            elif what == 0:
                new.writestr(name, _bytes(dice, content))
            elif what == 1:
                new.writestr(name, _words(dice, content))
            elif what == 2:
                new.writestr(f"../../{name}", content)
            elif what == 3:
                new.writestr(name, content * dice.choice([2, 300]))
        if what == 5:
            new.writestr("xl/externalLinks/externalLink1.xml", b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><x>&e;</x>')
    return out.getvalue()


def _words(dice: random.Random, content: bytes) -> bytes:
    """Numbers and names inside XML turned into others."""
    for old, new in dice.sample(_SWAPS, 3):
        content = content.replace(old, new, dice.choice([1, -1]))
    return content


_SWAPS = [
    (b't="s"', b't="str"'), (b't="s"', b't="e"'), (b"<v>", b"<v>9"), (b'r="A', b'r="ZZZ'), (b'r="1"', b'r="99999999"'), (b"</c>", b""),
    (b"<sheetData>", b"<sheetData><row><c><v>1</v></c></row>"), (b"UTF-8", b"UTF-7"), (b"bodies", b"bodies\xff"), (b"sheetId", b"r:id"),
    (b'ref="', b'ref="A1:XFD1048576" x="'), (b"<t>", b"<t xml:space='preserve'>"), (b"<f>", b"<f>WEBSERVICE(1)"), (b"rId1", b"rId9"),
]  # fmt: skip
MUTATIONS: tuple[Callable[[random.Random, bytes], bytes], ...] = (_bytes, _cut, _parts, _parts, _parts)


def run(count: int, seed: int, scratch: Path) -> Outcome:
    """Read `count` mutated workbooks; one in ten is left as it was made."""
    outcome, dice = Outcome("mutated workbooks"), random.Random(seed)
    folder = scratch / "book"
    folder.mkdir()
    for turn in range(count):
        data = _book(dice)
        if dice.random() < 0.9:
            for mutation in dice.choices(MUTATIONS, k=dice.choice([1, 1, 2])):
                try:
                    data = mutation(dice, data) or data
                except (zipfile.BadZipFile, ValueError, NotImplementedError, EOFError, OSError):
                    data = _bytes(dice, data)
        (folder / "bodies.xlsx").write_bytes(data)
        outcome.tried += 1
        _one(outcome, folder, f"book {turn} of seed {seed}")
    return outcome


def _one(outcome: Outcome, folder: Path, which: str) -> None:
    began = time.monotonic()
    try:
        (hand_in,) = find_hand_ins([folder])
        rows = sum(1 for table in read_hand_in(hand_in, LIMITS) for _ in table.rows())
        outcome.seen["read" if rows else "read, no row"] += 1
    except InputRefused as refused:
        outcome.seen["refused"] += 1
        if any("\n" in str(fault) or not str(fault) for fault in refused.faults):
            outcome.lost.append(f"{which}: a refusal that is no sentence")
    except Exception as error:
        outcome.lost.append(f"{which}: {type(error).__name__}: {str(error)[:200]}")
    if time.monotonic() - began > HANG_S:
        outcome.lost.append(f"{which}: took {time.monotonic() - began:.0f} s")
