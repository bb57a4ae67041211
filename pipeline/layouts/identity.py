"""Families keep their numbers from edition to edition: matched by the bodies they share, splits and merges told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.settings_layouts import LayoutSettings

CHANGES = pl.Schema(
    {
        "change": pl.String,
        "family": pl.Int64,
        "other": pl.Int64,
        "bodies": pl.Int64,
        "of_bodies": pl.Int64,
        "words": pl.String,
    }
)


@dataclass(frozen=True)
class Matching:
    """`number_of`: new group → family number; `changes`: what was kept, new, gone, split, merged, in words."""

    number_of: dict[int, int]
    changes: pl.DataFrame


def match(groups: pl.DataFrame, earlier: pl.DataFrame | None, highest: int, settings: LayoutSettings) -> Matching:
    """Number the new groups, after the earlier families where they share enough bodies.

    Args:
        groups: `job_id, body, grp`; group numbers in the order in which new families are to be numbered.
        earlier: `job_id, body, family` of the last edition, or None.
        highest: highest number ever given; a number is never given again.
    """
    sizes = dict(groups.group_by("grp").len().sort("grp").iter_rows())
    shared = _shared(groups, earlier)
    taken = _assign(shared, settings.same_family)
    number_of = dict(taken)
    for group in sizes:
        if group not in number_of:
            highest += 1
            number_of[group] = highest
    before = {} if earlier is None else dict(earlier.group_by("family").len().sort("family").iter_rows())
    records = [*_born_and_gone(sizes, before, number_of, taken), *_splits_and_merges(shared, number_of, settings.split_share)]
    return Matching(number_of, pl.DataFrame(records, schema=CHANGES, orient="row"))


def _shared(groups: pl.DataFrame, earlier: pl.DataFrame | None) -> pl.DataFrame:
    """`grp, family, n`, the number of bodies that are in both."""
    if earlier is None or earlier.is_empty():
        return pl.DataFrame(schema={"grp": pl.Int64, "family": pl.Int64, "n": pl.UInt32})
    both = groups.join(earlier.select("job_id", "body", "family"), on=["job_id", "body"], how="inner")
    return both.group_by("grp", "family").len("n").sort("grp", "family")


def _assign(shared: pl.DataFrame, least: float) -> dict[int, int]:
    """Groups to families, one to one, for the greatest total Jaccard overlap; pairs under `least` stay apart."""
    from scipy.optimize import linear_sum_assignment

    if shared.is_empty():
        return {}
    groups, families = sorted(shared["grp"].unique()), sorted(shared["family"].unique())
    count = np.zeros((len(groups), len(families)))
    for group, family, n in shared.iter_rows():
        count[groups.index(group), families.index(family)] = n
    overlap = count / (count.sum(axis=1, keepdims=True) + count.sum(axis=0, keepdims=True) - count)
    pairs = zip(*linear_sum_assignment(overlap, maximize=True), strict=True)
    return {groups[row]: families[column] for row, column in pairs if overlap[row, column] >= least}


def _born_and_gone(sizes: dict[int, int], before: dict[int, int], number_of: dict[int, int], taken: dict[int, int]) -> list[tuple]:
    records: list[tuple] = []
    for group, bodies in sizes.items():
        family = number_of[group]
        kept = group in taken
        words = f"family {family} goes on, with {bodies} bodies" if kept else f"family {family} is new, with {bodies} bodies"
        records.append(("kept" if kept else "new", family, None, bodies, bodies, words))
    for family in sorted(set(before) - set(taken.values())):
        bodies = before[family]
        records.append(("gone", family, None, bodies, bodies, f"family {family} is gone; its {bodies} bodies have gone elsewhere"))
    return records


def _splits_and_merges(shared: pl.DataFrame, number_of: dict[int, int], least_share: float) -> list[tuple]:
    records: list[tuple] = []
    for key, change in (("family", "split"), ("grp", "merge")):
        for (own,), part in shared.group_by(key, maintain_order=True):
            total = int(part["n"].sum())
            large = part.filter(pl.col("n") >= least_share * total)
            if large.height < 2:
                continue
            for group, family, n in large.iter_rows():
                new = number_of[group]
                if change == "split":
                    records.append((change, own, new, n, total, f"family {own} has split: {n} of its {total} bodies are in family {new}"))
                else:
                    records.append(
                        (change, new, family, n, total, f"family {new} has merged: {n} of its {total} bodies were in family {family}")
                    )
    return records
