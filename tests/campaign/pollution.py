"""One tidy table, polluted in the ways that tables on the web are (the kinds that Vitagliano et al., PVLDB 16(8), 2023, name).

What is taken in must be what was meant: no pollution may let a row come in with another value than it has in the tidy
table. A polluted file may be refused whole, and a row may be rejected.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
from outcome import Outcome

from pipeline.errors import InputRefused
from pipeline.intake import find_hand_ins, read_hand_in
from pipeline.settings import Settings
from pipeline.sift import create_tables
from pipeline.store.audit import audit
from pipeline.store.load import Entry, take_in
from pipeline.store.schema import create_views

HEAD = ["job_id", "body", "length_mm", "width_mm", "height_mm", "weighed_kg", "material", "drawing"]
ROWS = [
    [f"J{at}", "canopy", str(1500 + 10 * at), "1800", "900", f"{230 + at}.5", f"alloy {at}", f"D{at} rev. B, sheet 2"]
    for at in range(1, 13)
]
JOBS = "job_id,vehicle_id,status\n" + "".join(f"{row[0]},V1,quoted\n" for row in ROWS)
VEHICLES = "vehicle_id,label,size_class\nV1,dual cab,midsize\n"


def _text(rows: list[list[str]] = ROWS, head: list[str] | None = HEAD, **dialect: Any) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, **{"lineterminator": "\n", **dialect}).writerows([*([head] if head else []), *rows])
    return out.getvalue()


def _line(at: int, change: Callable[[str], str]) -> str:
    lines = _text().split("\n")
    lines[at] = change(lines[at])
    return "\n".join(lines)


def _every_line(change: Callable[[str], str]) -> str:
    return "\n".join(change(line) for line in _text().split("\n"))


def pollutions() -> dict[str, bytes]:
    """Every kind by name, as the bytes of `bodies.csv`."""
    kinds: dict[str, str | bytes] = {
        "no payload": b"",
        "header alone": _text([]),
        "no header": _text(head=None),
        "header twice": _text([HEAD, *ROWS]),
        "header of two lines": _text([["", "", "mm", "mm", "mm", "kg", "", ""], *ROWS]),
        "header with blanks": _text(head=[f" {name} " for name in HEAD]),
        "header in capitals": _text(head=[name.upper() for name in HEAD]),
        "header with one name gone": _text(head=[*HEAD[:4], "", *HEAD[5:]]),
        "header too short": _text(head=HEAD[:6]),
        "header too long": _text(head=[*HEAD, "extra", "more"]),
        "preamble": "Bodies of the year\nby the office\n\n" + _text(),
        "preamble with delimiters": "a,b,c,d,e,f,g,h\n1,2,3,4,5,6,7,8\n" + _text(),
        "footnote": _text() + "\n* as weighed\n",
        "totals below": _text() + "Total,,,,,2838,,\n",
        "two tables": _text() + "\n\nitem_id,label,group\nx,y,drawer\n",
        "empty row in the middle": _line(5, lambda line: line + "\n"),
        "row of delimiters alone": _line(5, lambda line: line + "\n,,,,,,,"),
        "row with a cell less": _line(5, lambda line: line.split(",", 1)[1]),
        "row with a cell more": _line(5, lambda line: "0," + line),
        "row with delimiters behind": _line(5, lambda line: line + ",,,"),
        "delimiters behind every row": _every_line(lambda line: line + ",,"),
        "row of another delimiter": _line(5, lambda line: ";".join(next(csv.reader([line])))),
        "row with its quote open": _line(5, lambda line: line.rsplit('"', 1)[0]),
        "quote inside without escape": _line(5, lambda line: line.replace("rev. B", 'rev. "B"')),
        "quote escaped by a backslash": _line(5, lambda line: line.replace("rev. B", 'rev. \\"B\\"')),
        "quotes of another kind": _text(quotechar="'"),
        "typographic quotes": _text().replace('"', "\u201c"),
        "everything in quotes": _text(quoting=csv.QUOTE_ALL),
        "blanks after delimiters": _text(quoting=csv.QUOTE_ALL).replace('","', '", "'),
        "line break inside a cell": _text([[*row[:7], "D1\nrev. B"] for row in ROWS]),
        "line ends: CRLF": _text(lineterminator="\r\n"),
        "line ends: CR": _text(lineterminator="\r"),
        "line ends: LFCR": _text(lineterminator="\n\r"),
        "line ends: mixed": _line(5, lambda line: line + "\r"),
        "line ends: none at the end": _text().rstrip("\n"),
        "delimiter: semicolon": _text(delimiter=";").replace(".5", ",5"),
        "delimiter: semicolon, decimal point": _text(delimiter=";"),
        "delimiter: tab": _text(delimiter="\t"),
        "delimiter: bar": _text(delimiter="|"),
        "delimiter: blank": _text(delimiter=" "),
        "delimiter: comma and blank": _text([row[:7] for row in ROWS], HEAD[:7]).replace(",", ", "),
        "delimiter: two": _text([row[:7] for row in ROWS], HEAD[:7]).replace(",", ",,"),
        "encoding: UTF-8 with mark": _text().encode("utf-8-sig"),
        "encoding: mark twice": "\ufeff".encode() + _text().encode("utf-8-sig"),
        "encoding: UTF-16": _text().encode("utf-16"),
        "encoding: UTF-16 without mark": _text().encode("utf-16-be"),
        "encoding: UTF-32": _text().encode("utf-32"),
        "encoding: cp1252": _text([[*row[:6], "alliage é", row[7]] for row in ROWS]).encode("cp1252"),
        "encoding: bytes of two": _text().encode() + "J99,canopy,1650,1800,900,230,é,x\n".encode("cp1252") + "é".encode(),
        "zero bytes": _text().encode().replace(b"J5", b"J5\0"),
        "numbers with thousands": _text([[*row[:2], f"{int(row[2]):,}", *row[3:]] for row in ROWS]),
        "numbers with units": _text([[*row[:2], f"{row[2]} mm", *row[3:]] for row in ROWS]),
        "numbers with decimal commas": _text([[*row[:5], row[5].replace(".", ","), *row[6:]] for row in ROWS]),
        "columns in another order": _text([row[::-1] for row in ROWS], HEAD[::-1]),
        "column twice": _text([[*row, row[2]] for row in ROWS], [*HEAD, "length_mm"]),
        "columns of one quantity in two units": _text([[*row, "65"] for row in ROWS], [*HEAD, "length_in"]),
        "rows twice": _text([*ROWS, *ROWS]),
        "long cell": _text([[*row[:7], "x" * 100_000] for row in ROWS]),
        "line without an end": "x" * 3_000_000,
    }
    return {name: told if isinstance(told, bytes) else told.encode() for name, told in kinds.items()}


def run(scratch: Path, every: int = 1) -> Outcome:
    """Load each polluted table, or every so many of them, into a store of its own."""
    outcome = Outcome("kinds of pollution")
    meant = {row[0]: (float(row[2]), float(row[3]), float(row[4]), float(row[5])) for row in ROWS}
    for at, (kind, data) in list(enumerate(pollutions().items()))[::every]:
        folder = scratch / f"polluted-{at}"
        folder.mkdir()
        (folder / "bodies.csv").write_bytes(data)
        (folder / "jobs.csv").write_text(JOBS)
        (folder / "vehicles.csv").write_text(VEHICLES)
        outcome.tried += 1
        try:
            _one(outcome, kind, folder, scratch, meant)
        except Exception as error:
            outcome.lost.append(f"{kind}: {type(error).__name__}: {(str(error).splitlines() or [''])[0][:200]}")
    return outcome


def _one(outcome: Outcome, kind: str, folder: Path, scratch: Path, meant: dict[str, tuple[float, ...]]) -> None:
    con = duckdb.connect(config={"threads": 1})
    try:
        create_tables(con)
        create_views(con)
        (hand_in,) = find_hand_ins([folder])
        entry = Entry("polluted", "2026-06-30", tuple((file.name, file.sha256) for file in hand_in.files), None)
        take_in(con, 1, entry, read_hand_in(hand_in, Settings().intake), Settings(), scratch)
        audit(con)
        found = con.execute("SELECT job_id, length_mm, width_mm, height_mm, weighed_kg FROM bodies").fetchall()
    except InputRefused:
        outcome.seen["refused whole"] += 1
        return
    finally:
        con.close()
    for job_id, *values in found:
        if any(value is not None and value != wanted for value, wanted in zip(values, meant[job_id], strict=True)):
            outcome.lost.append(f"{kind}: {job_id} came in with other values: {values}")
    outcome.seen["read whole" if len(found) == len(meant) else "read in part" if found else "every row rejected"] += 1
