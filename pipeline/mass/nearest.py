"""The nearest weighed builds of a draft: how far in kilograms of parts, what they weigh, what differs.

Distance is the sum over parts of the mass by which two bodies differ: shell by shell, item by item, by the model's
coefficients. Only columns of the draft's own items are read, so that a million builds take a moment.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.frames import Columns, take
from pipeline.mass.bodies import KINDS, NO_ITEM, codes, numbers, texts
from pipeline.mass.design import SHELL_COUNT, Design
from pipeline.mass.estimate import read_drafts
from pipeline.mass.features import count_items, shell_columns
from pipeline.mass.model import Model

OTHER_KIND_KG = 1e4
"""Distance of a body of another kind, so that it never comes before one of the same."""


@dataclass(frozen=True)
class Builds:
    """Weighed builds, ready to be searched; short numbers, since a search reads them all.

    Attributes:
        rows: (n,) positions in the frame they came from.
        kind, shell_kg, mass_kg, length_mm: (n,).
        list_of: (n,) position of each build's list of items; bodies alike share one.
        fitout_kg: (lists,).
        pieces: items arrays of (lists,) quantities (column by column, so that few columns are read).
    """

    rows: np.ndarray
    kind: np.ndarray
    shell_kg: np.ndarray
    mass_kg: np.ndarray
    length_mm: np.ndarray
    list_of: np.ndarray
    fitout_kg: np.ndarray
    pieces: list[np.ndarray]


@dataclass(frozen=True)
class Neighbour:
    """One build: position in the frame, distance and mass in kg, and what it has more (+) or less (−) than the draft."""

    row: int
    distance_kg: float
    mass_kg: float
    length_mm: float
    differs: tuple[str, ...]


def index_builds(model: Model, bodies: Columns, fitout: Columns, list_of: np.ndarray | None = None) -> Builds:
    """Index the weighed bodies of a frame: our own, with a length that is known, and not marked as suspect.

    Args:
        fitout: `body_row`, `item_id` and `qty` of each line.
        list_of: (n,) which `body_row` of the lines stands for each body's list; None: its own.
    """
    origin = texts(bodies, "origin")
    ours = (origin != "refit") & (origin != "other-maker")
    rows = np.flatnonzero(ours & ~np.isnan(numbers(bodies, "weighed_kg")) & (numbers(bodies, "suspect") != 1))
    list_of = (np.arange(len(ours)) if list_of is None else list_of)[rows]
    none = {name: values[:0] for name, values in fitout.items()}
    found = read_drafts(model, take(bodies, rows), none).bodies
    pieces = _pieces(model.design, fitout, int(list_of.max(initial=-1)) + 1)
    return Builds(
        rows=rows,
        kind=found.kind.astype(np.int8),
        shell_kg=_shell_kg(model, shell_columns(model.design, found), found.kind).astype(np.float32),
        mass_kg=numbers(bodies, "weighed_kg")[rows],
        length_mm=found.length_mm,
        list_of=list_of,
        fitout_kg=(pieces @ item_kg(model)).astype(np.float32),
        pieces=[np.ascontiguousarray(pieces[:, item]).astype(np.float32) for item in range(model.design.item_count)],
    )


def _pieces(design: Design, fitout: Columns, lists: int) -> np.ndarray:
    """(lists, items) quantity of each item in each list; lines of items that the model does not know are left out."""
    item, qty, at = codes(texts(fitout, "item_id"), design.item_ids), numbers(fitout, "qty"), fitout["body_row"].astype(np.int64)
    some = (item != NO_ITEM) & (at < lists)
    cells = at[some] * design.item_count + item[some]
    sums = np.bincount(cells, weights=np.where(np.isnan(qty), 1.0, qty)[some], minlength=lists * design.item_count)
    return sums.reshape(lists, design.item_count)


def nearest(model: Model, builds: Builds, bodies: Columns, fitout: Columns, row: int, count: int = 5) -> list[Neighbour]:
    """The `count` nearest builds of the draft at `row`, nearest first; fewer where there are fewer of its kind."""
    own = take(fitout, fitout["body_row"] == row)
    own["body_row"] = np.zeros(len(own["body_row"]), dtype=np.int64)
    draft = read_drafts(model, take(bodies, np.array([row])), own)
    wanted = count_items(model.design, draft.bodies, draft.lines).pieces[0]
    shell = _shell_kg(model, shell_columns(model.design, draft.bodies), draft.bodies.kind)[0]
    kilograms = item_kg(model).tolist()
    # |c − w| summed over items = sum of all c, corrected where the draft holds something
    apart = builds.fitout_kg.copy()
    for item in np.flatnonzero(wanted):
        pieces = builds.pieces[item]
        apart += kilograms[item] * (np.abs(pieces - float(wanted[item])) - pieces)
    distance = apart[builds.list_of] + np.abs(builds.shell_kg - float(shell))
    distance[builds.kind != draft.bodies.kind[0]] += OTHER_KIND_KG
    some = min(count, len(distance))
    if not some:
        return []
    first = np.argpartition(distance, some - 1)[:some]
    first = first[np.lexsort((builds.rows[first], distance[first]))]
    return [
        Neighbour(
            row=int(builds.rows[place]),
            distance_kg=float(distance[place]),
            mass_kg=float(builds.mass_kg[place]),
            length_mm=float(builds.length_mm[place]),
            differs=_differs(model.design, builds, int(place), wanted, float(draft.bodies.length_mm[0])),
        )
        for place in first.tolist()
        if distance[place] < OTHER_KIND_KG
    ]


def _differs(design: Design, builds: Builds, place: int, wanted: np.ndarray, length_mm: float) -> tuple[str, ...]:
    longer = builds.length_mm[place] - length_mm
    found = [f"{abs(longer):,.0f} mm {'longer' if longer > 0 else 'shorter'}"] if abs(longer) >= 1 else []
    for item, one in enumerate(design.items):
        more = float(builds.pieces[item][builds.list_of[place]]) - float(wanted[item])
        if more:
            times = "" if abs(more) == 1 else f" × {abs(more):g}"
            found.append(f"{'+' if more > 0 else '−'} {one.label}{times}")
    return tuple(found)


def item_kg(model: Model) -> np.ndarray:
    """(items,) mass of a piece at the reference length, never under nothing."""
    return np.maximum(model.piece.fixed + model.piece.grown * model.design.length_m, 0.0)


def _shell_kg(model: Model, shell: np.ndarray, kind: np.ndarray) -> np.ndarray:
    coef = (model.coef / model.design.reference)[: len(KINDS) * SHELL_COUNT].reshape(len(KINDS), SHELL_COUNT)
    return np.einsum("ij,ij->i", shell, coef[kind])
