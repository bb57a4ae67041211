"""Measure Tarebook, print a table, write JSON.

    python tests/benchmarks/run.py                               # everything, a million bodies
    python tests/benchmarks/run.py --bodies 1e5 --only load fit  # some of it, smaller

Every figure stands beside a floor of the same run (see the README beside this file).
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import sys
import tempfile
import traceback
from pathlib import Path

# run as a script from anywhere: this folder, the tests and the checkout are found by their places
sys.path[:0] = [str(place) for place in Path(__file__).resolve().parents[:3]]

import rows_cluster  # noqa: E402
import rows_load  # noqa: E402
import rows_loads  # noqa: E402
import rows_mass  # noqa: E402
import rows_pages  # noqa: E402
from measure import Figure, Setup  # noqa: E402

ROWS = {**rows_load.ROWS, **rows_mass.ROWS, **rows_loads.ROWS, **rows_pages.ROWS, **rows_cluster.ROWS}
EXTRA = ("cluster",)
"""Rows that need what the default install has not: measured where they are named."""


def table(figures: list[Figure]) -> str:
    """The figures as a Markdown table."""
    head = ["| what | against | ours | floor | ratio | reach | |", "| --- | --- | --- | --- | --- | --- | --- |"]
    return "\n".join([*head, *map(table_line, figures)])


def table_line(figure: Figure) -> str:
    """One line of that table."""
    ours = f"{figure.ours:.4g} {figure.unit}"
    floor, ratio = ("-", "-") if math.isnan(figure.floor) else (f"{figure.floor:.4g} {figure.unit}", f"{figure.value:.2f}")
    mark = "reached" if figure.reached else "NOT reached"
    return f"| {figure.what} | {figure.against} | {ours} | {floor} | {ratio} | {figure.reach:.4g} | {mark} |"


def _measure(names: list[str], setup: Setup) -> tuple[list[Figure], list[str]]:
    """Figures of the named rows, told as they come; a row that breaks is named at the end and does not stop the others."""
    figures: list[Figure] = []
    failed = []
    for name in names:
        print(f"… {name}", file=sys.stderr)
        try:
            found = ROWS[name](setup)
        except Exception:
            traceback.print_exc()
            failed.append(name)
            continue
        figures += found
        for figure in found:
            print(table_line(figure), file=sys.stderr)
    return figures, failed


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--bodies", type=lambda text: int(float(text)), default=1_000_000, help="size of the history, 1e3 to 1e7")
    parser.add_argument("--only", nargs="+", choices=sorted(ROWS), metavar="ROW", help=f"some of: {' '.join(ROWS)}")
    parser.add_argument("--repeat", type=int, default=3, help="runs of each figure; the median counts")
    parser.add_argument("--seconds", type=float, default=600.0, help="how long users stay for the row on memory")
    parser.add_argument("--out", type=Path, help="write the figures there as JSON")
    parser.add_argument("--work", type=Path, help="keep histories and stores there, to use again (default: a folder that goes away)")
    call = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="tarebook-bench-") as scratch:
        work = call.work or Path(scratch)
        work.mkdir(parents=True, exist_ok=True)
        # the key of the customers' hashes belongs to the run, not to the person who measures
        os.environ["TAREBOOK_KEY"] = str(work / "customer.key")
        named = call.only or [name for name in ROWS if name not in EXTRA]
        figures, failed = _measure(named, Setup(work, call.bodies, call.repeat, call.seconds))
    print(table(figures))
    load, cores = os.getloadavg()[0], os.cpu_count() or 1
    if load > 1.5 * cores:
        print(f"others were at work ({load:.1f} waiting for {cores} cores): ratios hold, seconds are too long", file=sys.stderr)
    if call.out:
        machine = {"cores": cores, "load": load, "python": platform.python_version(), "bodies": call.bodies}
        call.out.write_text(json.dumps({"machine": machine, "figures": [figure.as_json() for figure in figures]}, indent=1) + "\n", "utf-8")
    if failed:
        print(f"could not be measured: {', '.join(failed)}", file=sys.stderr)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
