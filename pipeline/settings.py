"""Everything a workshop may set, each key with its default, its unit and its reason, declared once.

A store's `tarebook.toml` (or `--settings FILE`) overrides single keys; `tarebook settings` lists them all with where
each was set. Every wrong key and value of a file is told at once.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, get_type_hints

import msgspec
from msgspec import Meta, Struct, field

from pipeline.contract import TABLES
from pipeline.errors import Fault, InputRefused, did_you_mean
from pipeline.settings_access import AccessSettings
from pipeline.settings_layouts import LayoutSettings, TrendSettings
from pipeline.settings_loads import LeverSettings, LimitSettings, TravelLoad, VehicleSettings
from pipeline.settings_mass import MassSettings

Share = Annotated[float, Meta(ge=0, le=1)]
Positive = Annotated[float, Meta(gt=0)]
Count = Annotated[int, Meta(ge=0)]

FILE_NAME = "tarebook.toml"


class WorkshopSettings(Struct, frozen=True, forbid_unknown_fields=True):
    """Who we are, for sheets and pages."""

    name: Annotated[str, Meta(description="the workshop's name on sheets and pages")] = "Our workshop"
    logo: Annotated[str, Meta(description="path of an SVG or PNG logo, seen from the settings' own folder; empty: none")] = ""
    currency: Annotated[str, Meta(description="the store's one currency")] = ""
    country: Annotated[str, Meta(description="country of the dimension rules (AU, ZA, EU); empty: no verdict on dimensions")] = ""
    prices_for_customers: Annotated[bool, Meta(description="show prices on a customer's page and sheet")] = False
    units: Annotated[str, Meta(pattern="^(metric|imperial)$", description="metric (kg, mm) or imperial (lb, in) on screens")] = "metric"


class IntakeSettings(Struct, frozen=True, forbid_unknown_fields=True):
    """Limits that a file handed in must keep before anything parses it."""

    max_upload_mb: Annotated[float, Meta(gt=0, description="largest upload, MB")] = 20.0
    max_workbook_mb: Annotated[float, Meta(gt=0, description="largest workbook or Parquet file, MB")] = 50.0
    max_unpacked_mb: Annotated[float, Meta(gt=0, description="largest workbook once unpacked, MB")] = 300.0
    max_ratio: Annotated[float, Meta(gt=1, description="largest ratio of unpacked to packed size of a workbook part")] = 200.0
    max_sheet_rows: Annotated[int, Meta(ge=1, description="most rows of a sheet")] = 500_000
    max_sheet_columns: Annotated[int, Meta(ge=1, description="most columns of a sheet")] = 1_000
    max_line_bytes: Annotated[int, Meta(ge=1, description="longest line of a CSV, bytes")] = 1_048_576
    child_memory_mb: Annotated[int, Meta(ge=256, description="memory of the process that parses a workbook, MB")] = 2_048
    child_seconds: Annotated[float, Meta(gt=0, description="time of the process that parses a workbook, s")] = 60.0


class SiftSettings(Struct, frozen=True, forbid_unknown_fields=True):
    """Soft rules: what is kept, but marked for a look."""

    wide_body_mm: Annotated[float, Meta(gt=0, description="a body wider than this is marked, mm")] = 2500.0
    parts_low: Annotated[float, Meta(gt=0, description="mass under this share of what its parts add up to is marked")] = 0.5
    parts_high: Annotated[float, Meta(gt=0, description="mass over this multiple of what its parts add up to is marked")] = 2.0
    seat_gap_mm: Annotated[float, Meta(ge=0, description="a rear seat closer ahead of the headboard plane is marked, mm")] = 250.0


class StoreSettings(Struct, frozen=True, forbid_unknown_fields=True):
    """How the store keeps its editions."""

    keep_editions: Annotated[int, Meta(ge=2, description="editions kept; the live one and its parent always are")] = 12
    memory_mb: Annotated[int, Meta(ge=256, description="memory the database may use for a load, MB")] = 1_024
    threads: Annotated[int, Meta(ge=1, description="threads the database may use")] = 2


class Settings(Struct, frozen=True, forbid_unknown_fields=True):
    """All settings of a store."""

    workshop: WorkshopSettings = field(default_factory=WorkshopSettings)
    intake: IntakeSettings = field(default_factory=IntakeSettings)
    sift: SiftSettings = field(default_factory=SiftSettings)
    store: StoreSettings = field(default_factory=StoreSettings)
    mass: MassSettings = field(default_factory=MassSettings)
    travel: TravelLoad = field(default_factory=TravelLoad)
    vehicles: VehicleSettings = field(default_factory=VehicleSettings)
    limits: LimitSettings = field(default_factory=LimitSettings)
    levers: LeverSettings = field(default_factory=LeverSettings)
    layouts: LayoutSettings = field(default_factory=LayoutSettings)
    trends: TrendSettings = field(default_factory=TrendSettings)
    access: AccessSettings = field(default_factory=AccessSettings)
    ranges: Annotated[
        dict[str, tuple[float, float]],
        Meta(description="physical range of a column in place of the contract's, as `'bodies.length_mm' = [300, 9000]`"),
    ] = field(default_factory=dict)


@dataclass(frozen=True)
class Setting:
    """One key as `tarebook settings` shows it."""

    key: str
    value: Any
    default: Any
    source: str
    doc: str


def load_settings(path: Path | None) -> Settings:
    """Settings of a file over the defaults; no file is all defaults.

    Raises: InputRefused: every unknown key and wrong value of the file, at once.
    """
    given = _read(path)
    faults = list(_faults(given, Settings, "", str(path)))
    if faults:
        raise InputRefused(faults)
    return _with_place(msgspec.convert(given, Settings), path)


def _with_place(settings: Settings, path: Path | None) -> Settings:
    """The logo's path from the folder of the settings, wherever the program was started."""
    if path is None or not settings.workshop.logo:
        return settings
    logo = str(path.parent / settings.workshop.logo)
    return msgspec.structs.replace(settings, workshop=msgspec.structs.replace(settings.workshop, logo=logo))


def list_settings(path: Path | None) -> list[Setting]:
    """Every key with its value, default and where it was set, in the order of declaration.

    Raises: InputRefused: as load_settings.
    """
    given, settings = _read(path), load_settings(path)
    return list(_walk(settings, Settings(), given, "", str(path)))


def _read(path: Path | None) -> dict[str, Any]:
    if path is None or not path.exists():
        return {}
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputRefused("not readable as TOML", where=str(path), got=str(error), do="mend the file, or leave it out") from error


def _faults(given: dict[str, Any], struct: type[Struct], prefix: str, where: str) -> Iterator[Fault]:
    hints = get_type_hints(struct, include_extras=True)
    for key, value in given.items():
        name = f"{prefix}{key}"
        if key not in hints:
            yield Fault(f"no setting {name!r}", where=where, do=did_you_mean(key, hints) or "`tarebook settings` lists all keys")
        elif _is_section(hints[key]) and isinstance(value, dict):
            yield from _faults(value, hints[key], f"{name}.", where)
        elif name == "ranges":
            yield from _range_faults(value, where)
        else:
            try:
                msgspec.convert(value, hints[key])
            except msgspec.ValidationError as error:
                yield Fault(f"setting {name}", where=where, got=repr(value), do=str(error))


def _range_faults(given: Any, where: str) -> Iterator[Fault]:
    known = [f"{table.name}.{column.name}" for table in TABLES.values() for column in table.columns if column.kind in ("number", "integer")]
    for key, value in given.items() if isinstance(given, dict) else [("ranges", given)]:
        if key not in known:
            yield Fault(f"no column {key!r} to give a range", where=where, do=did_you_mean(key, known) or "write 'table.column'")
            continue
        try:
            low, high = msgspec.convert(value, tuple[float, float])
        except msgspec.ValidationError as error:
            yield Fault(f"range of {key}", where=where, got=repr(value), expected="[low, high]", do=str(error))
            continue
        if low > high:
            yield Fault(f"range of {key}", where=where, got=repr(value), expected="low before high")


def _is_section(hint: Any) -> bool:
    return isinstance(hint, type) and issubclass(hint, Struct)


def _walk(value: Struct, default: Struct, given: dict[str, Any], prefix: str, where: str) -> Iterator[Setting]:
    hints = get_type_hints(type(value), include_extras=True)
    for name, hint in hints.items():
        now, usual, key = getattr(value, name), getattr(default, name), f"{prefix}{name}"
        if _is_section(hint):
            yield from _walk(now, usual, given.get(name, {}), f"{key}.", where)
        else:
            yield Setting(key, now, usual, where if name in given else "default", _doc(hint))


def _doc(hint: Any) -> str:
    for meta in getattr(hint, "__metadata__", ()):
        if isinstance(meta, Meta) and meta.description:
            return meta.description
    return ""
