"""The long campaign: `python tests/campaign/campaign.py` tries to lose something, and prints what was tried and what was lost.

    python tests/campaign/campaign.py                    everything, as long as it takes (an hour or two on two cores)
    python tests/campaign/campaign.py --share 0.01       a hundredth of it
    python tests/campaign/campaign.py --only kills,disk  some parts of it
    python tests/campaign/campaign.py --seed 7           other dice

It ends with 1 if anything was lost. It writes to a scratch folder alone, and takes a customer key of its own.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path

HERE = Path(__file__).parent
TIDY = HERE.parent / "store" / "hand_ins" / "plain"
LATER = HERE.parent / "store" / "hand_ins" / "correction"


def parts(share: float, seed: int, scratch: Path) -> dict[str, Callable[[], object]]:
    """Each part of the campaign by name, at that share of its full length."""
    import advisories
    import disk
    import fuzz_books
    import fuzz_csv
    import kills
    import pollution
    import power
    import readers
    import spectrum
    import turns

    def some(count: int, least: int = 1) -> int:
        return max(least, round(count * share))

    return {
        "csv": lambda: fuzz_csv.run(some(20_000), seed, TIDY, scratch),
        "books": lambda: fuzz_books.run(some(2_000), seed, scratch),
        "spectrum": spectrum.run,
        "pollution": lambda: pollution.run(scratch),
        "kills": lambda: kills.run(some(300), seed, scratch, [TIDY], [LATER]),
        "power": lambda: power.run(some(40), seed, scratch, [TIDY], [LATER]),
        "disk": lambda: disk.run(some(40), scratch, [TIDY], [LATER]),
        "readers": lambda: readers.run(some(20, 2), some(100, 4), some(600, 30), some(4, 1), seed, scratch),
        "advisories": advisories.run,
        "turns": lambda: turns.run(some(16, 3), seed, scratch, [TIDY]),
    }


def run_all(only: Sequence[str], share: float, seed: int) -> bool:
    """Run the parts, print a row each, and say whether nothing was lost."""
    from outcome import Outcome, Skipped

    print("| what | tried | lost | seconds | seen |\n| --- | --- | --- | --- | --- |", flush=True)
    whole = True
    with tempfile.TemporaryDirectory() as folder:
        os.environ["TAREBOOK_KEY"] = str(Path(folder) / "customer.key")
        known = parts(share, seed, Path(folder))
        if wrong := set(only).difference(known):
            raise SystemExit(f"no part {', '.join(wrong)}; there are {', '.join(known)}")
        for name in only or known:
            scratch = Path(folder) / name
            scratch.mkdir()
            began = time.monotonic()
            try:
                found = parts(share, seed, scratch)[name]()
            except Skipped as skipped:
                print(f"| {name} | - | - | - | NOT TRIED: {skipped} |", flush=True)
                continue
            except Exception:
                # The parts after it are tried all the same.
                traceback.print_exc()
                found = Outcome(name, lost=["the part itself broke down"])
            assert isinstance(found, Outcome)
            print(f"| {found.what} | {found.tried:,} | {len(found.lost)} | {time.monotonic() - began:.0f} | {found.words()} |", flush=True)
            for lost in found.lost:
                print(f"  lost: {lost}", file=sys.stderr, flush=True)
            whole = whole and not found.lost
    return whole


def main(argv: Sequence[str] | None = None) -> int:
    """Run the call."""
    parser = argparse.ArgumentParser(description="Try to lose something.")
    parser.add_argument("--only", default="", help="names of parts, by commas; a wrong one tells them all")
    parser.add_argument("--share", type=float, default=1.0, help="how much of the whole (default 1)")
    parser.add_argument("--seed", type=int, default=1)
    call = parser.parse_args(argv)
    return 0 if run_all([name for name in call.only.split(",") if name], call.share, call.seed) else 1


if __name__ == "__main__":
    sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parent / "dashboard")]
    sys.exit(main())
