"""Rows of the fit packed for other machines: what was spoken, with the bodies and lines that its design is made of.

A package holds whole groups, so that leaving a group out is done where it lies. It is a few dozen bytes a row; the
design, twenty times that, is made where the package arrives.
"""

from __future__ import annotations

import pickle
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from pipeline.mass.bodies import Lines, Plain
from pipeline.mass.design import Design
from pipeline.mass.evidence import Evidence, Rows, Spoken, rows_of, spoken_of
from pipeline.settings_mass import MassSettings

ROWS = 16_384
"""Rows of a package: a worker is sent some hundred kilobytes at a time."""


@dataclass(frozen=True)
class Package:
    """A block of rows before its design; `members` of `spoken` are positions in `plain`."""

    spoken: Spoken
    plain: Plain
    lines: Lines


def whole_groups(group: np.ndarray, rows: int) -> list[np.ndarray]:
    """Positions of rows in parts of about so many, each of whole groups."""
    order = np.argsort(group, kind="stable")
    first_of_group = np.flatnonzero(np.diff(group[order], prepend=-1))
    cuts = np.unique(first_of_group[np.searchsorted(first_of_group, np.arange(0, len(order), rows), side="right") - 1])
    return np.split(order, cuts[1:]) if len(order) else []


def packed(evidence: Evidence, settings: MassSettings, rows: int = ROWS) -> Iterator[bytes]:
    """All rows of the fit in packages of about so many, group by group."""
    spoken = spoken_of(evidence, settings)
    for index in whole_groups(spoken.group, rows):
        part = spoken.at(index)
        bodies, members = np.unique(part.members, return_inverse=True)
        # keys are for people: nobody reads them over there
        part = replace(part, members=members, key=np.zeros(len(part), dtype=np.int8))
        package = Package(part, evidence.plain.rows(bodies), evidence.lines.of(bodies))
        yield zlib.compress(pickle.dumps(package, pickle.HIGHEST_PROTOCOL), 1)


def unpacked(design: Design, settings: MassSettings, package: bytes) -> Rows:
    """The rows of a package, with their design."""
    found: Package = pickle.loads(zlib.decompress(package))  # noqa: S301 - our own bytes, never out of a file
    return rows_of(design, found, found.spoken, settings)
