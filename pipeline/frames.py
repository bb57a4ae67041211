"""Columns: the plain frame that rooms hand to each other, numpy arrays by name.

A frame library costs more to import than an estimate takes, so the way to an estimate knows numpy alone.
Numbers are float64 with NaN for not known, text is an object array with None, dates are datetime64[D] with NaT,
yes and no are 1.0 and 0.0.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

Columns = dict[str, np.ndarray]

_NUMBERS = ("BOOLEAN", "TINYINT", "SMALLINT", "INTEGER", "BIGINT", "HUGEINT", "UBIGINT", "UINTEGER", "FLOAT", "DOUBLE", "DECIMAL")


def from_sql(cursor: Any, sql: str, params: Sequence[Any] | Mapping[str, Any] = ()) -> Columns:
    """Run one query and return its result column by column.

    Args:
        cursor: a DuckDB cursor of the caller's own (cursors are not shared between threads).
        sql: one statement; values go in as bound parameters.
    Returns: arrays of equal length, in the order of the query.
    """
    result = cursor.execute(sql, params) if params else cursor.execute(sql)
    kinds = {entry[0]: str(entry[1]).upper() for entry in result.description}
    found = result.fetchnumpy()
    # one column after the other, so that no more than one of them is there twice
    return {name: _plain(found.pop(name), kinds[name]) for name in list(found)}


def _plain(values: np.ndarray, kind: str) -> np.ndarray:
    masked = np.ma.getmaskarray(values) if isinstance(values, np.ma.MaskedArray) else None
    data = np.ma.getdata(values)
    if kind.startswith(_NUMBERS):
        numbers = data.astype(np.float64, copy=False)
        return numbers if masked is None or not masked.any() else np.where(masked, np.nan, numbers)
    if kind.startswith(("DATE", "TIMESTAMP")):
        dates = data.astype("datetime64[D]")
        return dates if masked is None else np.where(masked, np.datetime64("NaT", "D"), dates)
    text = data.astype(object, copy=False)
    if masked is not None and masked.any():
        text[masked] = None
    return text


def narrowed(values: np.ndarray) -> np.ndarray:
    """The same numbers in half the room, where every one of them is the same there too."""
    small = values.astype(np.float32)
    return small if np.array_equal(small, values, equal_nan=True) else values


def height(columns: Columns) -> int:
    """Number of rows."""
    return len(next(iter(columns.values()))) if columns else 0


def take(columns: Columns, index: np.ndarray) -> Columns:
    """The rows at `index` (positions or a mask), every column alike."""
    return {name: values[index] for name, values in columns.items()}


def rows(columns: Columns) -> Iterator[dict[str, Any]]:
    """Each row as a dict of Python values; not known is None."""
    names = list(columns)
    lists = [_python_values(columns[name]) for name in names]
    for values in zip(*lists, strict=True):
        yield dict(zip(names, values, strict=True))


def _python_values(values: np.ndarray) -> list[Any]:
    if values.dtype.kind == "f":
        return [None if value != value else value for value in values.tolist()]
    return values.tolist()


def from_rows(records: Sequence[Mapping[str, Any]], kinds: Mapping[str, str]) -> Columns:
    """Columns from row dicts; `kinds` names each column's kind: `number`, `text` or `date`."""
    frame: Columns = {}
    for name, kind in kinds.items():
        values = [record.get(name) for record in records]
        if kind == "number":
            frame[name] = np.array([np.nan if value is None else value for value in values], dtype=np.float64)
        elif kind == "date":
            frame[name] = np.array(values, dtype="datetime64[D]")
        else:
            text = np.empty(len(values), dtype=object)
            text[:] = values
            frame[name] = text
    return frame


def empty(kinds: Mapping[str, str]) -> Columns:
    """No rows, with columns of the kinds `number`, `text` or `date`."""
    return from_rows([], kinds)
