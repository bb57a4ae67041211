"""Parses one workbook or Parquet file in a process of its own; started by `hostile.py`, never imported.

It reads a request (JSON) from stdin and writes lines of JSON to stdout: `{"sheet": name}` before each sheet's rows,
`[row, [cell, …]]` for each row that is not blank, and `{"end": true}` or `{"fault": {…}}` last. A cell is text or null.
It imports nothing of this project, so that it can run isolated from the caller's environment.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import math
import sys
import warnings
from collections.abc import Iterator
from typing import Any


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
        last = {"fault": {"what": f"not readable as a {request['kind']}", "got": f"{type(error).__name__}: {error}"[:300]}}
    out.write(json.dumps(last) + "\n")
    out.flush()
    return 0


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
    book = openpyxl.load_workbook(request["path"], read_only=True, data_only=True, keep_links=False, keep_vba=False)
    for sheet in book.worksheets:
        check_dimension(sheet.title, sheet.max_row or 0, sheet.max_column or 0, request)
    for sheet in book.worksheets:
        yield {"sheet": sheet.title}
        sheet.reset_dimensions()
        for number, cells in enumerate(sheet.iter_rows(values_only=True), 1):
            texts = [as_text(cell) for cell in cells]
            while texts and not (texts[-1] or "").strip():
                texts.pop()
            if texts:
                check_dimension(sheet.title, number, len(texts), request)
                yield [number, texts]
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


def as_text(value: Any) -> str | None:
    """A cell's value in the contract's spelling.

    >>> as_text(1780.0), as_text(2.5), as_text(True), as_text(dt.datetime(2024, 3, 5)), as_text(0.1 + 0.2)
    ('1780', '2.5', 'yes', '2024-03-05', '0.3')
    """
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return number_text(value)
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(" ")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return str(value)


def number_text(value: float) -> str:
    """At most 15 digits, which is what a sheet keeps; whole numbers without a point.

    >>> number_text(1804.0000000000002), number_text(1e20), number_text(float("nan"))
    ('1804', '100000000000000000000', 'nan')
    """
    if value.is_integer() and abs(value) < 1e21:
        return str(int(value)) if abs(value) < 1e15 else f"{value:.0f}"
    return f"{value:.15g}"


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
            raise Unusable({"what": f"columns {', '.join(nested[:5])} hold no single values", "expected": "text, numbers, dates, yes and no"})
        yield {"sheet": ""}
        yield [1, list(schema.names)]
        number = 1
        for batch in file.iter_batches(batch_size=8192, use_threads=False):
            for cells in zip(*(column.to_pylist() for column in batch.columns), strict=True):
                number += 1
                texts = [as_text(cell) for cell in cells]
                if any(text and text.strip() for text in texts):
                    yield [number, texts]


if __name__ == "__main__":
    sys.exit(main())
