"""Parses one workbook or Parquet file in a process of its own; started by `hostile.py`, never imported.

It reads a request (JSON) from stdin and writes lines of JSON to stdout: `{"sheet": name}` before each sheet's rows,
`[row, [cell, …]]` for each row that is not blank, and `{"end": true}` or `{"fault": {…}}` last. A cell is text, a number
or null.
It imports nothing of this project, so that it can run isolated from the caller's environment.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import math
import re
import sys
import warnings
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

_ROW = re.compile(rb"<(?:\w+:)?row\s(?:[^>]*?\s)?r=[\"'](\d{1,9})[\"']")


class Unusable(Exception):
    """The file cannot be used; carries the parts of a fault: what, got, expected, do."""


def main() -> int:
    """Serve one request."""
    request = json.load(sys.stdin)
    warnings.simplefilter("ignore")
    out = sys.stdout
    try:
        limit_itself(request)
        lines = {"workbook": workbook_lines, "parquet": parquet_lines}[request["kind"]](request)
        for line in lines:
            out.write(json.dumps(line, ensure_ascii=False, separators=(",", ":")) + "\n")
        last: dict[str, Any] = {"end": True}
    except Unusable as unusable:
        last = {"fault": unusable.args[0]}
    except MemoryError:
        last = {"fault": {"what": "parsing it needs too much memory", "expected": f"at most {request['memory_mb']} MB"}}
    except Exception as error:
        last = {
            "fault": {"what": f"not readable as a {request['kind']}", "got": cause_of(error).replace(request["path"], "the file")[:300]}
        }
    out.write(json.dumps(last) + "\n")
    out.flush()
    return 0


def cause_of(error: BaseException) -> str:
    r"""The first cause of an exception, on one line.

    >>> cause_of(ValueError("two\nlines"))
    'ValueError: two lines'
    """
    while error.__cause__ or error.__context__:
        error = error.__cause__ or error.__context__  # type: ignore[assignment]
    return f"{type(error).__name__}: {' '.join(str(error).split())}"


def limit_itself(request: dict[str, Any]) -> None:
    """Bounds on memory, time and output; where the system knows none, the caller's timeout alone holds."""
    with contextlib.suppress(ImportError):
        import resource

        memory, seconds, written = request["memory_mb"] << 20, math.ceil(request["seconds"]) + 1, request["written_mb"] << 20
        for kind, bound in (
            (resource.RLIMIT_AS, memory),
            (resource.RLIMIT_CPU, seconds),
            (resource.RLIMIT_FSIZE, written),
            (resource.RLIMIT_CORE, 0),
        ):
            with contextlib.suppress(ValueError, OSError):
                resource.setrlimit(kind, (bound, bound))


def workbook_lines(request: dict[str, Any]) -> Iterator[Any]:
    """Sheets of a workbook: values only, no macros, no links followed; a formula without a value is null."""
    import openpyxl

    if not openpyxl.DEFUSEDXML:
        raise Unusable({"what": "workbooks are not read without the package defusedxml", "do": "install it"})
    # Opened here: the library asks a path for its ending, and originals are kept without one.
    with Path(request["path"]).open("rb") as file:
        yield from _sheet_lines(openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False, keep_vba=False), request)


def _sheet_lines(book: Any, request: dict[str, Any]) -> Iterator[Any]:
    for sheet in book.worksheets:
        check_dimension(sheet.title, sheet.max_row or 0, sheet.max_column or 0, request)
    for sheet in book.worksheets:
        with zipfile.ZipFile(request["path"]) as parts:
            check_order(sheet.title, parts.open(sheet._worksheet_path))
        yield {"sheet": sheet.title}
        sheet.reset_dimensions()
        for number, cells in enumerate(sheet.iter_rows(values_only=True), 1):
            values = [plain_value(cell) for cell in cells]
            while values and is_blank(values[-1]):
                values.pop()
            if values:
                check_dimension(sheet.title, number, len(values), request)
                yield [number, values]
    book.close()


def check_dimension(sheet: str, rows: int, columns: int, request: dict[str, Any]) -> None:
    """Refuse a sheet that claims or has more cells than anybody fills."""
    if rows > request["max_rows"] or columns > request["max_columns"]:
        raise Unusable(
            {
                "what": f"sheet {sheet!r} reaches row {rows:,}, column {columns:,}",
                "expected": f"at most {request['max_rows']:,} rows and {request['max_columns']:,} columns",
                "do": "delete the empty rows and columns below and beside the list, and save it again",
            }
        )


def check_order(sheet: str, part: Any) -> None:
    """Refuse a sheet whose rows are not in order: the library would pass over a row that comes late or twice."""
    number, rest = 0, b""
    for block in iter(lambda: part.read(1 << 20), b""):
        text = rest + block
        end = 0
        for row in _ROW.finditer(text):
            if int(row[1]) <= number:
                raise Unusable({"what": f"sheet {sheet!r} has row {int(row[1]):,} after row {number:,}", "do": "save it again, or as CSV"})
            number, end = int(row[1]), row.end()
        rest = text[max(end, len(text) - 4096) :]


def plain_value(value: Any) -> str | int | float | None:
    """A cell's value as text or number, dates and booleans in the contract's spelling.

    >>> plain_value(1780.0), plain_value(True), plain_value(dt.datetime(2024, 3, 5)), plain_value(dt.datetime(2024, 3, 5, 7))
    (1780.0, 'yes', '2024-03-05', '2024-03-05 07:00:00')
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None or isinstance(value, str | int | float):
        return value
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return str(value)


def is_blank(value: str | int | float | None) -> bool:
    """Whether nothing stands in a cell."""
    return value is None or (isinstance(value, str) and not value.strip())


def parquet_lines(request: dict[str, Any]) -> Iterator[Any]:
    """A Parquet file as a sheet whose first row holds the names."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    pa.set_memory_pool(pa.system_memory_pool())
    pa.set_cpu_count(1)
    with pq.ParquetFile(request["path"], memory_map=False) as file:
        schema = file.schema_arrow
        if len(schema) > request["max_columns"]:
            raise Unusable({"what": f"{len(schema):,} columns", "expected": f"at most {request['max_columns']:,}"})
        nested = [field.name for field in schema if pa.types.is_nested(field.type) or pa.types.is_binary(field.type)]
        if nested:
            what = f"no single values in columns {', '.join(nested[:5])}"
            raise Unusable({"what": what, "expected": "text, numbers, dates, yes and no"})
        yield {"sheet": ""}
        yield [1, list(schema.names)]
        number = 1
        for batch in file.iter_batches(batch_size=8192, use_threads=False):
            for cells in zip(*(column.to_pylist() for column in batch.columns), strict=True):
                number += 1
                values = [plain_value(cell) for cell in cells]
                if not all(map(is_blank, values)):
                    yield [number, values]


if __name__ == "__main__":
    sys.exit(main())
