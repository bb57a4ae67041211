"""Measure Tarebook, print a table, write JSON.

    python tests/benchmarks/run.py                               # everything, a million bodies
    python tests/benchmarks/run.py --bodies 1e5 --only load fit  # some of it, smaller

Every figure stands beside a floor of the same run (see the README beside this file).
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
import tempfile
from pathlib import Path

# run as a script from anywhere: this folder and the checkout are found by their places
sys.path[:0] = [str(Path(__file__).resolve().parent), str(Path(__file__).resolve().parents[2])]

import rows_load  # noqa: E402
import rows_loads  # noqa: E402
import rows_mass  # noqa: E402
from measure import Figure, Setup  # noqa: E402

ROWS = {**rows_load.ROWS, **rows_mass.ROWS, **rows_loads.ROWS}


def table(figures: list[Figure]) -> str:
    """The figures as a Markdown table."""
    lines = ["| what | against | ours | floor | ratio | reach | |", "| --- | --- | --- | --- | --- | --- | --- |"]
    for figure in figures:
        floor = "-" if figure.floor != figure.floor else f"{figure.floor:.4g} {figure.unit}"
        ratio = "-" if figure.floor != figure.floor else f"{figure.value:.2f}"
        mark = "reached" if figure.reached else "NOT reached"
        lines.append(
            f"| {figure.what} | {figure.against} | {figure.ours:.4g} {figure.unit} | {floor} | {ratio} | {figure.reach:.4g} | {mark} |"
        )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--bodies", type=lambda text: int(float(text)), default=1_000_000, help="size of the history, 1e3 to 1e7")
    parser.add_argument("--only", nargs="+", choices=sorted(ROWS), metavar="ROW", help=f"some of: {' '.join(ROWS)}")
    parser.add_argument("--repeat", type=int, default=3, help="runs of each figure; the median counts")
    parser.add_argument("--out", type=Path, help="write the figures there as JSON")
    parser.add_argument("--work", type=Path, help="keep histories and stores there, to use again (default: a folder that goes away)")
    call = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="tarebook-bench-") as scratch:
        work = call.work or Path(scratch)
        work.mkdir(parents=True, exist_ok=True)
        # the key of the customers' hashes belongs to the run, not to the person who measures
        os.environ["TAREBOOK_KEY"] = str(work / "customer.key")
        figures = []
        for name in call.only or ROWS:
            print(f"… {name}", file=sys.stderr)
            figures += ROWS[name](Setup(work, call.bodies, call.repeat))
    print(table(figures))
    if call.out:
        machine = {"cores": os.cpu_count(), "python": platform.python_version(), "bodies": call.bodies}
        call.out.write_text(json.dumps({"machine": machine, "figures": [figure.as_json() for figure in figures]}, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
