"""Tables of the live edition that can be taken along."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module

from pipeline.answers.access import Role, hidden_columns, require, require_export
from pipeline.answers.files import Rows, to_bytes
from pipeline.contract import TABLES
from pipeline.errors import WrongCall, did_you_mean
from pipeline.settings import Settings
from pipeline.sift.cells import name
from pipeline.store.editions import AnyEdition

Export = Callable[[AnyEdition, Settings], Rows]


def _records(table: str) -> Export:
    columns = ", ".join(name(column.name) for column in TABLES[table].columns)

    def read(edition: AnyEdition, _settings: Settings) -> Rows:
        return Rows.query(edition.cursor(), f"SELECT {columns} FROM {table} ORDER BY ALL")

    return read


def _view(view: str) -> Export:
    def read(edition: AnyEdition, _settings: Settings) -> Rows:
        return Rows.query(edition.cursor(), f"SELECT * FROM {view}")

    return read


def _computed(module: str, function: str) -> Export:
    def read(edition: AnyEdition, settings: Settings) -> Rows:
        # Imported when asked for: these rooms need a frame library, which costs more than a plain table takes.
        answer = getattr(import_module(f"pipeline.answers.{module}"), function)
        return Rows.of_frame(answer(edition.cursor(), settings))

    return read


def _margins(edition: AnyEdition, settings: Settings) -> Rows:
    from pipeline.answers.kept_margins import margins_table

    return margins_table(edition, settings)


def _doubts(edition: AnyEdition, settings: Settings) -> Rows:
    from pipeline.answers.doubts import doubts

    return doubts(edition.cursor(), settings)


EXPORTS: dict[str, Export] = {
    **{table: _records(table) for table in TABLES},
    "accounts": _view("accounts"),
    "rejects": _view("rejects"),
    "suspects": _view("suspect_rows"),
    "history": _view("history"),
    "doubts": _doubts,
    "families": _computed("families", "families"),
    "trends": _computed("selling", "trends"),
    "conversion": _computed("selling", "conversion"),
    "pairs": _computed("selling", "pairs"),
    "margins": _margins,
}
"""What can be exported, by name."""


SPREAD = ("accounts", "families", "trends", "conversion", "pairs", "margins")
"""What Spark computes too; the others are rows as they lie."""


def must_be_known(what: str, spread: bool) -> None:
    """Raises: WrongCall: there is no such table, or Spark does not make it."""
    if what not in EXPORTS:
        raise WrongCall(f"nothing called {what!r} to export", do=did_you_mean(what, EXPORTS), expected=" ".join(EXPORTS))
    if spread and what not in SPREAD:
        raise WrongCall(f"{what} is not computed by Spark", expected=f"one of {' '.join(SPREAD)} summary, or no --engine")


def export(edition: AnyEdition, what: str, settings: Settings, role: Role) -> Rows:
    """One table of an edition, without the columns that the role does not see.

    Raises: WrongCall: there is no such table, or it is not for this role.
    """
    must_be_known(what, spread=False)
    require_export(role, what)
    rows = EXPORTS[what](edition, settings)
    return rows.without(hidden_columns(role)) if what == "jobs" else rows


def taken_along(rows: Rows, ending: str, role: Role) -> bytes:
    """Rows of a page as a file. Raises: WrongCall: not for this role, or an ending that we do not write."""
    require(role, "take-along")
    return to_bytes(rows, ending)
