"""Mass over the years, what drives it, and what pays."""

from __future__ import annotations

from datetime import date

import numpy as np
import polars as pl
import pytest
from random_edition import random_edition
from small_edition import edition, with_families

from pipeline.layouts.views import Clause
from pipeline.settings_layouts import LayoutSettings
from pipeline.trends.changes import Window
from pipeline.trends.mass import mass_by_year, mass_drivers, what_pays

LAYOUTS = LayoutSettings()


def test_medians_and_kg_per_metre_are_those_of_numpy():
    con = random_edition(21)
    found = mass_by_year(con, Clause(), LAYOUTS)
    rows = con.execute(
        "select kind, floor(length_mm / 250) * 250, year(sold_on), coalesce(weighed_kg, cad_kg), length_mm from current_bodies"
        " where counted and status in ('ordered', 'delivered') and sold_on is not null and coalesce(weighed_kg, cad_kg) is not null"
    ).fetchall()
    groups: dict[tuple, list] = {}
    for kind, length, year, kg, exact in rows:
        groups.setdefault((kind, int(length), year), []).append((kg, kg * 1000 / exact))
    assert found.height == len(groups) > 10
    for row in found.iter_rows(named=True):
        kg, per_m = np.array(groups[row["kind"], row["length_from_mm"], row["year"]]).T
        assert row["bodies"] == len(kg)
        assert (row["mass_low_kg"], row["mass_kg"], row["mass_high_kg"]) == pytest.approx(tuple(np.quantile(kg, [0.1, 0.5, 0.9])))
        assert row["kg_per_m"] == pytest.approx(np.median(per_m))


def test_what_an_item_adds_is_its_change_a_body_times_its_mass():
    items = [
        {"item_id": "battery", "label": "battery", "group": "power", "datasheet_kg": 20.0},
        {"item_id": "rack", "label": "rack", "group": "roof", "datasheet_kg": 5.0, "datasheet_kg_per_m": 10.0},
        {"item_id": "secret", "label": "secret", "group": "storage"},
    ]
    jobs = [{"job_id": f"J{year}{at}", "ordered_on": date(year, 6, 1 + at)} for year in (2025, 2026) for at in range(4)]
    bodies = [{"job_id": job["job_id"], "body": "canopy", "length_mm": 2000.0} for job in jobs]
    held = {"J20250": {"battery": 1}, "J20260": {"battery": 2, "rack": 1}, "J20261": {"battery": 1, "secret": 1}, "J20262": {"battery": 1}}
    fitout = [
        {"job_id": job, "body": "canopy", "item_id": item, "qty": float(qty)} for job, row in held.items() for item, qty in row.items()
    ]
    con = with_families(edition(items=items, jobs=jobs, bodies=bodies, fitout=fitout))
    found = mass_drivers(con, Clause(), Window(date(2025, 1, 1), date(2026, 1, 1), date(2027, 1, 1)), LAYOUTS)
    assert found.select("item_id", "each_before", "each_now", "item_kg", "adds_kg").rows() == [
        ("battery", 0.25, 1.0, 20.0, 15.0),
        ("rack", 0.0, 0.25, 25.0, 6.25),
        ("secret", 0.0, 0.25, None, None),
    ]


def test_a_job_of_two_bodies_is_never_split_and_counts_under_both():
    jobs = [
        {"job_id": "A", "ordered_on": date(2026, 1, 1), "price": 30000.0, "cost": 20000.0, "labour_h": 100.0, "quoted_h": 80.0},
        {"job_id": "B", "ordered_on": date(2026, 1, 2), "price": 10000.0},
        {"job_id": "C", "status": "lost", "price": 99.0},
    ]
    bodies = [
        {"job_id": "A", "body": "tray", "length_mm": 2000.0, "weighed_kg": 200.0},
        {"job_id": "A", "body": "canopy", "length_mm": 1500.0, "weighed_kg": 300.0},
        {"job_id": "B", "body": "canopy", "length_mm": 1500.0},
        {"job_id": "C", "body": "canopy", "length_mm": 1500.0},
    ]
    found = what_pays(with_families(edition(jobs=jobs, bodies=bodies)), Clause(), LAYOUTS)
    rows = {row["value"]: row for row in found.iter_rows(named=True) if row["kind"] == "length"}
    long, short = rows["2000-2249"], rows["1500-1749"]
    assert (long["jobs"], long["price"], long["left_over"], long["left_over_an_hour"]) == (1, 30000.0, 10000.0, 100.0)
    assert (long["booked_to_quoted"], long["labour_h_per_kg"], long["price_per_kg"]) == pytest.approx((1.25, 0.2, 60.0))
    assert (short["jobs"], short["jobs_priced"], short["price"], short["revenue"]) == (2, 2, 20000.0, 40000.0)
    assert (short["jobs_with_cost"], short["jobs_with_hours"], short["price_per_kg"]) == (1, 1, 60.0)


def test_what_pays_by_items_counts_a_job_once_though_both_its_bodies_hold_one():
    jobs = [
        {"job_id": "A", "ordered_on": date(2026, 1, 1), "price": 30000.0},
        {"job_id": "B", "ordered_on": date(2026, 1, 2), "price": 10000.0},
        {"job_id": "C", "ordered_on": date(2026, 1, 3), "price": 14000.0},
    ]
    bodies = [{"job_id": job, "body": body, "length_mm": 1500.0, "weighed_kg": 250.0}
              for job, body in (("A", "tray"), ("A", "canopy"), ("B", "canopy"), ("C", "canopy"))]  # fmt: skip
    items = [{"item_id": name, "label": name, "group": "power"} for name in ("battery", "inverter")]
    held = {
        ("A", "tray"): ("battery",),
        ("A", "canopy"): ("battery", "inverter"),
        ("B", "canopy"): ("battery",),
        ("C", "canopy"): ("battery",),
    }
    fitout = [{"job_id": job, "body": body, "item_id": item, "qty": 2.0} for (job, body), names in held.items() for item in names]
    con = with_families(edition(items=items, jobs=jobs, bodies=bodies, fitout=fitout))
    found = what_pays(con, Clause(), LAYOUTS, "item")
    assert found.select("value", "jobs", "revenue", "price", "price_per_kg").rows() == [
        ("battery", 3, 54000.0, 14000.0, 56.0),  # per kg: 60 of A's 500 kg, 40, 56
        ("inverter", 1, 30000.0, 30000.0, 60.0),
    ]
    assert found.equals(what_pays(con, Clause(), LAYOUTS).filter(pl.col("kind") == "item"))
