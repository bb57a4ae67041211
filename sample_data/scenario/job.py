"""What a job consists of, while the scenario is drawn."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date


@dataclass
class Line:
    """A fit-out line; `side` is -1 left, 0 middle, 1 right; `listed` is False where nobody wrote it down."""

    item_id: str
    qty: int
    side: int
    x_mm: float
    y_mm: float
    zone: str
    listed: bool = True


@dataclass
class Body:
    """A body of one revision; masses are kg, `None` where nobody knows."""

    body: str
    style: str
    length_mm: int
    width_mm: int
    height_mm: int | None
    sheet_mm: float | None
    floor_mm: float
    doors: int | None
    painted: bool
    colour: str
    sits_on: str
    offset_mm: int
    drawing: str
    lines: list[Line] = field(default_factory=list)
    origin: str = "new"
    same_as: str = ""
    list_whole: bool = False
    length_approximate: bool = False
    true_kg: float = 0.0
    true_com_mm: tuple[float, float] = (0.0, 0.0)
    cad_kg: float | None = None
    weighed_kg: float | None = None
    com_mm: tuple[float, float] | None = None
    gross: str = ""

    @property
    def kind(self) -> str:
        return self.body.split("-")[0]

    @property
    def lift_off(self) -> bool:
        return any(line.item_id == "legs" for line in self.lines)


@dataclass
class Revision:
    """One version of the quote; `letter` is empty where there is but one."""

    letter: str
    quoted_on: date
    price: int
    quoted_h: float
    bodies: list[Body]


@dataclass
class Job:
    """An enquiry that was quoted, with all its versions and what became of it."""

    job_id: str
    branch: str
    vehicle_id: str
    upgrade_id: str
    revisions: list[Revision]
    status: str = "quoted"
    ordered_on: date | None = None
    delivered_on: date | None = None
    lost_on: date | None = None
    lost_why: str = ""
    cost: int | None = None
    labour_h: float | None = None
    customer: str = ""
    note: str = ""
    towbar: bool = False
    on_vehicle: list[dict[str, object]] = field(default_factory=list)
    weighings: list[dict[str, object]] = field(default_factory=list)

    @property
    def last(self) -> Revision:
        return self.revisions[-1]

    @property
    def built(self) -> bool:
        return self.status in ("ordered", "delivered")
