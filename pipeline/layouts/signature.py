"""Layout signatures as arrays: tokens, mirror images, and the distance between two layouts.

A signature is the set of (group of item, side, place) of a body's fit-out, with its length class. Two of one kind of body
are compared by the weighted Jaccard distance 1 - sum(w min(a, b)) / sum(w max(a, b)) (Ruzicka 1958) over three sorts of
coordinates: a group being there at all, a group standing at one place, and the length class counted in steps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.settings_layouts import LayoutSettings

UNKNOWN = "?-?"
_OTHER_SIDE = {"left": "right", "right": "left"}


def mirrored(signature: str) -> str:
    """The mirror image: left is right, words sorted anew.

    >>> mirrored("kitchen@left-rear roof@middle-roof water@?-?")
    'kitchen@right-rear roof@middle-roof water@?-?'
    """
    return " ".join(sorted(_mirrored_word(word) for word in signature.split()))


def _mirrored_word(word: str) -> str:
    group, _, place = word.partition("@")
    side, _, where = place.partition("-")
    return f"{group}@{_OTHER_SIDE.get(side, side)}-{where}"


@dataclass(frozen=True)
class Coordinates:
    """Layouts as rows of 0 and 1 over weighted coordinates.

    `values` (n, p) float32, `weights` (p,). A length class counts as that many ones, so that a difference of two classes
    costs twice one.
    """

    values: np.ndarray
    weights: np.ndarray

    @property
    def totals(self) -> np.ndarray:
        """(n,) weighted size of each layout."""
        return self.values @ self.weights


@dataclass(frozen=True)
class Vocabulary:
    """What layouts are compared over: placed words, groups, and how many length classes there are."""

    placed: tuple[str, ...]
    groups: tuple[str, ...]
    classes: int

    @classmethod
    def of(cls, signatures: Sequence[str], length_classes: Sequence[int]) -> Vocabulary:
        """All words of the layouts and of their mirror images."""
        words = {word for signature in signatures for word in signature.split()}
        words |= {_mirrored_word(word) for word in words}
        return cls(
            tuple(sorted(word for word in words if not word.endswith(UNKNOWN))),
            tuple(sorted({word.partition("@")[0] for word in words})),
            max((int(each) for each in length_classes), default=0),
        )

    def weights(self, settings: LayoutSettings) -> np.ndarray:
        """(p,) weight of each coordinate."""
        parts = ((self.placed, settings.place_weight), (self.groups, settings.group_weight), (range(self.classes), settings.length_weight))
        return np.concatenate([np.full(len(part), weight, dtype=np.float32) for part, weight in parts])


def coordinates(signatures: Sequence[str], length_classes: Sequence[int], vocabulary: Vocabulary, settings: LayoutSettings) -> Coordinates:
    """Layouts over the coordinates of a vocabulary that holds all their words."""
    column = {word: number for number, word in enumerate((*vocabulary.placed, *vocabulary.groups))}
    weights = vocabulary.weights(settings)
    values = np.zeros((len(signatures), len(weights)), dtype=np.float32)
    for row, (signature, length_class) in enumerate(zip(signatures, length_classes, strict=True)):
        for word in signature.split():
            values[row, column[word.partition("@")[0]]] = 1.0
            if word in column:
                values[row, column[word]] = 1.0
        values[row, len(column) : len(column) + int(length_class)] = 1.0
    return Coordinates(values, weights)


def jaccard(a: Coordinates, b: Coordinates) -> np.ndarray:
    """(n, m) weighted Jaccard distances; two empty layouts are the same.

    Source: M. Ruzicka, Biologia (Bratislava) 13 (1958); on 0 and 1 with unit weights it is Jaccard's.
    """
    shared = (a.values * a.weights) @ b.values.T
    either = a.totals[:, None] + b.totals[None, :] - shared
    # sums in single precision may overshoot by a hair
    return np.clip(1.0 - np.divide(shared, either, out=np.ones_like(shared), where=either > 0), 0.0, 1.0)


def distances(
    signatures: Sequence[str],
    length_classes: Sequence[int],
    others: Sequence[str],
    other_classes: Sequence[int],
    settings: LayoutSettings,
) -> tuple[np.ndarray, np.ndarray]:
    """Distances of two lists of layouts, and whether the other's mirror image was the nearer one.

    Returns: (n, m) distances 0 to 1; (n, m) booleans, all false where the setting keeps mirror images apart.
    """
    vocabulary = Vocabulary.of([*signatures, *others], [*length_classes, *other_classes])
    a = coordinates(signatures, length_classes, vocabulary, settings)
    straight = jaccard(a, coordinates(others, other_classes, vocabulary, settings))
    if not settings.mirrors_together:
        return straight, np.zeros(straight.shape, dtype=bool)
    turned = jaccard(a, coordinates([mirrored(each) for each in others], other_classes, vocabulary, settings))
    return np.minimum(straight, turned), turned < straight - 1e-6
