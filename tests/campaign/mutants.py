"""Mutation testing of the rules and the loads: change one place of the code, and see whether a test notices.

    pip install cosmic-ray
    python tests/campaign/mutants.py --minutes 30 --seed 1                 both rooms by turns
    python tests/campaign/mutants.py --minutes 10 --rooms sift             one of them
    python tests/campaign/mutants.py --seed 1 --only 17,23                 some of that seed's mutants again

Works in a copy of the project. Half of the rules are SQL inside texts, so a kind of mutation of our own changes that. Places
are drawn evenly, then one of the changes that are possible there. It prints each survivor with its change, and ends with 0
whatever survived: whether a survivor is a gap or means the same is for a person to say.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cosmic_ray.plugins
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.operators.operator import Operator
from cosmic_ray.testing import run_tests
from cosmic_ray.work_item import TestOutcome

PROJECT = Path(__file__).parents[2]
SECONDS = 300.0
"""A mutant that takes longer hangs, which is noticed."""

_ROWS = "tests/store/test_what_becomes_of_rows.py tests/store/test_order_of_hand_ins.py"
TESTS = {
    "pipeline/loads": "tests/loads/test_loads_on_vehicle.py tests/loads",
    "pipeline/sift": f"{_ROWS} tests/sift",
    "pipeline/sift/arrive.py": _ROWS,
    "pipeline/sift/cells.py": "tests/sift/test_cells.py",
    "pipeline/sift/soft.py": "tests/sift/test_soft_rules.py",
}
"""Tests that should notice, by module, else by room; a survivor is tried against no others."""

SQL = [
    (re.compile(told), instead)
    for told, instead in (
        (r" <= ", " < "), (r" < ", " <= "), (r" > ", " >= "), (r" >= ", " > "), (r" = ", " <> "), (r" <> ", " = "), (r"\bAND\b", "OR"),
        (r"\bOR\b", "AND"), (r"\bIS NULL\b", "IS NOT NULL"), (r"\bIS NOT NULL\b", "IS NULL"), (r"\bNOT EXISTS\b", "EXISTS"),
        (r"\bNOT IN\b", "IN"), (r"\bNOT BETWEEN\b", "BETWEEN"), (r"\bDISTINCT ", ""), (r"\bUNION ALL\b", "UNION"), (r"\bmax\(", "min("),
        (r"\bmin\(", "max("), (r"\bANTI JOIN\b", "SEMI JOIN"), (r"\bLEFT JOIN\b", "JOIN"), (r"\bORDER BY\b", "ORDER BY -1, "),
        (r" \+ 1\b", ""), (r" \* ", " / "), (r" \+ ", " - "), (r"\btrue\b", "false"), (r"\bfalse\b", "true"), (r"\blower\(", "("),
        (r"\btrim\(", "("), (r"\bcount\(\*\)", "count(*) + 1"), (r"\bcoalesce\(", "nullif("),
    )
]  # fmt: skip


class InSql(Operator):
    """One word or sign of the SQL inside a text exchanged for its opposite."""

    def mutation_positions(self, node: Any) -> Iterator[Any]:
        """A place a match."""
        for at, match, _ in self._matches(node):
            line, column = node.start_pos
            yield (line, column + at), (line, column + match.end())

    def mutate(self, node: Any, index: int) -> Any:
        """The text with one match exchanged."""
        _, match, instead = list(self._matches(node))[index]
        node.value = node.value[: match.start()] + instead + node.value[match.end() :]
        return node

    def _matches(self, node: Any) -> Iterator[tuple[int, re.Match[str], str]]:
        plain = node.type == "string" and not node.value.endswith('"""')
        if plain or node.type == "fstring_string":
            for told, instead in SQL:
                yield from ((match.start(), match, instead) for match in told.finditer(node.value))

    @classmethod
    def examples(cls) -> tuple[()]:
        """None are kept."""
        return ()


@dataclass(frozen=True)
class Mutant:
    """One change: the so-manieth place of an operator in a module."""

    module: Path
    operator: str
    occurrence: int

    def code(self) -> str | None:
        """The module with the change."""
        return mutate_code((PROJECT / self.module).read_text("utf-8"), _operator(self.operator), self.occurrence)


def _operator(name: str) -> Any:
    return InSql() if name == "sql" else cosmic_ray.plugins.get_operator(name)()


def mutants(room: str, dice: random.Random) -> Iterator[Mutant]:
    """Mutants of a room without end, each place as likely as every other and none twice."""
    # A bar between types is no sum; names exchanged for others need arguments.
    names = [name for name in cosmic_ray.plugins.operator_names() if not re.search("_BitOr_|Variable|_Is_|_IsNot_(?!Is)", name)]
    places: dict[Any, list[Mutant]] = defaultdict(list)
    for path in sorted((PROJECT / "pipeline" / room).glob("*.py")):
        module, nodes = path.relative_to(PROJECT), list(ast_nodes(get_ast(path.read_text("utf-8"))))
        for name in ["sql", *names]:
            found = [place for node in nodes for place in _operator(name).mutation_positions(node)]
            for at, place in enumerate(found):
                places[module, place].append(Mutant(module, name, at))
    drawn = [(str(place), choices) for place, choices in places.items()]
    dice.shuffle(drawn)
    print(f"{room}: {len(drawn)} places", flush=True)
    yield from (dice.choice(choices) for _, choices in drawn)


def change(mutant: Mutant, code: str) -> str:
    """The lines that differ."""
    import difflib

    told = difflib.unified_diff((PROJECT / mutant.module).read_text("utf-8").splitlines(), code.splitlines(), lineterm="", n=0)
    return "\n".join(f"    {line}" for line in list(told)[2:])


def noticed(copy: Path, mutant: Mutant, code: str) -> bool:
    """Whether a test of the room, or an example in the module itself, fails."""
    target = copy / mutant.module
    before = target.read_text("utf-8")
    target.write_text(code, "utf-8")
    tests = TESTS.get(mutant.module.as_posix()) or TESTS[mutant.module.parent.as_posix()]
    try:
        outcome, said = run_tests(f"{sys.executable} -m pytest -x -q -p no:cacheprovider {mutant.module} {tests}", SECONDS)
    finally:
        target.write_text(before, "utf-8")
    if outcome == TestOutcome.INCOMPETENT:
        raise RuntimeError(said)
    return bool(outcome == TestOutcome.KILLED)


def run(rooms: Sequence[str], minutes: float, seed: int, only: set[int]) -> None:
    """Try mutants of the rooms by turns until the time is over."""
    began, tally = time.monotonic(), Counter[str]()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "project"
        shutil.copytree(PROJECT, copy, ignore=shutil.ignore_patterns(".venv", ".git", "*.egg-info", "__pycache__"))
        os.chdir(copy)
        sources = {room: mutants(room, random.Random(f"{seed} {room}")) for room in rooms}
        turn = 0
        while time.monotonic() - began < 60 * minutes and (not only or turn <= max(only)):
            turn += 1
            room = rooms[turn % len(rooms)]
            mutant = next(sources[room])
            code = mutant.code()
            if code is None or (only and turn not in only):
                continue
            verdict = "killed" if noticed(copy, mutant, code) else "survived"
            tally[f"{room} {verdict}"] += 1
            print(f"{turn} {verdict}: {mutant.module} {mutant.operator} {mutant.occurrence}", flush=True)
            if verdict == "survived":
                print(change(mutant, code), flush=True)
    print(f"seed {seed}: {dict(sorted(tally.items()))}")


def main(argv: Sequence[str] | None = None) -> None:
    """Run the call."""
    parser = argparse.ArgumentParser(description="Change the code, and see whether a test notices.")
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--rooms", default="sift,loads")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="turns to try again, by commas")
    call = parser.parse_args(argv)
    run(call.rooms.split(","), call.minutes, call.seed, {int(turn) for turn in call.only.split(",") if turn})


if __name__ == "__main__":
    main()
