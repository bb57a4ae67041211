"""A draft as one small value: made on a page, kept in the store, sent as a link, written as the folder that commands read."""

from __future__ import annotations

import base64
import hashlib
import io
import zipfile
from collections.abc import Mapping, Sequence
from typing import Annotated, Any

import msgspec
import numpy as np
from msgspec import Meta, Struct

from pipeline.answers.drafts import Drafts
from pipeline.answers.files import Rows, to_csv
from pipeline.contract import TABLES
from pipeline.contract.model import Table
from pipeline.errors import InputRefused
from pipeline.frames import Columns, from_rows, from_sql

JOB_ID = "draft"
"""A draft's job, since every table of the records speaks of one."""
_KINDS = {"number": "number", "integer": "number", "yes_no": "number", "date": "date"}
_CODE_LETTERS = 8

_ONE = 1.0

Name = Annotated[str, Meta(min_length=1, max_length=200)]


class DraftLine(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """An item in a body; columns of `fitout`."""

    item_id: Name
    qty: Annotated[float, Meta(gt=0, le=200)] = _ONE
    zone: Annotated[str, Meta(max_length=40)] = ""
    length_mm: float | None = None
    x_mm: float | None = None
    y_mm: float | None = None

    def __post_init__(self) -> None:
        # what is left out of the text is found by identity, and one is one whoever made it
        if self.qty == _ONE:
            msgspec.structs.force_setattr(self, "qty", _ONE)


class DraftBody(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """A body; columns of `bodies`."""

    body: Annotated[str, Meta(pattern="^(canopy|tray|box)(-2)?$")]
    length_mm: Annotated[float, Meta(ge=300, le=9000)]
    width_mm: Annotated[float, Meta(ge=300, le=3500)]
    height_mm: Annotated[float, Meta(ge=100, le=3000)] | None = None
    sheet_mm: Annotated[float, Meta(ge=0.5, le=12)] | None = None
    floor_mm: Annotated[float, Meta(ge=0.5, le=12)] | None = None
    material: Annotated[str, Meta(max_length=40)] | None = None
    doors: Annotated[float, Meta(ge=0, le=20)] | None = None
    painted: bool | None = None
    offset_mm: float | None = None
    sits_on: Annotated[str, Meta(pattern="^(tray|chassis)$")] | None = None
    lift_off: bool | None = None
    sticks_out_mm: Annotated[float, Meta(ge=0, le=3000)] | None = None
    lines: tuple[DraftLine, ...] = ()


class DraftThing(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """A thing on the vehicle that is part of no body; columns of `on_vehicle`."""

    label: Name
    kg: Annotated[float, Meta(ge=-5000, le=5000)]
    x_mm: float | None = None
    y_mm: float | None = None
    holds_l: Annotated[float, Meta(ge=0, le=2000)] | None = None


class Draft(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """Bodies somebody is thinking of, on a vehicle."""

    bodies: tuple[DraftBody, ...]
    vehicle_id: str | None = None
    upgrade_id: str | None = None
    towbar_tow_kg: float | None = None
    towbar_ball_kg: float | None = None
    things: tuple[DraftThing, ...] = ()


def to_json(draft: Draft) -> str:
    """The draft as text; the same draft gives the same text, whether its numbers were made as whole ones or not."""
    return msgspec.json.encode(msgspec.convert(msgspec.to_builtins(draft), Draft)).decode("utf-8")


def from_json(text: str) -> Draft:
    """A draft out of its text. Raises: InputRefused: it is none."""
    try:
        return msgspec.json.decode(text, type=Draft)
    except msgspec.MsgspecError as error:
        raise InputRefused("not a draft", got=str(error)) from error


def code_of(draft: Draft) -> str:
    """The short code under which a draft is found again; it depends on nothing but the draft.

    >>> code_of(Draft((DraftBody("tray", 2100.0, 1860.0),)))
    '42XO3EJR'
    """
    return base64.b32encode(hashlib.sha256(to_json(draft).encode()).digest()).decode()[:_CODE_LETTERS]


def tables_of(draft: Draft) -> dict[str, list[dict[str, Any]]]:
    """The draft as rows of the records' tables."""
    job = {
        "job_id": JOB_ID,
        "revision": "",
        **{name: getattr(draft, name) for name in ("vehicle_id", "upgrade_id", "towbar_tow_kg", "towbar_ball_kg")},
    }
    bodies: list[dict[str, Any]] = []
    fitout: list[dict[str, Any]] = []
    for body in draft.bodies:
        key = {"job_id": JOB_ID, "revision": "", "body": body.body}
        told = msgspec.structs.asdict(body)
        told.pop("lines")
        bodies.append(key | told)
        fitout += [key | msgspec.structs.asdict(line) for line in body.lines]
    things = [{"job_id": JOB_ID, **msgspec.structs.asdict(thing)} for thing in draft.things]
    return {"jobs": [job], "bodies": bodies, "fitout": fitout, "on_vehicle": things}


def folder_of(draft: Draft, name: str) -> bytes:
    """The draft as a zipped folder of drafts that the commands read; same draft, same bytes."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for table, rows in tables_of(draft).items():
            columns = [column for column in TABLES[table].names if any(row.get(column) not in (None, "") for row in rows)]
            if rows:
                entry = zipfile.ZipInfo(f"{name}/{table}.csv", date_time=(1980, 1, 1, 0, 0, 0))
                archive.writestr(entry, to_csv(Rows.of(rows, columns)))
    return packed.getvalue()


def frames_of(drafts: Sequence[Draft], con: Any, dated_on: str | None) -> Drafts:
    """Drafts as the frames that estimates and checks read, one job each, numbered `draft-1`, `draft-2`, … in order.

    Args:
        con: a cursor over the edition that knows vehicles, upgrades and items.
        dated_on: day the drafts are dated by; records to.
    """
    known = {table: _whole(con, table) for table in ("vehicles", "upgrades", "items")}
    vehicles = {row: place for place, row in enumerate(known["vehicles"]["vehicle_id"].tolist())}
    jobs: list[dict[str, Any]] = []
    bodies: list[dict[str, Any]] = []
    fitout: list[dict[str, Any]] = []
    things: list[dict[str, Any]] = []
    for number, draft in enumerate(drafts, 1):
        told = tables_of(draft)
        job_id = job_id_of(number)
        jobs += [row | {"job_id": job_id} for row in told["jobs"]]
        first = len(bodies)
        rows = {row["body"]: first + place for place, row in enumerate(told["bodies"])}
        of_vehicle = _vehicle(known["vehicles"], vehicles.get(draft.vehicle_id))
        bodies += [row | of_vehicle | {"job_id": job_id, "dated_on": dated_on} for row in told["bodies"]]
        fitout += [row | {"job_id": job_id, "body_row": rows[row["body"]]} for row in told["fitout"]]
        things += [row | {"job_id": job_id} for row in told["on_vehicle"]]
    frame = _frame(TABLES["bodies"], bodies) | from_rows(
        bodies, {"dated_on": "date", "size_class": "text", "cab": "text", "vehicle_id": "text"}
    )
    frame["kind"] = np.array([row["body"].partition("-")[0] for row in bodies], dtype=object)
    frame |= {name: np.zeros(len(bodies)) for name in ("suspect", "list_short")}
    lines = _frame(TABLES["fitout"], fitout)
    lines["body_row"] = np.array([row["body_row"] for row in fitout], dtype=np.int64)
    return Drafts(
        jobs=_frame(TABLES["jobs"], jobs) | from_rows([{"quoted_on": dated_on}] * len(jobs), {"quoted_on": "date"}),
        bodies=frame, fitout=lines,
        on_vehicle=_frame(TABLES["on_vehicle"], things), weighings=_frame(TABLES["weighings"], []),
        vehicles=known["vehicles"], upgrades=known["upgrades"], items=known["items"],
    )  # fmt: skip


def job_id_of(number: int) -> str:
    """The job under which the n-th draft stands in its frames."""
    return f"{JOB_ID}-{number}"


def _whole(con: Any, table: str) -> Columns:
    return from_sql(con, f"SELECT * FROM {table} ORDER BY source_id, line, part")


def _frame(table: Table, rows: Sequence[Mapping[str, Any]]) -> Columns:
    return from_rows(rows, {column.name: _KINDS.get(column.kind, "text") for column in table.columns})


def _vehicle(vehicles: Columns, place: int | None) -> dict[str, Any]:
    return {} if place is None else {name: vehicles[name][place] for name in ("vehicle_id", "size_class", "cab")}
