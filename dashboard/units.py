"""Kilograms and millimetres, or pounds and inches, on screens and in what is taken along from them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pipeline.answers.files import Rows
from pipeline.contract.model import KG_PER_LB, MM_PER_IN

SYSTEMS = {"metric": "kg and mm", "imperial": "lb and in"}


@dataclass(frozen=True)
class Units:
    """One of SYSTEMS."""

    system: str = "metric"

    @property
    def mass(self) -> str:
        return "kg" if self.system == "metric" else "lb"

    @property
    def length(self) -> str:
        return "mm" if self.system == "metric" else "in"

    @property
    def kg_per_unit(self) -> float:
        return 1.0 if self.system == "metric" else KG_PER_LB

    @property
    def mm_per_unit(self) -> float:
        return 1.0 if self.system == "metric" else MM_PER_IN

    def kg(self, value: float | None, digits: int = 0) -> str:
        """A mass as people read it.

        >>> Units().kg(311.6), Units("imperial").kg(100), Units().kg(None)
        ('312 kg', '220 lb', 'not known')
        """
        return _said(value, self.kg_per_unit, digits, self.mass)

    def mm(self, value: float | None) -> str:
        """A length as people read it.

        >>> Units().mm(1650), Units("imperial").mm(254)
        ('1,650 mm', '10.0 in')
        """
        return _said(value, self.mm_per_unit, 0 if self.system == "metric" else 1, self.length)

    def rows(self, rows: Rows) -> Rows:
        """The same rows in these units, with names that say so; they read back in through `load`.

        >>> Units("imperial").rows(Rows(("length_mm",), [(254.0,)]))
        Rows(columns=('length_in',), rows=[(10.0,)])
        """
        if self.system == "metric":
            return rows
        named = [self._column(column) for column in rows.columns]
        converted = [tuple(_scaled(value, scale) for value, (_, scale) in zip(row, named, strict=True)) for row in rows.rows]
        return Rows(tuple(name for name, _ in named), converted)

    def _column(self, column: str) -> tuple[str, Callable[[float], float] | None]:
        for ending, other, factor in (("_kg", "_lb", KG_PER_LB), ("_mm", "_in", MM_PER_IN)):
            if column.endswith(ending):
                return column.removesuffix(ending) + other, lambda value, by=factor: value / by
        return column, None


def _scaled(value: object, scale: Callable[[float], float] | None) -> object:
    return round(scale(value), 3) if scale and isinstance(value, int | float) and not isinstance(value, bool) else value


def _said(value: float | None, per_unit: float, digits: int, unit: str) -> str:
    if value is None or value != value:
        return "not known"
    said = f"{value / per_unit:,.{digits}f}"
    return f"{said.removeprefix('-') if not float(said.replace(',', '')) else said.replace('-', chr(0x2212))} {unit}"
