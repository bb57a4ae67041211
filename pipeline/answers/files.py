"""Answers as files: what is on the screen and what is taken along are written from the same rows."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import WrongCall

if TYPE_CHECKING:
    import numpy as np

    from pipeline.frames import Columns

ENDINGS = (".csv", ".parquet", ".xlsx", ".json")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Rows:
    """An answer: named columns and rows of plain values, in order."""

    columns: tuple[str, ...]
    rows: Sequence[tuple[Any, ...]]

    @staticmethod
    def of(records: Iterable[Mapping[str, Any]], columns: Sequence[str]) -> Rows:
        """From row mappings, keeping `columns` in that order."""
        return Rows(tuple(columns), [tuple(record.get(column) for column in columns) for record in records])

    @staticmethod
    def of_columns(frame: Columns, columns: Sequence[str]) -> Rows:
        """From a frame of arrays, keeping `columns` in that order."""
        lists = [_values(frame[column]) for column in columns]
        return Rows(tuple(columns), list(zip(*lists, strict=True)))

    @staticmethod
    def query(cursor: Any, sql: str, params: Sequence[Any] = ()) -> Rows:
        """From one query."""
        result = cursor.execute(sql, params) if params else cursor.execute(sql)
        names = tuple(entry[0] for entry in result.description)
        return Rows(names, result.fetchall())

    @staticmethod
    def of_frame(frame: Any) -> Rows:
        """From a Polars frame."""
        return Rows(tuple(frame.columns), frame.rows())

    def with_edition(self, edition: int | None) -> Rows:
        """The same rows with the edition they came from as the last column."""
        if "edition" in self.columns:
            return self
        return Rows((*self.columns, "edition"), [(*row, edition) for row in self.rows])

    def without(self, columns: Sequence[str]) -> Rows:
        """The same rows without these columns.

        >>> Rows(("job_id", "cost"), [("J1", 9.0)]).without(["cost", "note"])
        Rows(columns=('job_id',), rows=[('J1',)])
        """
        kept = [place for place, column in enumerate(self.columns) if column not in columns]
        return Rows(tuple(self.columns[place] for place in kept), [tuple(row[place] for place in kept) for row in self.rows])

    def records(self) -> list[dict[str, Any]]:
        return [dict(zip(self.columns, row, strict=True)) for row in self.rows]


def write_rows(rows: Rows, out: Path) -> None:
    """Write an answer to a file whose ending says how. Raises: WrongCall: an ending that we do not write."""
    out.write_bytes(to_bytes(rows, out.suffix))


def to_bytes(rows: Rows, ending: str) -> bytes:
    """An answer as the bytes of a .csv, .json, .parquet or .xlsx file. Raises: WrongCall."""
    ending = ending.lower()
    if ending == ".csv":
        return to_csv(rows).encode("utf-8")
    if ending == ".json":
        return (json.dumps([_plain_record(record) for record in rows.records()], indent=1, ensure_ascii=False) + "\n").encode("utf-8")
    if ending == ".parquet":
        return _to_parquet(rows)
    if ending == ".xlsx":
        return _to_xlsx(rows)
    raise WrongCall(f"cannot write {ending!r} files", expected=" ".join(ENDINGS))


def to_csv(rows: Rows) -> str:
    """CSV that a spreadsheet opens without running anything: text that looks like a formula gets an apostrophe."""
    text = _Lines()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(rows.columns)
    writer.writerows([_csv_cell(value) for value in row] for row in rows.rows)
    return "".join(text)


class _Lines(list[str]):
    """Takes a row a call and ends it with a line feed; told of both line ends, the writer quotes cells that hold either."""

    def write(self, row: str) -> None:
        self.append(row.removesuffix("\r\n") + "\n")


def _csv_cell(value: Any) -> Any:
    """A cell as CSV holds it.

    >>> _csv_cell("=1+1"), _csv_cell("-5"), _csv_cell(1650.0), _csv_cell(None), _csv_cell(True)
    ("'=1+1", '-5', 1650, '', 'yes')
    """
    value = _plain(value)
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    if isinstance(value, str) and value.startswith(_FORMULA) and not _is_number(value):
        return f"'{value}"
    return value


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _plain(value: Any) -> Any:
    if hasattr(value, "item"):  # a number of numpy's, without importing it
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _plain_record(record: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value.isoformat() if isinstance(value, date) else _plain(value) for key, value in record.items()}


def _values(array: np.ndarray) -> list[Any]:
    if array.dtype.kind == "f":
        return [None if value != value else value for value in array.tolist()]
    return array.tolist()


def _to_frame(rows: Rows) -> Any:
    import polars as pl

    columns = list(zip(*rows.rows, strict=True)) if rows.rows else [()] * len(rows.columns)
    return pl.DataFrame(
        {
            name: pl.Series(name, [_plain(value) for value in values], strict=False)
            for name, values in zip(rows.columns, columns, strict=True)
        }
    )


def _to_parquet(rows: Rows) -> bytes:
    buffer = io.BytesIO()
    _to_frame(rows).write_parquet(buffer)
    return buffer.getvalue()


def _to_xlsx(rows: Rows) -> bytes:
    import xlsxwriter

    buffer = io.BytesIO()
    # Text stays text: no formula, no link is made of what somebody typed.
    book = xlsxwriter.Workbook(
        buffer,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
            "default_date_format": "yyyy-mm-dd",
        },
    )
    sheet = book.add_worksheet("rows")
    sheet.write_row(0, 0, rows.columns)
    for at, row in enumerate(rows.rows, 1):
        sheet.write_row(at, 0, [_plain(value) for value in row])
    sheet.freeze_panes(1, 0)
    book.close()
    return buffer.getvalue()
