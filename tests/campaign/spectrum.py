"""The files of the npm package csv-spectrum against the reader of CSVs: the same cells as the JSON beside each file.

The package is fetched by `npm pack` into the user's cache, once, and is no part of the project.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import tarfile
from pathlib import Path

import platformdirs
from outcome import Outcome, Skipped

from pipeline.intake.delimited import DelimitedFile
from pipeline.intake.scan import scan

PACKAGE = "csv-spectrum@2.0.0"
LINE_BYTES = 1 << 20
NOT_ALIKE = {"location_coordinates": "Contact Phone Number"}
"""Columns in which the package's own CSV and JSON say different things."""


def fetched() -> Path:
    """Folder of the package's files. Raises: Skipped: it is not there and cannot be fetched."""
    cache = platformdirs.user_cache_path("tarebook-campaign")
    found = list(cache.glob("package/csvs"))
    if not found:
        if not shutil.which("npm"):
            raise Skipped(f"{PACKAGE} needs npm to be fetched")
        cache.mkdir(parents=True, exist_ok=True)
        packed = subprocess.run(["npm", "pack", PACKAGE, "--silent"], cwd=cache, capture_output=True, text=True, timeout=120, check=False)
        if packed.returncode:
            raise Skipped(f"{PACKAGE} cannot be fetched: {packed.stderr.strip()[:200]}")
        with tarfile.open(cache / packed.stdout.strip().splitlines()[-1]) as archive:
            archive.extractall(cache, filter="data")
    return cache / "package"


def run() -> Outcome:
    """Read every file of the package."""
    outcome, package = Outcome("csv-spectrum"), fetched()
    for path in sorted((package / "csvs").glob("*.csv")):
        outcome.tried += 1
        told = json.loads((package / "json" / f"{path.stem}.json").read_text("utf-8"))
        wanted = [told] if isinstance(told, dict) else told
        text = DelimitedFile(path, path.name, scan(path, path.name, LINE_BYTES), LINE_BYTES)
        head, *rows = [cells for _, cells in text.records(",", 0) if any(cells)]
        found = [dict(zip(head, row, strict=False)) for row in rows]
        for row in (*found, *wanted):
            row.pop(NOT_ALIKE.get(path.stem, ""), None)
        if found != wanted:
            outcome.lost.append(f"{path.name} is read otherwise")
        outcome.seen["read"] += 1
    return outcome
