"""Declares a design: what history's bodies look like, what the items' datasheets say, and how far either is believed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipeline.frames import Columns
from pipeline.mass.bodies import KINDS, MEASURES, USUAL, Plain, numbers, texts
from pipeline.mass.design import DRIFT_GROUPS, SHELL, Beliefs, Column, Design, Item
from pipeline.mass.evidence import BLOCK, Stock
from pipeline.mass.features import count_items, shell_columns
from pipeline.mass.items import piece_column, slope_column
from pipeline.settings_mass import MassSettings

FEW_FOR_MEDIAN = 5
"""Bodies of a kind from which its usual body is the median of history rather than common practice."""


def needed_pairs(items: Columns) -> list[tuple[str, str]]:
    """Pairs declared by `needs`: an item and what it cannot do without."""
    known = set(texts(items, "item_id").tolist())
    pairs = []
    for item, needs in zip(texts(items, "item_id").tolist(), texts(items, "needs").tolist(), strict=True):
        pairs += [(item, other) for other in (needs or "").split() if other in known and other != item]
    return sorted(pairs)


def densities(settings: MassSettings) -> dict[str, float]:
    """kg/m³ by alloy digits, the usual one under the empty key."""
    return {**settings.density_kg_m3, "": settings.usual_density_kg_m3}


def usual_bodies(frame: Columns, counts: np.ndarray) -> dict[str, dict[str, float]]:
    """Median measures of each kind's bodies that count; common practice where a measure is known of fewer than five."""
    kind = texts(frame, "kind")
    usual = {}
    for name in KINDS:
        rows = (kind == name) & counts
        seen = {measure: numbers(frame, measure)[rows] for measure in MEASURES}
        seen = {measure: values[~np.isnan(values)] for measure, values in seen.items()}
        usual[name] = {
            measure: float(np.median(values)) if len(values) >= FEW_FOR_MEDIAN else USUAL[name][measure] for measure, values in seen.items()
        }
    return usual


def declare(
    items: Sequence[Item],
    usual: dict[str, dict[str, float]],
    stock: Stock,
    counts: np.ndarray,
    today: np.datetime64,
    settings: MassSettings,
    drifts: bool,
    pairs: Sequence[tuple[str, str]],
) -> Design:
    """The design for a history.

    Args:
        usual: as `usual_bodies` says.
        counts: positions of the bodies that count.
        today: date of the newest record.
        drifts: whether items' masses may change over the years.
        pairs: items or groups that bring mass when they stand together.
    """
    length_mm, kind = stock.plain.length_mm[counts], stock.plain.kind[counts]
    design = Design(
        items=tuple(items),
        columns=(),
        usual=usual,
        length_m=float(np.median(length_mm)) * 1e-3 if len(counts) else USUAL["canopy"]["length_mm"] * 1e-3,
        long_m={name: _long_m(length_mm[kind == place], usual[name]["length_mm"]) for place, name in enumerate(KINDS)},
        full_kg=(0.0, 0.0),
        pairs=tuple(dict.fromkeys(pairs)),
        today=str(today),
        drifts=drifts,
        density_kg_m3=densities(settings),
        places=dict(settings.place_fractions),
        side_fraction=settings.side_fraction,
        beliefs=Beliefs(
            spread=settings.item_spread,
            least_kg=settings.item_spread_least_kg,
            unknown_kg=settings.unknown_item_kg,
            unknown_spread_kg=settings.unknown_item_spread_kg,
            slope_spread_kg=settings.slope_spread_kg,
            place_mm=settings.item_place_spread_mm,
        ),
    )
    full = _sheet_kg(design, stock, counts) if len(counts) else np.zeros(1)
    design = replace(design, full_kg=(float(np.quantile(full, 0.5)), float(np.quantile(full, 0.8))))
    return replace(design, columns=tuple(_columns(design, settings)))


def with_pairs(design: Design, pairs: Sequence[tuple[str, str]], settings: MassSettings) -> Design:
    """The same design with further pairs."""
    design = replace(design, pairs=(*design.pairs, *pairs))
    return replace(design, columns=tuple(_columns(design, settings)))


def _sheet_kg(design: Design, stock: Stock, rows: np.ndarray) -> np.ndarray:
    """(len(rows),) fit-out of those bodies by its datasheets, reckoned a block at a time."""
    blocks = (rows[start : start + BLOCK] for start in range(0, len(rows), BLOCK))
    return np.concatenate([count_items(design, stock.plain.rows(block), stock.lines.of(block)).sheet_kg for block in blocks])


def _long_m(lengths_mm: np.ndarray, usual_mm: float) -> float:
    return float(np.quantile(lengths_mm, 0.75)) * 1e-3 if len(lengths_mm) >= FEW_FOR_MEDIAN else usual_mm * 1.2e-3


def _columns(design: Design, settings: MassSettings) -> list[Column]:
    columns = [column for kind in KINDS for column in _shell(design, kind, settings)]
    columns += [piece_column(item, design.length_m, design.beliefs) for item in design.items]
    columns += [slope_column(item, design.beliefs) for item in design.items]
    columns.append(
        Column("uplift", "100 kg", "wiring, brackets, sealant on datasheet masses", "items", 1.0, 0.0, settings.uplift_spread_kg)
    )
    columns.append(Column("each", "1", "fixings of every item", "items", 1.0, settings.each_item_kg, settings.each_item_spread_kg))
    if design.drifts:
        for name, spread in zip((*DRIFT_GROUPS, "others"), settings.drift_spread_kg, strict=True):
            columns.append(Column(f"change of {name}", "50 kg·year", f"yearly change of 50 kg of {name}", "items", 1.0, 0.0, spread))
    for first, second in design.pairs:
        columns.append(Column(f"{first} with {second}", "1", "what both bring together", "together", 1.0, 0.0, settings.together_spread_kg))
    for knot in design.full_kg:
        columns.append(Column(f"full beyond {knot:.0f} kg", "50 kg", "fit-out beyond a knot", "full", 1.0, 0.0, settings.full_spread_kg))
    drawing = (-settings.drawing_bias, settings.drawing_bias_spread)
    columns.append(
        Column("drawing", "kg", "mass by the model, on drawn masses (its share is left out by drawings)", "drawing", 1.0, *drawing)
    )
    return columns


def _shell(design: Design, kind: str, settings: MassSettings) -> list[Column]:
    """The shell's columns of one kind, each over its value on the usual body."""
    usual = {name: np.array([value]) for name, value in design.usual[kind].items()}
    body = Plain(
        kind=np.array([KINDS.index(kind)]), size=np.array([0]), density=np.array([settings.usual_density_kg_m3]), years=np.zeros(1), **usual
    )
    raw = dict(zip((name for name, _unit, _meaning in SHELL), shell_columns(design, body)[0], strict=True))
    doors = max(1.0, raw["doors"])
    closed = design.usual[kind]["height_mm"] > 0
    area = 2 * np.prod([1e-3 * design.usual[kind][name] for name in ("length_mm", "width_mm")]) if not closed else 0.0
    paint = max(raw["paint"], area, 1.0)
    edges = settings.edge_kg_per_m * raw["edges"]
    beliefs = {
        "frame": (1.0, settings.frame_kg[kind], settings.frame_spread_kg[kind]),
        "sheet": (raw["sheet"], raw["sheet"], settings.sheet_spread * raw["sheet"]),
        "floor": (raw["floor"], raw["floor"], settings.sheet_spread * raw["floor"]),
        "edges": (raw["edges"], edges, settings.edge_spread * edges),
        "length": (1.0, 0.0, settings.length_spread_kg),
        "bend": (1.0, 0.0, settings.bend_spread_kg),
        "long": (1.0, 0.0, settings.long_spread_kg),
        "doors": (doors, settings.door_kg * doors, settings.door_spread_kg),
        "paint": (paint, settings.paint_kg_per_m2 * paint, 0.5 * settings.paint_kg_per_m2 * paint),
    }
    usual_class = (1.0, 0.0, settings.class_spread_kg)
    return [Column(f"{kind}: {name}", unit, meaning, "shell", *_some(beliefs.get(name, usual_class))) for name, unit, meaning in SHELL]


def _some(belief: tuple[float, float, float]) -> tuple[float, float, float]:
    """A column that is nothing on the usual body (walls of a tray) keeps its own unit: a kg of sheet is a kg, within a tenth."""
    reference, prior, spread = (float(value) for value in belief)
    return (reference, prior, spread) if reference > 0 else (1.0, 1.0, 0.1)
