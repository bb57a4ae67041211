"""Headers to the contract's columns: by name, in either unit, with an offer where a name was nearly right."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pipeline.contract import Column, Table
from pipeline.contract.model import FOREIGN_UNITS
from pipeline.errors import Fault
from pipeline.intake.words import listed, short

HEADER_LINES = 30
"""A title block is shorter than this; further down a table has no header."""

_UNIT = re.compile(r"_(kgs?|mm|lbs?|pounds?|in|inch|inches|cm|m|ft|feet|g|t|l|h|on)$")
_FOREIGN_WORDS = {"_lb": ("lb", "lbs", "pound", "pounds"), "_in": ("in", "inch", "inches")}


@dataclass(frozen=True)
class Header:
    """Which cell of a row is which column.

    `positions` and `kinds` go with `columns`, `stood_as` holds the names that were others, `private` the positions of private columns;
    `nameless` are positions under no header, and whatever lies at `width` or beyond.
    """

    columns: tuple[str, ...]
    positions: tuple[int, ...]
    kinds: tuple[Column, ...]
    scale: dict[str, float]
    stood_as: dict[str, str]
    private: tuple[int, ...]
    unknown: tuple[str, ...]
    names: tuple[str, ...]
    nameless: tuple[int, ...]
    width: int


def meaning(name: str, table: Table) -> tuple[str, float] | None:
    """The column that a header names, and the factor to its unit; None where the contract has none.

    >>> from pipeline.contract import table_named
    >>> meaning("length_in", table_named("bodies"))
    ('length_mm', 25.4)
    """
    if name in table.names:
        return name, 1.0
    for ending, (ours, factor) in FOREIGN_UNITS.items():
        if name.endswith(ending) and name[: -len(ending)] + ours in table.names:
            return name[: -len(ending)] + ours, factor
        if name == ending[1:] and ours[1:] in table.names:
            return ours[1:], factor
    return None


def trimmed(cell: str) -> str:
    r"""A header cell without blanks, and without the byte-order mark that a file saved twice has twice.

    >>> trimmed("\ufeffjob_id ")
    'job_id'
    """
    return cell.strip().lstrip("\ufeff").strip()


def holds_required(cells: Sequence[str], table: Table, required: Iterable[str]) -> bool:
    """Whether a line names every required column, in either unit."""
    found = {known[0] for cell in cells if (known := meaning(trimmed(cell), table))}
    return found.issuperset(required)


def likeness(cells: Sequence[str], table: Table) -> int:
    """How much a line looks like a header of that table; 0 for not at all."""
    names = {name for cell in cells if (name := trimmed(cell))}
    return sum(3 if meaning(name, table) else 1 if near_miss(name, table.names) else 0 for name in names)


def match(cells: Sequence[str], table: Table, required: Sequence[str], where: str) -> tuple[Header, list[Fault]]:
    """Match one header line; the faults are all that is wrong with it.

    A column named twice, the same quantity in two units, a near miss and a missing required column are faults.
    """
    names = tuple(trimmed(cell) for cell in cells)
    taken: dict[str, tuple[int, str]] = {}
    scale: dict[str, float] = {}
    faults: list[Fault] = []
    unknown: list[str] = []
    for position, name in enumerate(names):
        known = meaning(name, table)
        if not known:
            unknown += [name] if name else []
        elif known[0] in taken:
            faults.append(_twice(known[0], taken[known[0]][1], name, where))
        else:
            taken[known[0]] = (position, name)
            if known[1] != 1.0:
                scale[known[0]] = known[1]
    absent = [column for column in table.names if column not in taken]
    faults += _near_misses(unknown, absent, where)
    meant = {near_miss(name, absent) for name in unknown}
    faults += [_missing(column, unknown, names, where) for column in required if column in absent and column not in meant]
    width = max((i + 1 for i, name in enumerate(names) if name), default=0)
    header = Header(
        columns=tuple(taken),
        positions=tuple(position for position, _ in taken.values()),
        kinds=tuple(table.column(column) for column in taken),
        scale=scale,
        stood_as={column: name for column, (_, name) in taken.items() if name != column},
        private=tuple(position for column, (position, _) in taken.items() if table.column(column).private),
        unknown=tuple(unknown),
        names=names,
        nameless=tuple(i for i, name in enumerate(names[:width]) if not name),
        width=width,
    )
    return header, faults


def near_miss(name: str, columns: Iterable[str]) -> str | None:
    """The column that a header was probably meant to be: other case, other or no unit, or a slip of a letter or two.

    >>> near_miss("lenght_mm", ["width_mm", "length_mm"]), near_miss("Length (mm)", ["length_mm"]), near_miss("width", ["width_mm"])
    ('length_mm', 'length_mm', 'width_mm')
    >>> near_miss("customer_name", ["customer_ref"]), near_miss("z_mm", ["x_mm", "y_mm"])
    (None, None)
    """
    plain = _plain(name)
    stem = _UNIT.sub("", plain)
    best: tuple[int, str] | None = None
    for column in columns:
        its = _UNIT.sub("", column)
        shorter = min(len(stem), len(its))
        allowed = 0 if shorter <= 2 else 1 if shorter <= 5 else 2
        apart = 0 if plain == column else slips(stem, its, allowed)
        if apart <= allowed and (best is None or (apart, column != plain) < (best[0], best[1] != plain)):
            best = (apart, column)
    return best[1] if best else None


def offer(name: str, column: str) -> str:
    """The column to name instead, in the unit that the header speaks of: a renamed header must not change a unit.

    >>> offer("lenght_mm", "length_mm"), offer("weighed (lbs)", "weighed_kg"), offer("width", "width_mm")
    ("did you mean 'length_mm'?", "did you mean 'weighed_lb'?", "did you mean 'width_mm'? Its values are in mm.")
    """
    said, unit = _plain(name).rsplit("_", 1)[-1], column.rsplit("_", 1)[-1]
    for ending, (ours, _) in FOREIGN_UNITS.items():
        if column.endswith(ours) and said in _FOREIGN_WORDS[ending]:
            return f"did you mean {column.removesuffix(ours) + ending!r}?"
    return f"did you mean {column!r}?" + (f" Its values are in {unit}." if unit in ("kg", "mm", "l", "h") and said != unit else "")


def _plain(name: str) -> str:
    return re.sub(r"[^0-9a-z]+", "_", name.casefold()).strip("_")


def slips(a: str, b: str, most: int) -> int:
    """Letters added, lost, changed or swapped with their neighbour between two words; `most + 1` where there are more.

    Source: optimal string alignment distance (Damerau 1964; restricted form, common practice).

    >>> slips("lenght", "length", 2), slips("doors", "door", 2), slips("sheet", "floor", 2)
    (1, 1, 3)
    """
    if abs(len(a) - len(b)) > most:
        return most + 1
    before: list[int] = []
    row = list(range(len(b) + 1))
    for i, letter in enumerate(a, 1):
        before, last, row = row, before, [i]
        for j, other in enumerate(b, 1):
            cost = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (letter != other))
            if i > 1 and j > 1 and letter == b[j - 2] and a[i - 2] == other:
                cost = min(cost, last[j - 2] + 1)
            row.append(cost)
    return min(row[-1], most + 1)


def _twice(column: str, first: str, second: str, where: str) -> Fault:
    if first == second:
        return Fault(f"column {first!r} stands there twice", where=where, do="keep one of them")
    return Fault(
        f"{column!r} is given in two units",
        where=where,
        got=f"{first!r} and {second!r}",
        expected="one unit for one quantity",
        do="keep the column that was measured, and take the other out",
    )


def _near_misses(unknown: Sequence[str], absent: Sequence[str], where: str) -> list[Fault]:
    faults = []
    for name in unknown:
        meant = near_miss(name, absent)
        if meant:
            do = f"{offer(name, meant)} If it is something else, give it a name less like that one"
            faults.append(Fault(f"no column {short(name)}", where=where, do=do))
    return faults


def _missing(column: str, unknown: Sequence[str], names: Sequence[str], where: str) -> Fault:
    from difflib import get_close_matches  # where something is wrong

    near = get_close_matches(column, unknown, n=1, cutoff=0.6)
    return Fault(
        f"column {column!r} is missing",
        where=where,
        got=listed([name for name in names if name]) or "no headers",
        do=f"does it say {short(near[0])}? {offer(near[0], column)}" if near else f"add a column {column!r}",
    )


def no_header(where: str, lines: str, required: Sequence[str]) -> Fault:
    """What to say of a file or sheet in which nothing looks like a header."""
    return Fault(
        f"no header in its first {HEADER_LINES} {lines}",
        where=where,
        expected=f"the columns {', '.join(required)}",
        do="write the table's column names above the rows, or hand it in with a mapping",
    )
