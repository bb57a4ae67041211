"""The filters that all pages and exports share: one frozen value, its SQL conditions, its words, its address."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from typing import Any

from pipeline.contract import BODY_KINDS, table_named
from pipeline.errors import Fault, WrongCall, did_you_mean
from pipeline.layouts.views import Clause

_COLUMN = {
    "kinds": "b.kind",
    "size_classes": "v.size_class",
    "cabs": "v.cab",
    "vehicles": "b.vehicle_id",
    "upgrades": "b.upgrade_id",
    "branches": "b.branch",
    "families": "b.family",
}
_ON_VEHICLES = "b.vehicle_id in (select v.vehicle_id from vehicles as v where {})"
_DATE = {"sold": "b.sold_on", "quoted": "b.quoted_on", "dated": "b.dated_on"}
_PLURAL = {"canopy": "canopies", "tray": "trays", "box": "boxes"}


@dataclass(frozen=True)
class Filters:
    """Which bodies are looked at; an empty field leaves nothing out. Both days of a period are in it.

    The period is about the day of sale, quote or record, whatever the question is about.
    """

    since: date | None = None
    until: date | None = None
    kinds: tuple[str, ...] = ()
    size_classes: tuple[str, ...] = ()
    cabs: tuple[str, ...] = ()
    vehicles: tuple[str, ...] = ()
    upgrades: tuple[str, ...] = ()
    branches: tuple[str, ...] = ()
    families: tuple[int, ...] = ()

    def clause(self, day: str = "sold") -> Clause:
        """SQL conditions over the aliases of the view `chosen`, every value bound.

        Args:
            day: which day the period is about: `sold`, `quoted` or `dated`.
        Raises: KeyError: for another word.
        """
        column = _DATE[day]
        parts, values = [], {}
        for name, sign in (("since", ">="), ("until", "<=")):
            if getattr(self, name) is not None:
                parts.append(f"{column} {sign} ${name}")
                values[name] = getattr(self, name)
        for name, field_column in _COLUMN.items():
            chosen = getattr(self, name)
            if chosen:
                names = [f"{name}_{place}" for place in range(len(chosen))]
                condition = f"{field_column} in ({', '.join(f'${each}' for each in names)})"
                parts.append(_ON_VEHICLES.format(condition) if field_column.startswith("v.") else condition)
                values |= dict(zip(names, chosen, strict=True))
        return Clause(" and ".join(parts), values)

    def without_start(self) -> Filters:
        """The same from the first record on: what a comparison with earlier times needs."""
        return replace(self, since=None)

    def words(self, bodies: int | None = None, labels: Mapping[str, str] | None = None, done: str = "") -> str:
        """The filters in plain words.

        Args:
            bodies: how many they let through, put in front.
            labels: what people call a vehicle or an upgrade (id to label) or a family (number as text to name).
            done: what was done with them, such as `sold`.

        >>> Filters(date(2024, 1, 1), date(2026, 12, 31), ("canopy",), ("midsize",), branches=("north",)).words(412)
        '412 canopies on midsize vehicles, 2024-26, north branch'
        >>> Filters().words(1), Filters(vehicles=("V1",)).words(labels={"V1": "Marlin dual cab"})
        ('1 body', 'bodies on Marlin dual cab')
        """
        called = labels or {}
        parts = [self._on_what(bodies, called, done), self._period(), _branches(self.branches)]
        if self.upgrades:
            parts.append(f"with {_either([called.get(each, each) for each in self.upgrades])}")
        if self.families:
            parts.append(f"layout family {_either([called.get(str(each), str(each)) for each in self.families])}")
        return ", ".join(part for part in parts if part)

    def _on_what(self, bodies: int | None, called: Mapping[str, str], done: str) -> str:
        one = bodies == 1
        kinds = _joined([kind if one else _PLURAL[kind] for kind in self.kinds]) if self.kinds else ("body" if one else "bodies")
        head = " ".join(part for part in (f"{bodies:,}" if bodies is not None else "", kinds, done) if part)
        if self.vehicles:
            return f"{head} on {_either([called.get(each, each) for each in self.vehicles])}"
        if self.size_classes or self.cabs:
            cabs = f"{_either(list(self.cabs))}-cab " if self.cabs else ""
            return f"{head} on {cabs}{_either(list(self.size_classes))}{' ' if self.size_classes else ''}vehicles"
        return head

    def _period(self) -> str:
        since, until = self.since, self.until
        if since and until:
            if (since.month, since.day, until.month, until.day) == (1, 1, 12, 31):
                return str(since.year) if since.year == until.year else f"{since.year}-{until.year % 100:02d}"
            if since.day == 1 and (until + timedelta(days=1)).day == 1 and (since.year, since.month) == (until.year, until.month):
                return f"{since:%Y-%m}"
            return f"{since} to {until}"
        if since:
            return f"from {since}"
        return f"until {until}" if until else ""

    def to_query(self) -> dict[str, str]:
        """The filters as an address carries them, empty ones left out."""
        query = {}
        for field in fields(self):
            value = getattr(self, field.name)
            if value:
                query[field.name] = "|".join(map(str, value)) if isinstance(value, tuple) else value.isoformat()
        return query

    @classmethod
    def from_query(cls, query: Mapping[str, str]) -> Filters:
        """The filters out of an address or a command's options; other keys are left alone.

        Raises: WrongCall: every value that cannot be, at once.
        """
        given: dict[str, Any] = {}
        faults: list[Fault] = []
        for field in fields(cls):
            text = query.get(field.name)
            if text:
                try:
                    given[field.name] = _read(field.name, text)
                except ValueError as error:
                    faults.append(Fault(f"filter {field.name}", got=text, do=str(error)))
        if not faults and "since" in given and "until" in given and given["since"] > given["until"]:
            faults.append(Fault("the period ends before it begins", got=f"{given['since']} to {given['until']}"))
        if faults:
            raise WrongCall(faults)
        return cls(**given)


_LISTED = {
    "kinds": BODY_KINDS,
    "size_classes": table_named("vehicles").column("size_class").choices,
    "cabs": table_named("vehicles").column("cab").choices,
}


def _read(name: str, text: str) -> Any:
    if name in ("since", "until"):
        return date.fromisoformat(text)
    words = tuple(dict.fromkeys(word for word in text.split("|") if word))
    for word in words if name in _LISTED else ():
        if word not in _LISTED[name]:
            raise ValueError(did_you_mean(word, _LISTED[name]) or f"one of {' '.join(_LISTED[name])}")
    return tuple(int(word) for word in words) if name == "families" else words


def _branches(branches: tuple[str, ...]) -> str:
    return f"{_joined(list(branches))} {'branch' if len(branches) == 1 else 'branches'}" if branches else ""


def _joined(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _either(words: list[str]) -> str:
    if not words:
        return ""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
