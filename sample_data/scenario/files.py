"""The ways in which the branches save their tables: plain CSV, a decimal comma, pounds and inches."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path

from .rows import Row

KG_PER_LB, MM_PER_IN = 0.45359237, 25.4

COLUMNS = {
    "jobs": (
        "job_id", "revision", "branch", "vehicle_id", "upgrade_id", "status", "quoted_on", "ordered_on", "delivered_on", "lost_on",
        "lost_why", "price", "cost", "quoted_h", "labour_h", "towbar_tow_kg", "towbar_ball_kg", "customer_ref", "folder", "note",
    ),
    "bodies": (
        "job_id", "revision", "body", "length_mm", "width_mm", "height_mm", "length_approximate", "sheet_mm", "floor_mm", "material",
        "doors", "painted", "colour_outside", "cad_kg", "weighed_kg", "scale_step_kg", "com_x_mm", "com_y_mm", "offset_mm", "sits_on",
        "lift_off", "sticks_out_mm", "list_whole", "drawing", "origin", "same_as",
    ),
    "fitout": ("job_id", "revision", "body", "item_id", "qty", "zone", "x_mm", "y_mm"),
    "on_vehicle": ("job_id", "label", "kg", "x_mm", "y_mm", "holds_l", "put_on_by", "on_first_ticket"),
    "weighings": (
        "job_id", "ticket", "weighed_on", "state", "total_kg", "front_kg", "rear_kg", "left_kg", "right_kg", "scale_step_kg",
        "fuel_fraction", "people_kg", "other_kg",
    ),
}  # fmt: skip


def write_plain(path: Path, columns: Iterable[str], rows: Iterable[Row]) -> None:
    """UTF-8, commas, LF."""
    _write(path, columns, rows, _plain, delimiter=",", encoding="utf-8", newline="\n")


def write_decimal_comma(path: Path, columns: Iterable[str], rows: Iterable[Row], title: str) -> None:
    """Semicolons, decimal commas, cp1252, CRLF, a title block, a blank line and trailing blank columns."""
    _write(
        path,
        [*columns, "", ""],
        rows,
        _comma,
        delimiter=";",
        encoding="cp1252",
        newline="\r\n",
        before=[title, "by hand, for the office next to the café", ""],
    )


def write_imperial(path: Path, columns: Iterable[str], rows: Iterable[Row], inches: Iterable[str]) -> None:
    """UTF-16 with tabs, as a spreadsheet saves "Unicode text"; kilograms in pounds, the named lengths in inches."""
    columns, scales = list(columns), {}
    for column in columns:
        if column.endswith("_kg"):
            scales[column] = KG_PER_LB
        elif column in set(inches):
            scales[column] = MM_PER_IN
    renamed = {
        column: column.removesuffix("_kg") + "_lb" if scales.get(column) == KG_PER_LB else column.removesuffix("_mm") + "_in"
        for column in scales
    }
    scaled = ({column: _scaled(value, scales.get(column)) for column, value in row.items()} for row in rows)
    headed = ({renamed.get(column, column): value for column, value in row.items()} for row in scaled)
    _write(path, [renamed.get(column, column) for column in columns], headed, _plain, delimiter="\t", encoding="utf-16", newline="\r\n")


def _scaled(value: object, scale: float | None) -> object:
    return value if scale is None or not isinstance(value, int | float) else round(value / scale, 2)


def _write(
    path: Path,
    columns: Iterable[str],
    rows: Iterable[Row],
    text: Callable[[object], str],
    *,
    delimiter: str,
    encoding: str,
    newline: str,
    before: Iterable[str] = (),
) -> None:
    columns = list(columns)
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter, lineterminator=newline)
    out.write("".join(line + newline for line in before))
    writer.writerow(columns)
    writer.writerows([text(row.get(column)) for column in columns] for row in rows)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(_encoded(out.getvalue(), encoding))


def _encoded(text: str, encoding: str) -> bytes:
    # "utf-16" would take this machine's byte order; the mark says little-endian everywhere
    return b"\xff\xfe" + text.encode("utf-16-le") if encoding == "utf-16" else text.encode(encoding)


def _plain(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, date):
        return value.isoformat()
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def _comma(value: object) -> str:
    return _plain(value).replace(".", ",") if isinstance(value, float) else _plain(value)
