"""The travel load: what a check assumes on board. A TOML file over the workshop's default."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import get_type_hints

import msgspec
import numpy as np

from pipeline.errors import Fault, InputRefused, did_you_mean
from pipeline.settings_loads import Extra, Person, TravelLoad, VehicleSettings


@dataclass(frozen=True)
class Brought:
    """What people bring, in numbers or arrays (n,) that fit the cases; kg unless the name says otherwise."""

    people: tuple[tuple[np.ndarray | float, str, str], ...] = ()
    luggage: np.ndarray | float = 0.0
    water_l: np.ndarray | float = 0.0
    fuel_fraction: np.ndarray | float = 1.0
    trailer: np.ndarray | float = 0.0
    ball: np.ndarray | float = 0.0
    extra: tuple[Extra, ...] = ()
    other: np.ndarray | float = 0.0


def brought(travel: TravelLoad) -> Brought:
    """A travel load as numbers."""
    people = tuple((one.kg, one.seat, one.side) for one in travel.people)
    return Brought(
        people, travel.luggage_kg, travel.water_l, travel.fuel_fraction, travel.trailer_kg, travel.ball_kg, tuple(travel.extra),
    )  # fmt: skip


def nothing_loaded(settings: VehicleSettings) -> Brought:
    """As a job leaves the workshop: nobody and nothing on board, fuel by the setting."""
    return Brought(fuel_fraction=settings.delivered_fuel_fraction)


def read_travel(path: Path, default: TravelLoad) -> TravelLoad:
    """A travel load from a TOML file; a key left out takes the default.

    Raises: InputRefused: the file cannot be read, or any key or value is wrong (all of them at once).
    """
    try:
        given = tomllib.loads(path.read_text("utf-8"))
    except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputRefused(
            "the travel load cannot be read", where=str(path), got=str(error), do="write it as TOML, or leave it out"
        ) from error
    return travel_from(given, default, str(path))


def travel_from(given: dict[str, object], default: TravelLoad, where: str = "travel load") -> TravelLoad:
    """A travel load from keys and values over a default.

    Raises: InputRefused: every wrong key and value.
    """
    hints = get_type_hints(TravelLoad, include_extras=True)
    faults, good = [], {}
    for key, value in given.items():
        if key not in hints:
            faults.append(
                Fault(f"no key {key!r} in a travel load", where=where, do=did_you_mean(key, hints) or f"keys: {', '.join(hints)}")
            )
            continue
        try:
            good[key] = msgspec.convert(value, hints[key])
        except msgspec.ValidationError as error:
            faults.append(Fault(key, where=where, got=repr(value), do=str(error)))
    if faults:
        raise InputRefused(faults)
    return msgspec.structs.replace(default, **good)


__all__ = ["Brought", "Person", "brought", "nothing_loaded", "read_travel", "travel_from"]
