"""Every sentence that Tarebook says when something is wrong, gathered from the code: `python -m pipeline.cli.fault_page`."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline import errors
from pipeline.errors import TarebookError

PACKAGE = Path(__file__).parents[1]
PLAIN_FAULT = "Fault"
"""A fault on its own is collected, and raised with the others of its file as `InputRefused`."""


@dataclass(frozen=True, order=True)
class Sentence:
    """One place in the code that says what is wrong: its room, the kind of fault, the words, and what to do about it."""

    room: str
    kind: str
    what: str
    cure: str


def kinds() -> dict[str, type[TarebookError]]:
    """Every kind of expected fault, by name."""
    return {
        name: kind for name, kind in vars(errors).items() if isinstance(kind, type) and issubclass(kind, TarebookError) and kind.meaning
    }


def sentences() -> list[Sentence]:
    """Every sentence in the code, in order of room and words."""
    found = {sentence for path in sorted(PACKAGE.rglob("*.py")) for sentence in _of(path)}
    return sorted(found)


def _of(path: Path) -> Iterator[Sentence]:
    known = {PLAIN_FAULT, *kinds()}
    room = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    for call in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in known and call.args:
            given = {keyword.arg: keyword.value for keyword in call.keywords}
            what, cure = _words(call.args[0]), "; ".join(text for key in ("expected", "do") if (text := _words(given.get(key))))
            if what.strip("… :/"):
                yield Sentence(room, call.func.id, what, cure)


def _words(node: ast.expr | None) -> str:
    """The words of a text in the code; what is put in at run time is a `…`."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(_words(part) for part in node.values)
    if isinstance(node, ast.BoolOp):
        return " / ".join(_words(value) for value in node.values)
    if isinstance(node, ast.BinOp):
        return f"{_words(node.left)}{_words(node.right)}"
    if isinstance(node, ast.IfExp):
        return " / ".join(text for branch in (node.body, node.orelse) if (text := _words(branch)))
    return "…" if isinstance(node, ast.FormattedValue | ast.Name | ast.Call | ast.Attribute | ast.Subscript) else ""


def markdown() -> str:
    """The page `pipeline/cli/FAULTS.md`; a test keeps it in step."""
    lines = [
        "# What it says when something is wrong",
        "",
        "Made by `python -m pipeline.cli.fault_page` from the code; do not edit by hand. `…` is filled in at run time: which file, which",
        "line, what stood there. A fault that is not in this table is a bug: it ends with exit code 4, and says where the log is.",
        "",
        "| exit code | kind | meaning |",
        "| --- | --- | --- |",
        *(f"| {int(kind.exit_code)} | {name} | {kind.meaning} |" for name, kind in kinds().items()),
        "",
        "| room | kind | sentence | expected, or what to do |",
        "| --- | --- | --- | --- |",
        *(f"| {each.room} | {_kind(each)} | {_cell(each.what)} | {_cell(each.cure)} |" for each in sentences()),
        "",
    ]
    return "\n".join(lines)


def _kind(sentence: Sentence) -> str:
    return "InputRefused" if sentence.kind == PLAIN_FAULT and sentence.room in ("intake", "settings") else sentence.kind


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


if __name__ == "__main__":
    sys.stdout.write(markdown())
