"""The same tables as a draft folder carries them: a job needs only its number, a body needs no job, and nothing was sold."""

from __future__ import annotations

from dataclasses import replace

from pipeline.contract.model import Table
from pipeline.contract.tables import TABLES


def _draft(table: Table) -> Table:
    kept = tuple(reference for reference in table.references if reference.table != "jobs")
    if table.name != "jobs":
        return replace(table, references=kept)
    columns = tuple(replace(column, required=column.name == "job_id") for column in table.columns)
    return replace(table, columns=columns, references=kept)


DRAFT_TABLES: dict[str, Table] = {name: _draft(table) for name, table in TABLES.items()}
