"""An original without one person: the same file, line for line, with the reference replaced wherever it stands as such.

Only the private columns are touched. What comes out is read again by whoever calls, so that a kind of file that cannot be
rewritten faithfully is found out before anything is replaced.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
from pathlib import PurePath

from pipeline.contract import TABLES
from pipeline.intake import SourceFile, TextTable
from pipeline.intake.delimited import DelimitedFile, DelimitedRows
from pipeline.intake.scan import scan
from pipeline.intake.wide_table import WideRows
from pipeline.settings import IntakeSettings


def without(file: SourceFile, tables: Sequence[TextTable], ref: str, instead: str, limits: IntakeSettings) -> bytes:
    """The file's bytes with `instead` in every private cell that says `ref`."""
    ending = PurePath(file.name).suffix.lower()
    if ending == ".xlsx":
        return _workbook(file, ref, instead)
    if ending == ".parquet":
        return _parquet(file, _private_headers(tables), ref, instead)
    if ending == ".jsonl":
        encoding = scan(file.path, file.name, limits.max_line_bytes).encoding
        return _jsonl(file.path.read_bytes().decode(encoding), _private_headers(tables), ref, instead).encode(encoding)
    text = DelimitedFile(file.path, file.name, scan(file.path, file.name, limits.max_line_bytes), limits.max_line_bytes)
    return _delimited(text, *_layout(text, tables), ref, instead)


def private_cells(table: TextTable) -> Iterable[str]:
    """Every cell of the private columns, trimmed."""
    places = [at for at, column in enumerate(table.columns) if TABLES[table.table].column(column).private]
    return (cell.strip() for _, cells in (table.rows() if places else ()) for at in places if (cell := cells[at]))


def _private_headers(tables: Sequence[TextTable]) -> set[str]:
    return {
        table.stood_as.get(column, column) for table in tables for column in table.columns if TABLES[table.table].column(column).private
    }


def _layout(text: DelimitedFile, tables: Sequence[TextTable]) -> tuple[str, int, Callable[[list[str]], bool], set[int]]:
    """Delimiter, last line of the header, whether a row does not fit under it, and the places of private cells."""
    source = tables[0].source
    if isinstance(source, DelimitedRows):
        head = source.header_line
        return head.delimiter, head.last_line, source.is_ragged, set(source.header.private)
    assert isinstance(source, WideRows)
    row, names = source.layout.row, source.layout.names
    head = max(text.header_lines(row, row), key=lambda line: len(set(names).intersection(cell.strip() for cell in line.cells)))
    return head.delimiter, head.last_line, source.layout.is_ragged, set(source.layout.private)


def _delimited(
    text: DelimitedFile, delimiter: str, header_end: int, is_ragged: Callable[[list[str]], bool], places: set[int], ref: str, instead: str
) -> bytes:
    with text.path.open(encoding=text.scan.encoding, newline="") as file:
        lines = list(file)
    records = [*text.records(delimiter, header_end), (len(lines) + 1, [])]
    for (begins, cells), (ends, _) in pairwise(records):
        # In a row that does not fit under its header, the reference may have moved.
        looked = range(len(cells)) if is_ragged(cells) else places
        hit = [place for place in looked if place < len(cells) and cells[place].strip() == ref]
        if hit:
            for place in hit:
                cells[place] = instead
            last = lines[ends - 2]
            lines[begins - 1 : ends - 1] = [_line(cells, delimiter, last[len(last.rstrip("\r\n")) :]), *[""] * (ends - begins - 1)]
    return "".join(lines).encode(text.scan.encoding)


def _line(cells: list[str], delimiter: str, end: str) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter, lineterminator=end).writerow(cells)
    return out.getvalue()


def _jsonl(text: str, headers: set[str], ref: str, instead: str) -> str:
    def swapped(found: re.Match[str]) -> str:
        said = found[2]
        value = json.loads(said) if said.startswith('"') else said
        return found[1] + json.dumps(instead) if str(value).strip() == ref else found[0]

    for header in headers:
        key = "|".join({re.escape(json.dumps(header)), re.escape(json.dumps(header, ensure_ascii=False))})
        text = re.sub(rf'((?:{key})\s*:\s*)("(?:[^"\\]|\\.)*"|[^,}}\s]+)', swapped, text)
    return text


def _workbook(file: SourceFile, ref: str, instead: str) -> bytes:
    """Texts of a workbook stand in its shared strings, or in the sheets themselves."""
    out = io.BytesIO()
    with zipfile.ZipFile(file.path) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            data = old.read(part)
            if part.filename.endswith("sharedStrings.xml") or part.filename.startswith("xl/worksheets/sheet"):
                data = _strings(data.decode("utf-8"), ref, instead).encode("utf-8")
            new.writestr(part, data)
    return out.getvalue()


_STRING = re.compile(r"(<(?:si|is)\b[^>]*>)(.*?)(</(?:si|is)>)", re.DOTALL)
_RESULT = re.compile(r"(<v>)([^<]*)(</v>)")
_TEXT = re.compile(r"<t\b[^>]*>([^<]*)</t>")


def _strings(xml: str, ref: str, instead: str) -> str:
    import html

    def string(found: re.Match[str]) -> str:
        said = html.unescape("".join(_TEXT.findall(found[2])))
        return f"{found[1]}<t>{instead}</t>{found[3]}" if said.strip() == ref else found[0]

    def result(found: re.Match[str]) -> str:
        # A number of a shared string looks the same as a reference that is a number: left to the reader to find out.
        same = html.unescape(found[2]).strip() == ref and not ref.isdecimal()
        return f"{found[1]}{instead}{found[3]}" if same else found[0]

    return _RESULT.sub(result, _STRING.sub(string, xml))


def _parquet(file: SourceFile, headers: set[str], ref: str, instead: str) -> bytes:
    import pyarrow as pa
    import pyarrow.compute as pc
    import pyarrow.parquet as pq

    table = pq.read_table(file.path)
    for place, name in enumerate(table.column_names):
        if name.strip() in headers:
            texts = table.column(name).cast(pa.string())
            told = pc.if_else(pc.equal(pc.utf8_trim_whitespace(texts), ref), instead, texts)
            table = table.set_column(place, name, told)
    out = io.BytesIO()
    pq.write_table(table, out)
    return out.getvalue()
