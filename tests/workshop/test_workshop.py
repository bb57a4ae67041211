"""The generator keeps its own promises: others' tests stand on them."""

import csv

import numpy as np
import pytest

from workshop import INDUCTION, make_workshop, write_hand_in


def test_the_same_seed_and_switches_make_the_same_workshop():
    first, again, other = make_workshop(5, 80), make_workshop(5, 80), make_workshop(6, 80)
    for name, values in first.history.bodies.items():
        np.testing.assert_array_equal(values, again.history.bodies[name], err_msg=name)
    assert not np.array_equal(first.truth.history["mu_kg"], other.truth.history["mu_kg"])


SWITCHES = ({}, {"split": "time"}, {"pairs": 0.4, "repeats": 0.2, "tickets": 0.5}, {"lost": 0.4, "families": 6})


@pytest.mark.parametrize("switches", SWITCHES, ids=str)
def test_frames_fit_together(switches):
    shop = make_workshop(2, 150, **switches)
    for frames, truth in ((shop.history, shop.truth.history), (shop.drafts, shop.truth.drafts)):
        keys = list(zip(frames.bodies["job_id"], frames.bodies["body"], strict=True))
        assert keys == sorted(set(keys))
        assert len(truth["mu_kg"]) == len(keys)
        assert (frames.bodies["job_id"][frames.fitout["body_row"]] == frames.fitout["job_id"]).all()
        assert set(frames.bodies["job_id"]) == set(frames.jobs["job_id"])
    assert np.isnan(shop.drafts.bodies["weighed_kg"]).all()


def test_readings_scatter_about_the_truth_as_stated():
    shop = make_workshop(3, 3000, gross=0.0)
    truth, bodies = shop.truth.history, shop.history.bodies
    read = ~np.isnan(bodies["weighed_kg"])
    z = (bodies["weighed_kg"] - truth["mu_kg"])[read] / truth["sd_kg"][read]
    assert abs(z.mean()) < 4 / np.sqrt(read.sum())
    assert z.std() == pytest.approx(1, abs=0.06)
    drawn = ~np.isnan(bodies["cad_kg"])
    assert (bodies["cad_kg"] / truth["mu_kg"])[drawn].mean() == pytest.approx(1 - shop.truth.drawing_bias, abs=0.003)


def test_tickets_tell_the_bodies_masses_by_difference():
    """finished - bare, at the same fuel, less people, upgrade and what was bolted on between."""
    shop = make_workshop(4, 600, tickets=1.0, pairs=0.3)
    records = shop.history
    tank = dict(zip(records.vehicles["vehicle_id"], records.vehicles["fuel_l"], strict=True))
    upgrade = dict(zip(records.upgrades["upgrade_id"], records.upgrades["added_kg"], strict=True))
    errors = []
    for row in range(0, len(records.weighings["job_id"]), 2):
        job = np.flatnonzero(records.jobs["job_id"] == records.weighings["job_id"][row])[0]
        total, fuel, people = (records.weighings[name][row : row + 2] for name in ("total_kg", "fuel_fraction", "people_kg"))
        litres = tank[records.jobs["vehicle_id"][job]]
        bolted = (records.on_vehicle["job_id"] == records.jobs["job_id"][job]) & (records.on_vehicle["on_first_ticket"] == 0)
        told = total[1] - total[0] - (fuel[1] - fuel[0]) * litres * 0.835 - people[1]
        told -= upgrade.get(records.jobs["upgrade_id"][job], 0) + records.on_vehicle["kg"][bolted].sum()
        errors.append(told - shop.truth.history["actual_kg"][records.bodies["job_id"] == records.jobs["job_id"][job]].sum())
    assert len(errors) > 100
    assert np.mean(errors) == pytest.approx(0, abs=2.5)
    assert np.std(errors) < 12


def test_a_planted_change_is_there_and_gas_stays():
    shop = make_workshop(7, 6000, changes=(INDUCTION,), lost=0.3)
    bodies, fitout = shop.history.bodies, shop.history.fitout
    quoted = shop.history.jobs["quoted_on"][np.searchsorted(shop.history.jobs["job_id"].astype(str), bodies["job_id"].astype(str))]
    canopy = bodies["kind"] == "canopy"
    shares = {}
    for item in ("galley-induction", "galley-gas"):
        has = np.isin(np.arange(len(canopy)), fitout["body_row"][fitout["item_id"] == item])
        shares[item] = [has[canopy & (quoted < INDUCTION.on)].mean(), has[canopy & (quoted >= INDUCTION.on)].mean()]
    assert shares["galley-induction"] == pytest.approx([INDUCTION.before, INDUCTION.after], abs=0.05)
    assert shares["galley-gas"][0] == pytest.approx(shares["galley-gas"][1], abs=0.05)


def test_a_hand_in_has_no_column_from_another_table(tmp_path):
    shop = make_workshop(8, 60, checked=0.2, unlisted=0.1)
    write_hand_in(shop, tmp_path)
    with (tmp_path / "bodies.csv").open(newline="", encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    assert len(rows) == len(shop.history.bodies["job_id"])
    assert "vehicle_id" not in rows[0]
    assert {row["list_whole"] for row in rows} == {"", "yes"}
    whole = shop.history.bodies["list_whole"] == 1
    assert shop.truth.history["unlisted"][whole].sum() == 0 < shop.truth.history["unlisted"].sum()
