"""The contract as people read it: a table, and the page of the documentation."""

from __future__ import annotations

from pipeline.contract.tables import TABLES

_KINDS = {"body": "text", "zone": "choice"}


def contract_rows() -> list[tuple[str, str, str, str, str, str, str]]:
    """A row a column: table, column, type, unit, range, required, meaning."""
    return [
        (
            table.name,
            column.name,
            _KINDS.get(column.kind, column.kind),
            column.unit,
            column.bounds,
            "yes" if column.required else "",
            column.doc,
        )
        for table in TABLES.values()
        for column in table.columns
    ]


def contract_markdown() -> str:
    """The page `pipeline/contract/README.md`; a test keeps it in step."""
    parts = [
        "# What can be handed in",
        "",
        "Made by `tarebook columns --markdown` from the declaration in `tables.py`; do not edit by hand.",
        "",
    ]
    for table in TABLES.values():
        together = "lines that belong together share" if table.grouped else "key:"
        parts += [
            f"## {table.name}",
            "",
            f"{table.doc[0].upper()}{table.doc[1:]}. {together[0].upper()}{together[1:]} {', '.join(table.key)}.",
            "",
        ]
        parts += ["| column | type | unit | range | required | meaning |", "| --- | --- | --- | --- | --- | --- |"]
        parts += [
            f"| {name} | {kind} | {unit} | {bounds} | {required} | {doc.replace('|', chr(92) + '|')} |"
            for of, name, kind, unit, bounds, required, doc in contract_rows()
            if of == table.name
        ]
        parts.append("")
    return "\n".join(parts)
