"""The invented workshop as files: a hand-in of CSV tables, a folder of drafts."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from .records import Columns, Frames, Workshop

_YES_NO = {"painted", "length_approximate", "lift_off", "list_whole", "on_first_ticket"}
_OF_JOB_AND_VEHICLE = {"vehicle_id", "upgrade_id", "branch", "status", "size_class", "cab", "price", "labour_h", "quoted_h"}
_JOINED = {
    "bodies": _OF_JOB_AND_VEHICLE | {"kind", "dated_on", "sold_on", "suspect", "list_short"},
    "fitout": {"body_row"},
}
"""Columns that the frames carry over from other tables; no file has them."""


def write_hand_in(workshop: Workshop, folder: Path) -> None:
    """The workshop's history as one hand-in, a CSV file a table."""
    _write(workshop.history, folder, ("vehicles", "upgrades", "items", "jobs", "bodies", "fitout", "on_vehicle", "weighings"))


def write_drafts(workshop: Workshop, folder: Path) -> None:
    """The workshop's drafts: jobs, bodies and fit-out, without masses."""
    _write(workshop.drafts, folder, ("jobs", "bodies", "fitout"))


def _write(frames: Frames, folder: Path, tables: tuple[str, ...]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for table in tables:
        columns: Columns = getattr(frames, table)
        names = [name for name in columns if name not in _JOINED.get(table, ())]
        texts = [_texts(name, columns[name]) for name in names]
        with (folder / f"{table}.csv").open("w", newline="", encoding="utf-8") as out:
            writer = csv.writer(out, lineterminator="\n")
            writer.writerow(names)
            writer.writerows(zip(*texts, strict=True))


def _texts(name: str, values: np.ndarray) -> list[str]:
    if name in _YES_NO:
        return ["" if value != value else ("yes" if value else "no") for value in values.tolist()]
    if values.dtype.kind == "f":
        return ["" if value != value else f"{value:.10g}" for value in values.tolist()]
    if values.dtype.kind == "M":
        return ["" if np.isnat(value) else str(value) for value in values]
    return ["" if value is None else str(value) for value in values.tolist()]
