"""What a person decides about a record, or types in: each becomes a hand-in of its own, loaded like any other."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from pipeline.answers.files import Rows, write_rows
from pipeline.contract import TABLES
from pipeline.errors import Fault, InputRefused
from pipeline.store import Store
from pipeline.store.load import LoadResult, load

VERDICTS = ("right", "wrong", "corrected")


def settle(store: Store, settlement: Mapping[str, Any], who: str, today: date) -> LoadResult:
    """Settle one suspect: it is right, wrong, or has this corrected value.

    Args:
        settlement: `table, key, rule, verdict`, and `column, value` where it is corrected.
    Raises: InputRefused: something is missing; StoreBusy, StoreUnwritable.
    """
    faults = []
    if settlement.get("verdict") not in VERDICTS:
        faults.append(Fault("verdict", got=repr(settlement.get("verdict")), expected=" ".join(VERDICTS)))
    if settlement.get("verdict") == "corrected" and (settlement.get("value") is None or not settlement.get("column")):
        faults.append(Fault("a corrected record needs the column and its value", do="say which figure is to stand"))
    if faults:
        raise InputRefused(faults)
    return _hand_in(store, "settlements", {**settlement, "who": who, "settled_on": today}, f"settled {settlement['key']}")


def type_ticket(store: Store, ticket: Mapping[str, Any]) -> LoadResult:
    """Take in one weighbridge ticket that was typed.

    Args:
        ticket: columns of `weighings`.
    Raises: InputRefused: a column that the ticket cannot do without is empty; StoreBusy, StoreUnwritable.
    """
    missing = [column for column in TABLES["weighings"].required if ticket.get(column) in (None, "")]
    if missing:
        raise InputRefused([Fault(f"a ticket needs {column.replace('_', ' ')}") for column in missing])
    return _hand_in(store, "weighings", ticket, f"ticket of {ticket['job_id']}")


def _hand_in(store: Store, table: str, row: Mapping[str, Any], name: str) -> LoadResult:
    columns = [column for column in TABLES[table].names if row.get(column) is not None]
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / _file_name(name)
        folder.mkdir()
        write_rows(Rows.of([row], columns), folder / f"{table}.csv")
        return load([folder], store, by="desk")


def _file_name(name: str) -> str:
    return "".join(letter if letter.isalnum() or letter in " -_" else "-" for letter in name)[:80]
