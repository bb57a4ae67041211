"""Past jobs against their limits: measured before estimated, and tickets beside what was added up."""

from __future__ import annotations

import time

import numpy as np
import pytest
from loads_rig import terms, work

from pipeline.loads.margins import COLUMNS, delivered, history_margins, ticket_check
from pipeline.settings_loads import TravelLoad

JOBS = [{"job_id": f"J{n}", "vehicle_id": "V1", "status": "delivered"} for n in (1, 2)]
BODIES = [{"job_id": "J1", "kg": 400}, {"job_id": "J2", "kg": 800}]
FINISHED = {"job_id": "J1", "ticket": "F", "weighed_on": "2026-06-10", "state": "finished", "total_kg": 2560, "front_kg": 1260,
            "rear_kg": 1300, "fuel_fraction": 1.0, "people_kg": 85}  # fmt: skip


def row(frame, job_id, load):
    at = np.flatnonzero((frame["job_id"] == job_id) & (frame["load"] == load))
    assert len(at) == 1
    return {name: values[at[0]] for name, values in frame.items()}


def test_each_job_stands_twice_and_the_fullest_first():
    frame = history_margins(*work(jobs=JOBS, bodies=BODIES), TravelLoad(), terms())
    assert tuple(frame)[: len(COLUMNS)] == COLUMNS
    assert frame["job_id"].tolist() == ["J2", "J2", "J1", "J1"]
    assert frame["load"].tolist()[0] == "travel"
    as_delivered = row(frame, "J1", "delivered")
    assert as_delivered["laden_kg"] == pytest.approx(2075 + 400)
    assert as_delivered["margin_kg"] == pytest.approx(3200 - 2475)
    assert row(frame, "J1", "travel")["laden_kg"] == pytest.approx(2475 + 190)


def test_a_finished_ticket_says_what_is_on_it():
    frame = history_margins(*work(jobs=JOBS, bodies=BODIES, weighings=[FINISHED]), TravelLoad(), terms())
    by_ticket, by_parts = row(frame, "J1", "delivered"), row(frame, "J2", "delivered")
    assert (by_ticket["laden_source"], by_parts["laden_source"]) == ("finished ticket", "parts")
    assert by_ticket["laden_kg"] == pytest.approx(2560 - 85)
    assert by_ticket["rear_kg"] == pytest.approx(1300 - 85 * 0.45)
    assert row(frame, "J1", "travel")["laden_kg"] == pytest.approx(2475 + 190)


def test_the_ticket_is_laid_beside_what_was_added_up():
    loaded = FINISHED | {"ticket": "L", "state": "loaded", "total_kg": 2800, "people_kg": 140, "water_l": 60, "other_kg": 120,
                         "fuel_fraction": 0.5}  # fmt: skip
    check = ticket_check(*work(jobs=JOBS, bodies=BODIES, weighings=[FINISHED, loaded]), terms())
    assert check["state"].tolist() == ["finished", "loaded"]
    assert check["reckoned_kg"][0] == pytest.approx(2475)
    assert check["apart_kg"][0] == pytest.approx(0)
    assert check["apart_kg"][1] == pytest.approx(2800 - 320 - (2475 - 80 * 0.835 / 2))
    assert check["sd_kg"][0] == pytest.approx(20 / 12**0.5)


def test_sources_of_bodies_are_named_surest_first():
    made, assessed = work(jobs=JOBS, bodies=[*BODIES, {"job_id": "J1", "body": "tray", "kg": 150}])
    assessed.source[:] = ["estimate", "cad", "weighed"]
    frame = history_margins(made, assessed, TravelLoad(), terms())
    assert row(frame, "J1", "travel")["body_source"] == "weighed+estimate"
    assert row(frame, "J2", "travel")["body_source"] == "cad"


def test_without_axle_masses_the_rear_has_no_margin():
    frame = history_margins(*work({"empty_front_kg": None, "empty_rear_kg": None}, BODIES, JOBS), TravelLoad(), terms())
    assert np.isnan(frame["rear_margin_kg"]).all()
    assert np.isfinite(frame["margin_kg"]).all()


def test_only_delivered_jobs_are_history():
    jobs = [JOBS[0], JOBS[1] | {"status": "quoted"}]
    lines = [{"item_id": "a", "body_row": 1}, {"item_id": "b", "body_row": 0}]
    kept, known = delivered(*work(jobs=jobs, bodies=BODIES[::-1], fitout=lines))
    assert kept.jobs["job_id"].tolist() == ["J1"]
    assert known.kg.tolist() == [400]
    assert (kept.fitout["item_id"].tolist(), kept.fitout["body_row"].tolist()) == (["a"], [0])


def test_two_thousand_jobs_take_under_a_second():
    jobs = [{"job_id": f"J{n}", "vehicle_id": "V1", "status": "delivered"} for n in range(2000)]
    bodies = [{"job_id": f"J{n}", "kg": 300 + n / 10} for n in range(2000)]
    made = work(jobs=jobs, bodies=bodies)
    history_margins(*made, TravelLoad(), terms())
    start = time.process_time()
    history_margins(*made, TravelLoad(), terms())
    assert time.process_time() - start < 1.0
