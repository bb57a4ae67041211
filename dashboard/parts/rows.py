"""Frames of answers as the rows that pages show and hand over."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pipeline.answers.files import Rows


def rows_of(frame: pl.DataFrame, labels: Mapping[str, str] | None = None, called: tuple[str, ...] = ()) -> Rows:
    """A frame as rows.

    Args:
        labels: what people call an id.
        called: columns whose ids are shown by their labels.
    """
    names = {column: [(labels or {}).get(str(value), value) for value in frame[column].to_list()] for column in called}
    return Rows.of_frame(frame.with_columns(pl.Series(column, values, strict=False) for column, values in names.items()))
