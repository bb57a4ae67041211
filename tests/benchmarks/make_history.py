"""Write a history of any size as one hand-in, in constant memory.

    python tests/benchmarks/make_history.py FOLDER --bodies 1000000

One body a job, about seven fit-out lines a body, layouts that repeat as they do in a workshop, masses that follow a
simple truth. Same size and seed, same bytes. A chunk of bodies is drawn in numpy and written by polars.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

# run as a script, this folder is on the path and the one above it is not
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from workshop.catalogue import ITEMS, UPGRADES, VEHICLES

CHUNK = 100_000
LAYOUTS = 5_000
FIRST = np.datetime64("2015-01-01")
DAYS = 4_200
USUAL_MM = np.array([1200, 1450, 1600, 1750, 1790, 1900, 2080, 2150, 2400, 2500, 3000, 3400])
ZONES = np.array(
    ["left-front", "left-mid", "left-rear", "right-front", "right-mid", "right-rear", "middle-mid", "roof", "under-tray"], dtype=object
)
TABLES = ("vehicles", "upgrades", "items", "jobs", "bodies", "fitout")


@dataclass(frozen=True)
class Layouts:
    """Layouts laid end to end: layout k has the lines first[k] to first[k + 1]."""

    first: np.ndarray
    item: np.ndarray
    zone: np.ndarray
    weight: np.ndarray
    fitout_kg: np.ndarray


def write_history(folder: Path, bodies: int, seed: int = 0, job_prefix: str = "B") -> dict[str, int]:
    """One hand-in with that many bodies.

    Args:
        job_prefix: what job numbers start with; another one makes a hand-in of other jobs.
    Returns: rows by table.
    """
    folder.mkdir(parents=True, exist_ok=True)
    _write_catalogue(folder)
    rng = np.random.default_rng([seed, 9])
    layouts = _draw_layouts(rng)
    counts = {"vehicles": len(VEHICLES), "upgrades": len(UPGRADES), "items": len(ITEMS), "jobs": 0, "bodies": 0, "fitout": 0}
    files = {table: (folder / f"{table}.csv").open("wb") for table in ("jobs", "bodies", "fitout")}
    try:
        for start in range(0, bodies, CHUNK):
            frames = _draw_chunk(rng, layouts, start, min(CHUNK, bodies - start), bodies, job_prefix)
            for table, frame in frames:
                frame.write_csv(files[table], include_header=start == 0)
                counts[table] += frame.height
    finally:
        for file in files.values():
            file.close()
    return counts


def _write_catalogue(folder: Path) -> None:
    vehicles = [{name: value for name, value in vehicle._asdict().items() if name != "share"} for vehicle in VEHICLES]
    for vehicle in vehicles:
        vehicle |= {"empty_basis": "kerb", "empty_rear_kg": vehicle["empty_kg"] - vehicle["empty_front_kg"], "fuel": "diesel"}
    pl.DataFrame(vehicles).write_csv(folder / "vehicles.csv")
    names = ("upgrade_id", "vehicle_id", "label", "gvm_kg", "front_limit_kg", "rear_limit_kg", "added_kg", "added_x_mm")
    pl.DataFrame([dict(zip(names, upgrade, strict=True)) for upgrade in UPGRADES]).write_csv(folder / "upgrades.csv")
    items = [
        {"item_id": item.item_id, "label": item.label, "group": item.group, "datasheet_kg": item.kg, "datasheet_kg_per_m": item.kg_per_m}
        for item in ITEMS
    ]
    pl.DataFrame(items).write_csv(folder / "items.csv")


def _draw_layouts(rng: np.random.Generator) -> Layouts:
    share = np.array([max(item.on_canopy, item.on_tray) for item in ITEMS])
    has = rng.random((LAYOUTS, len(ITEMS))) < share * (7.0 / share.sum()) * rng.lognormal(0, 0.4, (LAYOUTS, 1))
    _, item = np.nonzero(has)
    side = np.where(rng.random(len(item)) < 0.5, 0, 3)
    place = np.array([min(2, int(3 * entry.along)) for entry in ITEMS])[item]
    fixed = np.array([{"roof": 7, "under": 8, "middle": 6}.get(entry.side, -1) for entry in ITEMS])[item]
    zone = np.where(fixed >= 0, fixed, side + place)
    kg = np.array([entry.kg for entry in ITEMS])
    weight = 1.0 / np.arange(10, LAYOUTS + 10)
    first = np.concatenate([[0], np.cumsum(has.sum(axis=1))])
    return Layouts(first, item, zone, weight.cumsum() / weight.sum(), 1.06 * (has @ kg))


def _draw_chunk(
    rng: np.random.Generator, layouts: Layouts, start: int, n: int, total: int, job_prefix: str
) -> Iterator[tuple[str, pl.DataFrame]]:
    digits = np.char.zfill(np.arange(start, start + n).astype("U8"), 8)
    job_id = pl.Series("job_id", np.char.add(job_prefix, digits))
    # quotes come in order of their numbers, a little shuffled
    quoted = FIRST + ((np.arange(start, start + n) + rng.random(n)) * (DAYS / total)).astype("timedelta64[D]")
    vehicle = rng.integers(0, len(VEHICLES), n)
    layout = np.searchsorted(layouts.weight, rng.random(n))
    kind = rng.random(n) < 0.75
    length = USUAL_MM[rng.integers(0, len(USUAL_MM), n)] + np.where(rng.random(n) < 0.3, rng.integers(-60, 61, n), 0)
    yield "jobs", _jobs(rng, job_id, vehicle, quoted)
    yield "bodies", _bodies(rng, job_id, kind, length, layouts.fitout_kg[layout])
    yield "fitout", _fitout(rng, layouts, job_id, kind, length, layout)


def _jobs(rng: np.random.Generator, job_id: pl.Series, vehicle: np.ndarray, quoted: np.ndarray) -> pl.DataFrame:
    n = len(vehicle)
    won = rng.random(n) < 0.7
    never = np.datetime64("NaT", "D")
    ordered = np.where(won, quoted + rng.integers(3, 40, n), never)
    branches = pl.Series(["harbour", "ridge", "plains"])
    return pl.DataFrame(
        {
            "job_id": job_id,
            "branch": branches[rng.integers(0, 3, n)],
            "vehicle_id": pl.Series([entry.vehicle_id for entry in VEHICLES])[vehicle],
            "status": pl.Series(["lost", "delivered"])[won.astype(int)],
            "quoted_on": quoted,
            "ordered_on": ordered,
            "delivered_on": ordered + np.where(won, rng.integers(25, 70, n), 0),
            "lost_on": np.where(won, never, quoted + rng.integers(10, 120, n)),
            "price": rng.integers(700, 3600, n) * 10,
            "quoted_h": rng.integers(20, 140, n),
        }
    )


def _bodies(rng: np.random.Generator, job_id: pl.Series, canopy: np.ndarray, length: np.ndarray, fitout_kg: np.ndarray) -> pl.DataFrame:
    n = len(length)
    width = np.array([1750, 1790, 1860, 1910])[rng.integers(0, 4, n)]
    height = np.array([820, 860, 900, 980])[rng.integers(0, 4, n)]
    sheet = np.where(canopy, np.array([2.0, 2.5, 3.0])[rng.integers(0, 3, n)], 3.0)
    area = np.where(canopy, 2 * (length + width) * height + 2 * length * width, 1.6 * length * width) / 1e6
    edges = np.where(canopy, 4 * (length + width + height), 4 * (length + width)) / 1e3
    mass = (20 + 2.8 * area * sheet + 1.8 * edges + fitout_kg) * (1 + rng.normal(0, 0.025, n))
    lot = rng.random(n)
    weighed, drawn = lot < 0.5, (lot >= 0.5) & (lot < 0.8)
    centred = (rng.random(n) < 0.5) & (weighed | drawn)
    hidden = np.nan
    return pl.DataFrame(
        {
            "job_id": job_id,
            "body": pl.Series(["tray", "canopy"])[canopy.astype(int)],
            "length_mm": length,
            "width_mm": width,
            "height_mm": np.where(canopy, height, hidden),
            "sheet_mm": np.where(canopy, sheet, hidden),
            "floor_mm": np.array([2.5, 3.0])[rng.integers(0, 2, n)],
            "doors": pl.Series(np.where(canopy, rng.integers(1, 5, n), -1)).replace(-1, None),
            "painted": pl.Series(["no", "yes"])[rng.integers(0, 2, n)],
            "cad_kg": np.where(drawn, np.round(mass * 0.965, 1), hidden),
            "weighed_kg": np.where(weighed, np.round(mass / 5) * 5, hidden),
            "scale_step_kg": np.where(weighed, 5.0, hidden),
            "com_x_mm": np.where(centred, np.round(length * 0.52 + rng.normal(0, 30, n), 1), hidden),
            "com_y_mm": np.where(centred, np.round(rng.normal(0, 40, n), 1), hidden),
        }
    ).with_columns(pl.col(pl.Float64).fill_nan(None))


def _fitout(
    rng: np.random.Generator, layouts: Layouts, job_id: pl.Series, canopy: np.ndarray, length: np.ndarray, layout: np.ndarray
) -> pl.DataFrame:
    lines = np.diff(layouts.first)[layout]
    body = np.repeat(np.arange(len(layout)), lines)
    within = np.arange(len(body)) - np.repeat(np.cumsum(lines) - lines, lines)
    line = layouts.first[layout][body] + within
    item = layouts.item[line]
    along = np.array([entry.along for entry in ITEMS])[item]
    return pl.DataFrame(
        {
            "job_id": job_id[body],
            "body": pl.Series(["tray", "canopy"])[canopy.astype(int)[body]],
            "item_id": pl.Series([entry.item_id for entry in ITEMS])[item],
            "qty": np.where(rng.random(len(body)) < 0.06, 2, 1),
            "zone": pl.Series(ZONES.tolist())[layouts.zone[line]],
            "x_mm": (length[body] * along + rng.integers(-25, 26, len(body))).astype(int),
        }
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--bodies", type=lambda text: int(float(text)), default=1_000_000, help="1e3 to 1e7")
    parser.add_argument("--seed", type=int, default=0)
    call = parser.parse_args()
    for table, rows in write_history(call.folder, call.bodies, call.seed).items():
        print(f"{table:10} {rows:>12,}")


if __name__ == "__main__":
    main()
