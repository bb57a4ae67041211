"""The pinned packages against a stored list of known faults: the package safety-db, fetched by `pip download` into the user's cache.

It is the newest such list that a package registry carries, and old; where the network is open, `pip-audit -r .ci/constraints.txt` asks
a living one.
"""

from __future__ import annotations

import json
import subprocess
import sys
import zipfile
from pathlib import Path

import platformdirs
from outcome import Outcome, Skipped
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet
from packaging.utils import canonicalize_name

LIST = "safety-db==2021.7.17"
PINS = Path(__file__).parents[2] / ".ci" / "constraints.txt"


def fetched() -> dict[str, list[dict[str, object]]]:
    """Known faults by package. Raises: Skipped: the list is not there and cannot be fetched."""
    cache = platformdirs.user_cache_path("tarebook-campaign")
    if not list(cache.glob("safety_db*.whl")):
        call = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", LIST, "--dest", str(cache)]
        done = subprocess.run(call, capture_output=True, text=True, timeout=120, check=False)
        if done.returncode:
            raise Skipped(f"{LIST} cannot be fetched: {done.stderr.strip()[:200]}")
    with zipfile.ZipFile(next(cache.glob("safety_db*.whl"))) as wheel:
        told = json.loads(wheel.read("safety_db/insecure_full.json"))
    return {canonicalize_name(name): faults for name, faults in told.items() if name != "$meta"}


def run() -> Outcome:
    """Look up every pinned package."""
    outcome, known = Outcome("pinned packages in a list of known faults"), fetched()
    for line in filter(None, (line.partition("#")[0].strip() for line in PINS.read_text("utf-8").splitlines())):
        pinned = Requirement(line)
        (version,) = (pin.version for pin in pinned.specifier)
        faults = known.get(canonicalize_name(pinned.name), [])
        outcome.tried += 1
        outcome.seen["faults of other versions"] += len(faults)
        for fault in faults:
            if any(SpecifierSet(versions).contains(version, prereleases=True) for versions in fault["specs"]):
                outcome.lost.append(f"{line}: {fault['cve'] or fault['advisory']}")
    return outcome
