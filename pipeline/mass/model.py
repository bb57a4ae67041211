"""The fitted model as one JSON document: numbers and names, no code; numpy and the standard library read it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from functools import cached_property
from typing import Any

import numpy as np

from pipeline.errors import StoreBroken
from pipeline.mass.bodies import KINDS
from pipeline.mass.design import Beliefs, Column, Design, Item
from pipeline.mass.places import Axis, PieceMass, piece_mass

SCHEMA = 1
"""Version of the document; raised when a reader of the old one would go wrong."""


@dataclass(frozen=True)
class KindRange:
    """What history covers for one kind of body: records and weighed ones, lengths, most fit-out, most items, largest leverage."""

    records: int
    weighed: int
    length_low_mm: float
    length_high_mm: float
    fitout_high_kg: float
    items_high: float
    leverage_high: float


@dataclass(frozen=True)
class Model:
    """Everything an estimate needs.

    Attributes:
        digest: SHA-256 of what it was fitted on.
        coef: (p,) kg on the reference body, in the order of `design.columns`.
        factor: (p, p) lower Cholesky factor of the coefficients' covariance.
        noise: (sources,) spread of a reading as a share of its mass.
        step_kg: the usual division of the scale.
        factors: (levels,) reach of an interval in predicted standard deviations, at `levels`.
        ranges: by kind.
        item_records: (items,) records with mass that hold the item; `unseen_pairs`: positions of two items that history
            kept apart although chance would have joined them.
        prior_spread: (p,) as in the design; beside the covariance it says what history has added.
        facts: figures of the fit in plain numbers (rows, error, coverage, bias of drawings, …).
    """

    digest: str
    design: Design
    coef: np.ndarray
    factor: np.ndarray
    noise: np.ndarray
    step_kg: float
    levels: np.ndarray
    factors: np.ndarray
    ranges: dict[str, KindRange]
    item_records: np.ndarray
    unseen_pairs: np.ndarray
    along: Axis
    across: Axis
    facts: dict[str, Any]

    @cached_property
    def piece(self) -> PieceMass:
        """Mass of a piece of each item by the coefficients."""
        return piece_mass(self.design, self.coef)

    @property
    def drawing_bias(self) -> float:
        """Share of the mass that drawings leave out."""
        return -float(self.coef[self.design.at.drawing])

    @property
    def drawing_bias_sd(self) -> float:
        row = self.factor[self.design.at.drawing]
        return float(np.sqrt(row @ row))

    def reach(self, level: float) -> float:
        """Factor on the predicted sd at a level from 0.50 to 0.99."""
        return float(np.interp(level, self.levels, self.factors))

    def to_json(self) -> str:
        """The document; the same model gives the same bytes."""
        design = {field.name: getattr(self.design, field.name) for field in fields(self.design)}
        design["items"] = [asdict(item) for item in self.design.items]
        design["beliefs"] = asdict(self.design.beliefs)
        design["columns"] = [asdict(column) for column in self.design.columns]
        document = {
            "schema": SCHEMA,
            "digest": self.digest,
            "facts": self.facts,
            "design": design,
            "coef": self.coef.tolist(),
            "factor": _packed(self.factor),
            "noise": self.noise.tolist(),
            "step_kg": self.step_kg,
            "levels": self.levels.tolist(),
            "factors": self.factors.tolist(),
            "ranges": {kind: asdict(one) for kind, one in self.ranges.items()},
            "item_records": self.item_records.tolist(),
            "unseen_pairs": self.unseen_pairs.tolist(),
            "along": _axis_json(self.along),
            "across": _axis_json(self.across),
        }
        return json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> Model:
        """Read the document.

        Raises: StoreBroken: not such a document, or of another version.
        """
        try:
            document = json.loads(text)
            schema = document["schema"]
        except (ValueError, KeyError, TypeError) as error:
            raise StoreBroken("the mass model is not readable", got=str(error), do="run `tarebook fit` again") from error
        if schema != SCHEMA:
            raise StoreBroken("the mass model has another version", got=str(schema), expected=str(SCHEMA), do="run `tarebook fit` again")
        try:
            return _from_document(document)
        except (ValueError, KeyError, TypeError) as error:
            got = f"{type(error).__name__}: {error}"
            raise StoreBroken("the mass model was made by another Tarebook", got=got, do="run `tarebook fit` again") from error


def _from_document(document: Mapping[str, Any]) -> Model:
    told = dict(document["design"])
    told["items"] = tuple(Item(**item) for item in told["items"])
    told["columns"] = tuple(Column(**column) for column in told["columns"])
    told["beliefs"] = Beliefs(**told["beliefs"] | {"place_mm": tuple(told["beliefs"]["place_mm"])})
    told["full_kg"] = tuple(told["full_kg"])
    told["pairs"] = tuple((first, second) for first, second in told["pairs"])
    return Model(
        digest=document["digest"],
        design=Design(**told),
        coef=np.array(document["coef"]),
        factor=_unpacked(document["factor"]),
        noise=np.array(document["noise"]),
        step_kg=document["step_kg"],
        levels=np.array(document["levels"]),
        factors=np.array(document["factors"]),
        ranges={kind: KindRange(**document["ranges"][kind]) for kind in KINDS},
        item_records=np.array(document["item_records"], dtype=np.int64),
        unseen_pairs=np.array(document["unseen_pairs"], dtype=np.int64).reshape(-1, 2),
        along=_axis(document["along"]),
        across=_axis(document["across"]),
        facts=document["facts"],
    )


def lower(factor: np.ndarray) -> np.ndarray:
    """The lower triangular factor of the same covariance, diagonal positive."""
    triangle = np.transpose(np.asarray(np.linalg.qr(factor.T, mode="r")))
    signs = np.where(np.diag(triangle) < 0, -1.0, 1.0)
    return triangle * signs


def _packed(factor: np.ndarray) -> list[float]:
    return factor[np.tril_indices(len(factor))].tolist()


def _unpacked(values: list[float]) -> np.ndarray:
    side = int((np.sqrt(8 * len(values) + 1) - 1) / 2 + 0.5)
    out = np.zeros((side, side))
    out[np.tril_indices(side)] = values
    return out


def _axis_json(axis: Axis) -> dict[str, Any]:
    told = {field.name: getattr(axis, field.name) for field in fields(axis)}
    told["factor"] = _packed(axis.factor)
    return {name: value.tolist() if isinstance(value, np.ndarray) else value for name, value in told.items()}


def _axis(told: Mapping[str, Any]) -> Axis:
    arrays = {name: np.array(told[name]) for name in ("offset_mm", "factors")}
    return Axis(**{**told, **arrays, "factor": _unpacked(told["factor"])})
