"""Rows of a CSV with cells too few, in a file that names people: a name may have slid left, out of the column that is kept private.

Whoever leaves the last cells of a row out leaves such a row too, and so do spreadsheets where the last columns are empty for
some rows. So it is read where no cell that a name can have reached could be one, and is a row that does not fit elsewhere.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from pipeline.contract import Column

_WORDS = frozenset({"yes", "no", "y", "n", "true", "false", "n/a", "tbc"})


def private_from(private: Collection[int], width: int, got: int) -> int:
    """The first place at which something private may stand in a row of `got` cells; beyond the row where nothing is private.

    >>> private_from([4], 6, 6), private_from([4], 6, 4), private_from([], 6, 4)
    (4, 2, 6)
    """
    return max(0, min(private) - max(0, width - got)) if private else max(width, got)


def may_have_slid(cells: Sequence[str], width: int, private: Collection[int], columns: Iterable[tuple[int, Column]]) -> bool:
    """Whether a cell that a name can have reached could be one; `columns` are the places that are read, and as what.

    >>> note, price, who = Column("note"), Column("price", "number"), Column("customer_ref", private=True)
    >>> may_have_slid(["J1", "Ann Example"], 3, [2], [(1, note), (2, who)])
    True
    >>> may_have_slid(["J1", "450"], 3, [2], [(1, price), (2, who)])
    False
    """
    first, last = private_from(private, width, len(cells)), max(private, default=0)
    return any(
        first <= place < min(last, len(cells)) and not column.private and _could_be_a_name(column, cells[place].strip())
        for place, column in columns
    )


def _could_be_a_name(column: Column, text: str) -> bool:
    if column.kind == "text":
        return bool(text)
    word = text.lower()
    return any(letter.isalpha() for letter in word) and word not in _WORDS and word not in column.choices
