"""How names, addresses and counts are written in a fault."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def shown(name: str) -> str:
    r"""A file name that cannot break a line of a log.

    >>> shown("bodies\n.csv")
    'bodies\\n.csv'
    """
    return name if name.isprintable() else ascii(name)[1:-1]


def short(text: str, longest: int = 60) -> str:
    """The text in quotes, cut where it is long.

    >>> short("lenght_mm")
    "'lenght_mm'"
    """
    return repr(text if len(text) <= longest else text[: longest - 1] + "…")


def listed(names: Sequence[str], most: int = 12) -> str:
    """Names by commas, cut where they are many.

    >>> listed(["a", "b", "c"], most=2)
    'a, b and 1 more'
    """
    told = [shown(name) if len(name) <= 40 else shown(name[:39]) + "…" for name in names[:most]]
    return ", ".join(told) + (f" and {len(names) - most} more" if len(names) > most else "")


def column_letters(index: int) -> str:
    """Letters of a sheet's column, counted from 0.

    >>> column_letters(0), column_letters(27), column_letters(16383)
    ('A', 'AB', 'XFD')
    """
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def column_index(letters: str) -> int:
    """Column counted from 0.

    >>> column_index("A"), column_index("AB"), column_index("XFD")
    (0, 27, 16383)
    """
    index = 0
    for letter in letters.upper():
        index = index * 26 + ord(letter) - 64
    return index - 1


def names_of(cells: Iterable[str | None]) -> list[str]:
    r"""Header cells as one line each: a break inside a cell is a space.

    >>> names_of(["Out the\ndoor ", None])
    ['Out the door', '']
    """
    return [" ".join((cell or "").split()) for cell in cells]
