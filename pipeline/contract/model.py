"""What a column and a table are, before any particular one is declared."""

from __future__ import annotations

from dataclasses import dataclass, field

KG_PER_LB = 0.45359237
"""Exact by definition (NIST SP 811)."""
MM_PER_IN = 25.4
"""Exact by definition (NIST SP 811)."""

FOREIGN_UNITS = {"_lb": ("_kg", KG_PER_LB), "_in": ("_mm", MM_PER_IN)}
"""Header ending in a foreign unit → the ending of the contract's column, and the factor to it."""


@dataclass(frozen=True)
class Reference:
    """A cell names a row of another table; `rule` is what the ledger says when that row is not there, of column `blamed`."""

    table: str
    columns: tuple[str, ...]
    rule: str
    blamed: str


@dataclass(frozen=True)
class Column:
    """One column of a hand-in.

    `kind` is one of `text`, `number`, `integer`, `date`, `yes_no`, `choice`, `body`, `zone`.
    `low` and `high` are inclusive unless `low_open`; `None` is no bound.
    """

    name: str
    kind: str = "text"
    doc: str = ""
    required: bool = False
    low: float | None = None
    high: float | None = None
    low_open: bool = False
    choices: tuple[str, ...] = ()
    default: str = ""
    private: bool = False

    @property
    def unit(self) -> str:
        """The unit in the column's name, as people write it."""
        for ending, unit in _UNITS:
            if self.name.endswith(ending):
                return unit
        return ""

    @property
    def bounds(self) -> str:
        """The physical range in words, or an empty text.

        >>> Column("qty", "number", low=0, high=200, low_open=True).bounds
        'over 0, up to 200'
        """
        if self.choices:
            return " ".join(self.choices)
        if self.kind == "date":
            return "1980-01-01 to a year after the hand-in"
        if self.low is None and self.high is None:
            return ""
        if self.low_open:
            return f"over {self.low:g}, up to {self.high:g}" if self.high is not None else f"over {self.low:g}"
        if self.high is None:
            return f"{self.low:g} and more"
        return f"{self.low:g} to {self.high:g}"


_UNITS = (("_kg_per_m", "kg/m"), ("_kg", "kg"), ("_mm", "mm"), ("_l", "l"), ("_h", "h"), ("_on", "ISO date"), ("_fraction", "0 to 1"))


@dataclass(frozen=True)
class Table:
    """One table of a hand-in.

    `key` makes a row unique. Where `grouped`, the rows that share the key belong together instead: a hand-in that
    carries any of them replaces all earlier ones. `key_fallback` stands in for an empty last key column.
    """

    name: str
    doc: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    grouped: bool = False
    key_fallback: tuple[str, ...] = ()
    references: tuple[Reference, ...] = field(default=())

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)

    @property
    def required(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns if column.required)

    def column(self, name: str) -> Column:
        """The column of that name. Raises: KeyError."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)
