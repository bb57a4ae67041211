"""The workshop's list of items, and the columns that each brings; also for items that came after the last fit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.frames import Columns, height, take
from pipeline.mass.bodies import numbers, texts
from pipeline.mass.design import Beliefs, Column, Item
from pipeline.mass.model import Model
from pipeline.mass.places import Axis


def item_list(items: Columns, unknown_kg: float) -> tuple[Item, ...]:
    """The items in order of id; one without datasheet mass starts at the median of its group, else at `unknown_kg`."""
    ids, groups, labels = texts(items, "item_id"), texts(items, "group"), texts(items, "label")
    base, per_m = numbers(items, "datasheet_kg"), numbers(items, "datasheet_kg_per_m")
    by_group = {group: base[(groups == group) & ~np.isnan(base)] for group in set(groups.tolist())}
    found = []
    for row in np.argsort(ids.astype(str), kind="stable") if height(items) else ():
        known = not (np.isnan(base[row]) and np.isnan(per_m[row]))
        like = by_group[groups[row]]
        guess = float(np.median(like)) if len(like) else unknown_kg
        mass = float(np.nan_to_num(base[row])) if known else guess
        found.append(Item(ids[row], labels[row] or ids[row], groups[row] or "", mass, float(np.nan_to_num(per_m[row])), known))
    return tuple(found)


def piece_column(item: Item, length_m: float, beliefs: Beliefs) -> Column:
    """What a piece weighs at the reference length."""
    at_reference = item.base_kg + item.per_m_kg * length_m
    near = beliefs.spread * at_reference if item.known else beliefs.unknown_spread_kg
    return Column(item.item_id, "1", f"{item.label}, a piece", "items", 1.0, at_reference, max(beliefs.least_kg, near))


def slope_column(item: Item, beliefs: Beliefs) -> Column:
    """What a metre of body adds to it beyond its datasheet."""
    return Column(f"{item.item_id} per metre", "m", f"{item.label}, by length", "items", 1.0, 0.0, beliefs.slope_spread_kg)


def with_items(model: Model, items: Columns) -> Model:
    """The model with items that came after its fit: they stand on their datasheets, in no record yet."""
    known = set(model.design.item_ids)
    ids = texts(items, "item_id").tolist()
    if known.issuperset(ids):
        return model
    beliefs = model.design.beliefs
    new = item_list(take(items, np.array([one not in known for one in ids])), beliefs.unknown_kg)
    old_at, count = model.design.at, len(new)
    pieces = [piece_column(item, model.design.length_m, beliefs) for item in new]
    slopes = [slope_column(item, beliefs) for item in new]
    columns = list(model.design.columns)
    columns[old_at.slope.stop : old_at.slope.stop] = slopes
    columns[old_at.item.stop : old_at.item.stop] = pieces
    design = replace(model.design, items=(*model.design.items, *new), columns=tuple(columns))
    added = np.concatenate(
        [np.arange(design.at.item.stop - count, design.at.item.stop), np.arange(design.at.slope.stop - count, design.at.slope.stop)]
    )
    return replace(
        model,
        design=design,
        coef=_with(model.coef, added, design.prior[added]),
        factor=_with_square(model.factor, added, design.spread[added]),
        item_records=np.concatenate([model.item_records, np.zeros(count, dtype=np.int64)]),
        along=_with_places(model.along, old_at.items, count, beliefs.place_mm[0]),
        across=_with_places(model.across, old_at.items, count, beliefs.place_mm[1]),
    )


def _with(values: np.ndarray, added: np.ndarray, new: np.ndarray) -> np.ndarray:
    out = np.empty(len(values) + len(added))
    out[added] = new
    out[np.setdiff1d(np.arange(len(out)), added)] = values
    return out


def _with_square(factor: np.ndarray, added: np.ndarray, spread: np.ndarray) -> np.ndarray:
    out = np.zeros((len(factor) + len(added),) * 2)
    old = np.setdiff1d(np.arange(len(out)), added)
    out[np.ix_(old, old)] = factor
    out[added, added] = spread
    return out


def _with_places(axis: Axis, items: int, count: int, spread_mm: float) -> Axis:
    added = np.arange(items, items + count)
    return replace(
        axis,
        offset_mm=_with(axis.offset_mm, added, np.zeros(count)),
        factor=_with_square(axis.factor, added, np.full(count, spread_mm)),
    )
