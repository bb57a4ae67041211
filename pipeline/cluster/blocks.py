"""Rows of the fit in Spark's hands: each block stays where it was unpacked, keeps its weights there, and sends sums home."""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pipeline.mass.closing import Closing
from pipeline.mass.evidence import Rows
from pipeline.mass.robust import PassSums, Work

if TYPE_CHECKING:
    from pyspark import RDD, SparkContext


SLICES = 8
"""Tasks a processor in which packages are sent out: ten million bodies' then come 20 MB at a time."""


class SparkBlocks:
    """Blocks on the workers; every pass is one round of the same function that a single machine runs."""

    def __init__(self, context: SparkContext, packages: Iterable[bytes], unpack: Callable[[bytes], Rows]) -> None:
        from pyspark import StorageLevel

        self._level = StorageLevel.MEMORY_AND_DISK
        sent = list(enumerate(packages))
        # Data of the machine that asks travels with every task on it, in every pass. Handed on once between the workers it
        # lies there, and is sent again only where a worker was lost.
        there = context.parallelize(sent, context.defaultParallelism * SLICES).partitionBy(len(sent), _its_number)
        # a part a package: a worker holds one design at a time, 15 MB, however long the history is, and drops whole ones to disk
        self._rows: RDD[Rows] = there.values().map(unpack).persist(self._level)
        self._last: RDD[Any] | None = None

    def run(self, work: Work) -> PassSums:
        made = self._weighted().map(work).persist(self._level)
        total: PassSums = made.map(operator.itemgetter(0)).treeReduce(operator.add)
        if self._last is not None:
            self._last.unpersist()
        self._last = made
        return total

    def close(self, work: Callable[[Rows], Closing]) -> Closing:
        total: Closing = self._weighted().map(work).treeReduce(operator.add)
        self._rows.unpersist()
        if self._last is not None:
            self._last.unpersist()
        return total

    def _weighted(self) -> RDD[Rows]:
        """The rows with the weights that the last pass gave them."""
        return self._rows.zip(self._last).map(_with_weights) if self._last is not None else self._rows


def _its_number(place: int) -> int:
    return place


def _with_weights(pair: tuple[Rows, tuple[PassSums, Any]]) -> Rows:
    rows, (_sums, robust) = pair
    return replace(rows, robust=robust)
