"""Mutated CSVs: whatever happens to a file, every row is accounted for, or the file is refused whole; no traceback, no hang.

Each file goes the whole way: read by intake, staged, sifted and settled in a database that holds the tidy hand-in, and
audited; then the transaction is rolled back, so that every file meets the same store.
"""

from __future__ import annotations

import csv
import io
import random
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import duckdb
from outcome import Outcome

from pipeline.errors import InputRefused
from pipeline.intake import TextTable, find_hand_ins, read_hand_in
from pipeline.settings import Settings
from pipeline.sift import create_tables
from pipeline.store.audit import audit
from pipeline.store.load import Entry, take_in
from pipeline.store.schema import create_views

HANG_S = 10.0
Mutation = Callable[[random.Random, bytes], bytes]

WORDS = (
    "", "?", "n/a", "TBC", "NaN", "inf", "-inf", "1e999", "-0", "0x1F", "1,650", "1_000", "１２",
    "=1+1", "'; DROP TABLE jobs; --", '"', '""',
    "\t", "\x0b", "\u00a0", "\u200b", "\ufeff", "\u202e", "e\u0301", "ß", "İ", "💥", "a\nb", "a\r\nb", "9" * 400, "x" * 5000, "2026-02-30",
    "0000-01-01", "9999-12-31", "true", "canopy-", "canopy-99999999999", "tray\\", "NULL", "None", "\\N",
    "#REF!", "$(id)", "../../etc/passwd",
    "%00", "<b>x</b>",
)  # fmt: skip


def _cells(data: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8"), newline="")))


def _write(rows: list[list[str]], **dialect: Any) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, **{"lineterminator": "\n", **dialect}).writerows(rows)
    return out.getvalue()


def _other_dialect(dice: random.Random, data: bytes) -> bytes:
    dialect = {"delimiter": dice.choice(",;\t|:^ "), "lineterminator": dice.choice(["\n", "\r\n", "\r", "\n\n", "\n\r"])}
    quoting = dice.choice([csv.QUOTE_ALL, csv.QUOTE_MINIMAL, csv.QUOTE_NONNUMERIC])
    mark = dice.choice(['"', '"', "'"])
    text = _write(_cells(data), quoting=quoting, quotechar=mark, **dialect)
    return text.encode(
        dice.choice(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "utf-32", "utf-7", "shift_jis"]), "replace"
    )


def _odd_cells(dice: random.Random, data: bytes) -> bytes:
    rows = _cells(data)
    for _ in range(dice.randint(1, 6)):
        row = dice.choice(rows)
        row[dice.randrange(len(row))] = dice.choice(WORDS)
    return _write(rows).encode()


def _odd_shape(dice: random.Random, data: bytes) -> bytes:
    rows = _cells(data)
    for _ in range(dice.randint(1, 3)):
        at = dice.randrange(len(rows))
        what = dice.randrange(8)
        if what == 0:
            rows[at] = rows[at] + [dice.choice(WORDS)] * dice.randint(1, 3)
        elif what == 1:
            rows[at] = rows[at][: dice.randint(0, len(rows[at]))]
        elif what == 2:
            rows.insert(at, [])
        elif what == 3:
            rows.insert(at, [dice.choice(WORDS)])
        elif what == 4:
            rows.insert(at, list(dice.choice(rows)))
        elif what == 5:
            rows.insert(0, ["Report of the month"])
        elif what == 6:
            dice.shuffle(rows)
        else:
            order = list(range(len(rows[0])))
            dice.shuffle(order)
            rows = [[row[i] for i in order if i < len(row)] for row in rows]
    return _write(rows).encode()


def _odd_bytes(dice: random.Random, data: bytes) -> bytes:
    changed = bytearray(data)
    for _ in range(dice.choice([1, 1, 2, 5, 30])):
        at = dice.randrange(len(changed) + 1)
        what = dice.randrange(5)
        if what == 0 and changed:
            changed[at % len(changed)] ^= 1 << dice.randrange(8)
        elif what == 1:
            changed[at:at] = bytes([dice.choice([0, 10, 13, 34, 39, 44, 59, 9, 92, 0x80, 0xA0, 0xC3, 0xE2, 0xFF, 0xFE, 0xEF, 0x1A])])
        elif what == 2:
            del changed[at : at + dice.randint(1, 40)]
        elif what == 3:
            changed[at:at] = changed[at : at + dice.randint(1, 200)]
        else:
            changed[at:at] = dice.choice(WORDS).encode()
    return bytes(changed)


def _cut(dice: random.Random, data: bytes) -> bytes:
    return data[: dice.randrange(len(data) + 1)]


def _odd_header(dice: random.Random, data: bytes) -> bytes:
    head, _, rest = data.partition(b"\n")
    names = head.decode().split(",")
    at = dice.randrange(len(names))
    names[at] = dice.choice([
        "", names[at].upper(), f" {names[at]} ", names[at][:-1], names[0], names[at].replace("_mm", "_in"), names[at].replace("_kg", "_lb"),
        names[at].replace("_", " "), "colour of the sky", '"' + names[at] + '"', names[at] + "\ufeff", "hand_in",
        "line", "part", "rowid", "job_id",
    ])  # fmt: skip
    return ",".join(names).encode() + b"\n" + rest


MUTATIONS: tuple[Mutation, ...] = (_other_dialect, _odd_cells, _odd_shape, _odd_bytes, _cut, _odd_header)


BATCH = 50
"""Files taken in together, since settling costs more than reading; one that fails is then tried alone, to be named."""


@dataclass(frozen=True)
class Odd:
    """A file of the fuzzer, by its turn; `texts` is what intake made of it."""

    turn: int
    path: Path
    texts: list[TextTable]

    def named(self) -> list[TextTable]:
        """Its tables under a name that no other file of the batch has."""
        return [replace(text, file=f"{self.turn}-{text.file}") for text in self.texts]


def run(count: int, seed: int, tidy: Path, scratch: Path) -> Outcome:
    """Load `count` mutated files, one to three mutations on top of each other."""
    outcome, dice = Outcome("mutated CSVs"), random.Random(seed)
    files = {path.name: path.read_bytes() for path in sorted(tidy.glob("*.csv"))}
    con = _store_with(tidy, scratch)
    for first in range(0, count, BATCH):
        with tempfile.TemporaryDirectory(dir=scratch) as folder:
            batch = []
            for turn in range(first, min(first + BATCH, count)):
                name = dice.choice(list(files))
                path = Path(folder) / str(turn) / "odd" / name
                path.parent.mkdir(parents=True)
                path.write_bytes(mutated(dice, files[name]))
                outcome.tried += 1
                batch += _read(outcome, Odd(turn, path, []), f"file {turn} of seed {seed} ({name})")
            _settle(outcome, con, batch, Path(folder), tidy, seed)
    con.close()
    return outcome


def mutated(dice: random.Random, data: bytes) -> bytes:
    """A file with some mutations on top of each other."""
    try:
        for mutation in dice.choices(MUTATIONS, k=dice.choice([1, 1, 2, 3])):
            data = mutation(dice, data) or data
    except (ValueError, IndexError, csv.Error):
        # Too broken by then for a mutation that works on cells.
        data = _odd_bytes(dice, data)
    return data


def _store_with(tidy: Path, scratch: Path) -> Any:
    con = duckdb.connect(config={"threads": 1})
    create_tables(con)
    create_views(con)
    (whole,) = find_hand_ins([tidy])
    entry = Entry(whole.name, "2026-06-30", tuple((file.name, file.sha256) for file in whole.files), None)
    take_in(con, 1, entry, read_hand_in(whole, Settings().intake), Settings(), scratch)
    return con


def _read(outcome: Outcome, odd: Odd, which: str) -> list[Odd]:
    began = time.monotonic()
    try:
        (hand_in,) = find_hand_ins([odd.path.parent])
        texts = read_hand_in(hand_in, Settings().intake)
        for text in texts:
            for line, _ in text.rows():
                if line < 1:
                    outcome.lost.append(f"{which}: a row on line {line}")
        return [replace(odd, texts=texts)]
    except InputRefused as refused:
        outcome.seen["refused whole"] += 1
        if any("\n" in str(fault) or not str(fault) for fault in refused.faults):
            outcome.lost.append(f"{which}: a refusal that is no sentence")
    except Exception as error:
        outcome.lost.append(f"{which}: {_said(error)}")
    finally:
        if time.monotonic() - began > HANG_S:
            outcome.lost.append(f"{which}: reading took {time.monotonic() - began:.0f} s")
    return []


def _settle(outcome: Outcome, con: Any, batch: list[Odd], folder: Path, tidy: Path, seed: int) -> None:
    began = time.monotonic()
    try:
        con.execute("BEGIN")
        try:
            told = _take_in(con, batch, folder)
        finally:
            con.execute("ROLLBACK")
        _judge(outcome, batch, told)
    except Exception:
        for odd in batch:
            _alone(outcome, odd, folder, tidy, f"file {odd.turn} of seed {seed} ({odd.path.name})")
    if time.monotonic() - began > HANG_S * len(batch):
        outcome.lost.append(f"files {batch[0].turn} to {batch[-1].turn} of seed {seed}: took {time.monotonic() - began:.0f} s")


def _alone(outcome: Outcome, odd: Odd, folder: Path, tidy: Path, which: str) -> None:
    """As a load does it, without a transaction around it: a reader that fails within one spoils the rest."""
    con = _store_with(tidy, folder)
    try:
        _judge(outcome, [odd], _take_in(con, [odd], folder))
    except InputRefused:
        outcome.seen["refused whole"] += 1
    except Exception as error:
        outcome.lost.append(f"{which}: {_said(error)}")
    finally:
        con.close()


def _take_in(con: Any, batch: list[Odd], folder: Path) -> list[tuple[str, int, int]]:
    texts = [text for odd in batch for text in odd.named()]
    take_in(con, 2, Entry("odd", "2026-06-30", tuple((text.file, "0" * 64) for text in texts), None), texts, Settings(), folder)
    audit(con)
    return con.execute("SELECT file, read, rejected FROM accounts WHERE hand_in = 'odd'").fetchall()


def _judge(outcome: Outcome, batch: list[Odd], told: list[tuple[str, int, int]]) -> None:
    rows = {text.file: sum(1 for _ in text.rows()) for odd in batch for text in odd.named()}
    for file, read, rejected in told:
        outcome.seen["taken in, with rejected rows" if rejected else "taken in"] += 1
        wanted = rows.pop(file)
        if read != wanted:
            outcome.lost.append(f"{file}: {read} rows read of {wanted}")
    outcome.lost += [f"{file}: in no account" for file in rows]


def _said(error: Exception) -> str:
    return f"{type(error).__name__}: {(str(error).splitlines() or [''])[0][:200]}"
