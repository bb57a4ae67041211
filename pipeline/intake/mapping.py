"""The mapping of wide sheets, `intake.toml`: what may stand in it. The README beside this file has the full example."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from msgspec import Meta, Struct, field

Text = Annotated[str, Meta(min_length=1)]


class LeaveOut(Struct, frozen=True):
    """Lines that are no records: what stands under `header` equals or starts with or contains a text, or is empty."""

    header: Text
    equals: str = ""
    starts_with: str = ""
    contains: str = ""
    empty: bool = False

    def conditions(self) -> int:
        """How many are given; it must be one."""
        return sum(map(bool, (self.equals, self.starts_with, self.contains, self.empty)))

    def holds(self, cell: str) -> bool:
        """Whether a cell makes its line one to leave out; case does not count."""
        text = cell.strip().casefold()
        if self.empty:
            return not text
        if self.equals:
            return text == self.equals.casefold()
        return text.startswith(self.starts_with.casefold()) if self.starts_with else self.contains.casefold() in text


class ItemColumn(Struct, frozen=True):
    """An item column whose id, or place in the body, its header does not tell."""

    item_id: Text
    zone: str = ""


class ItemColumns(Struct, frozen=True):
    """Columns that are items: each marked cell makes one line of the fit-out.

    `first` and `last` name a stretch of headers, less those in `without`; `columns` names single ones, in the stretch or
    beside it. `header_case` and `spaces` turn a header of the stretch into an item_id. `numbers` says what a bare number is.
    """

    job_id: Text
    revision: str = ""
    body: str = ""
    always: dict[str, str] = field(default_factory=dict)
    first: str = ""
    last: str = ""
    without: list[str] = field(default_factory=list)
    header_case: Literal["as-written", "lower", "upper"] = "as-written"
    spaces: str = " "
    numbers: Literal["quantity", "mass"] = "quantity"
    columns: dict[str, str | ItemColumn] = field(default_factory=dict)

    def headers(self) -> list[str]:
        """Every header that it names."""
        single = [self.job_id, self.revision, self.body, self.first, self.last]
        return [name for name in (*single, *self.without, *self.columns) if name]

    def item_id(self, header: str) -> str:
        """The item that a header of the stretch means."""
        cased = {"as-written": header, "lower": header.lower(), "upper": header.upper()}[self.header_case]
        return cased.replace(" ", self.spaces)


class TableColumns(Struct, frozen=True):
    """Which header is which column of one table. `always` is what every row gets; only lines with `only_if` filled make rows."""

    table: str
    columns: dict[str, str]
    always: dict[str, str] = field(default_factory=dict)
    only_if: str = ""


class SheetMapping(Struct, frozen=True):
    """How to read one sheet of a workbook, or one CSV. `empty` is what a column's empty cell means to who keeps the list."""

    file: str = ""
    sheet: str = ""
    header_row: Annotated[int, Meta(ge=1)] | None = None
    decimal_mark: Literal[".", ","] | None = None
    dates: list[str] = field(default_factory=list)
    not_known: list[str] = field(default_factory=lambda: ["?", "-", "n/a", "TBC"])
    yes: list[str] = field(default_factory=lambda: ["Y", "yes", "x", "✓", "1"])
    no: list[str] = field(default_factory=lambda: ["N", "no", "0"])
    case: dict[str, Literal["lower", "upper"]] = field(default_factory=dict)
    prefix: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    empty: dict[str, str] = field(default_factory=dict)
    words: dict[str, dict[str, str]] = field(default_factory=dict)
    leave_out: list[LeaveOut] = field(default_factory=list)
    item_columns: list[ItemColumns] = field(default_factory=list)
    tables: list[TableColumns] = field(default_factory=list)

    def headers(self) -> list[str]:
        """Every header that it names, once."""
        named = [name for table in self.tables for name in (*table.columns.values(), table.only_if) if name]
        named += [name for part in self.item_columns for name in part.headers()]
        return list(dict.fromkeys([*named, *(rule.header for rule in self.leave_out)]))


class FileMapping(Struct, frozen=True):
    """The sheets of a mapping that speak of one file; `where` names the mapping in faults."""

    where: str
    sheets: Sequence[SheetMapping]
