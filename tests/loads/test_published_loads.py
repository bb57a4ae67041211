"""Published values of statics, mass and dimensions; the source stands beside each."""

from __future__ import annotations

import numpy as np
import pytest
from loads_rig import NOBODY, cell, checked, terms, work

from pipeline.loads.statics import axle_loads, centre_from_axles, left_share, resultant

G = 9.8
LB = 0.45359237
INCH = 25.4


def test_a_load_behind_the_rear_axle_lifts_the_front():
    """Hyundai, Body Builder Manual Part II LCV, V1.0, Feb 2015, A.2 p. 265."""
    front, rear = axle_loads(1500, 4400, 3670)
    assert rear == pytest.approx(1798, abs=1)
    assert front == pytest.approx(-298, abs=1)


def test_the_centre_of_mass_comes_back_from_axle_masses():
    """Hyundai, same manual, p. 268: a = L·rear/total, inside the wheelbase."""
    front, rear = axle_loads(2310.0, 1466.0, 3670.0)
    assert centre_from_axles(front, rear, 3670.0) == pytest.approx(1466.0, rel=1e-9)


def test_a_load_spread_over_a_body():
    """Peterbilt, body builder manual, Aug 2014, App. B: 14 500 lb over 168 in from 72 in behind the front axle, wheelbase 214 in."""
    vehicle = {"wheelbase_mm": 214 * INCH, "headboard_to_rear_axle_mm": (214 - 72) * INCH}
    laden = checked(work(vehicle, [{"length_mm": 168 * INCH, "kg": 14_500 * LB}]))
    bare = checked(work(vehicle))
    assert (cell(laden, "rear_axle") - cell(bare, "rear_axle")) / LB == pytest.approx(10_570, abs=0.1)
    assert (cell(laden, "front_axle") - cell(bare, "front_axle")) / LB == pytest.approx(3929.9, abs=0.1)


def test_the_centre_of_a_car_from_its_wheel_loads():
    """Jazar, Vehicle Dynamics, Ex. 40: L 2.34 m, per wheel front 2000 N, rear 1800 N."""
    a1 = centre_from_axles(2 * 2000, 2 * 1800, 2.34)
    assert a1 == pytest.approx(1.1084, abs=5e-5)
    assert 2.34 - a1 == pytest.approx(1.2316, abs=5e-5)


def test_a_car_with_52_percent_on_the_front():
    """OpenStax University Physics 1, Ex. 12.1: the centre is 1.3 m ahead of the rear axle."""
    assert 2.5 - centre_from_axles(0.52, 0.48, 2.5) == pytest.approx(1.3, abs=1e-9)


def test_a_beam_on_two_piers():
    """OpenStax College Physics 9.4: 1000 kg at 5 m of a 20 m span."""
    near, far = axle_loads(1000 * G, 5, 20)
    assert (float(near), float(far)) == (pytest.approx(7350), pytest.approx(2450))


def test_a_seesaw_balances():
    """OpenStax College Physics, Ex. 9.1: 26.0 kg at 1.60 m against 32.0 kg."""
    at = 26.0 * 1.60 / 32.0
    mass, centre = resultant([26.0, 32.0], [-1.60, at])
    assert at == pytest.approx(1.30, abs=0.005)
    assert centre == pytest.approx(0, abs=1e-12)
    assert mass * G == pytest.approx(568, abs=0.5)


def test_a_metre_stick_balances():
    """OpenStax University Physics, sec. 12.2: 50 g at 70 cm, 75 g at 40, stick 150 g at 20 of one side; other side at 30 cm."""
    known, centre = resultant([50, 75, 150], [70, 40, 20])
    other = known * centre / 30
    assert other == pytest.approx(316 + 2 / 3, abs=0.1)
    total, middle = resultant([50, 75, 150, other], [-70, -40, -20, 30])
    assert middle == pytest.approx(0, abs=1e-9)
    assert total / 1000 * G == pytest.approx(5.8, abs=0.1)


def test_a_plank_on_two_ropes():
    """OpenStax University Physics, ch. 12: plank 40 kg × 6 m, 80 kg at 1.0 m, kit 1.5 m from the right end, T_left = 2 T_right."""
    kit = np.linspace(0, 40, 4001)
    left, right = (sum(parts) for parts in zip(axle_loads(40, 3, 6), axle_loads(80, 1, 6), axle_loads(kit, 4.5, 6), strict=True))
    at = int(np.argmin(np.abs(left - 2 * right)))
    assert kit[at] == pytest.approx(16.0, abs=0.01)
    assert right[at] * G == pytest.approx(444.3, abs=0.1)
    assert left[at] * G == pytest.approx(888.5, abs=0.1)


def test_the_lateral_share_at_zero_bank():
    """Jazar, Vehicle Dynamics, eq. 2.198-2.200: left = b2 / w."""
    track, b2 = 1570.0, 600.0
    assert left_share(2000.0, 2000.0 * (track / 2 - b2), track) == pytest.approx(b2 / track, rel=1e-9)


def test_a_rating_is_made_of_vehicle_cargo_and_seats():
    """49 CFR 567.4(g)(3) and 571.110 S3: vehicle + rated cargo + 68 kg × seats ≤ GVWR; equal, no margin is left."""
    cargo, seats = 640.0, 5
    people = [{"kg": 68.0, "seat": "front"}] * 2 + [{"kg": 68.0, "seat": "rear"}] * 3
    vehicle = {"tub_kg": 0.0, "gvm_kg": 2200 + cargo + 68 * seats}
    result = checked(work(vehicle), people=people, luggage_kg=cargo)
    assert cell(result, "gvm", "margin") == pytest.approx(0, abs=1e-9)
    assert cell(result, "seats", "margin") == 0


def test_the_default_people_are_the_normal_load_of_a_small_vehicle():
    """49 CFR 571.110 Table I: 2 to 4 seats are normally taken by two people, in the front row."""
    result = checked(work({"seats": 4}))
    seated = [line["label"] for line in result.board.lines(0) if line["label"].startswith("person")]
    assert [label.split()[1] for label in seated] == ["front", "front"]


def test_what_five_people_leave_of_a_capacity():
    """49 CFR 575.6, load-limit steps: 1400 lb and five people of 150 lb leave 650 lb."""
    people = [{"kg": 150 * LB, "seat": "front"}] * 2 + [{"kg": 150 * LB, "seat": "rear"}] * 3
    result = checked(work({"tub_kg": 0.0, "gvm_kg": 2200 + 1400 * LB}), people=people, luggage_kg=0.0)
    assert cell(result, "gvm", "margin") / LB == pytest.approx(650, abs=1e-9)


def test_kerb_is_tare_and_the_rest_of_the_tank():
    """NRMA guidance, 10 Aug 2023: tare has 10 L of fuel, kerb a full tank; 80 L at 0.835 kg/L: 58.45 kg apart."""
    tare, kerb = (checked(work({"empty_basis": basis}), **NOBODY) for basis in ("tare", "kerb"))
    assert cell(tare, "gvm") - cell(kerb, "gvm") == pytest.approx(58.45, abs=0.01)


def test_the_ball_does_not_count_twice_in_gcm():
    """ADR, Definitions and Vehicle Categories 2005: GCM is vehicle plus trailer axle load; the ball carries ATM − GTM."""
    atm, gtm = 2000.0, 1800.0
    alone = checked(work(), **NOBODY)
    towing = checked(work(), **NOBODY, trailer_kg=atm, ball_kg=atm - gtm)
    assert cell(towing, "gvm") - cell(alone, "gvm") == pytest.approx(atm - gtm)
    assert cell(towing, "gcm") - cell(alone, "gvm") == pytest.approx(atm)
    assert cell(towing, "towed") == atm


def test_total_axles_and_tyres_are_separate_limits():
    """Road Transport Reform (Mass and Loading) Regulations, Schedule, cl. 1.1-1.2: the worst governs."""
    tight = checked(work({"rear_tyres_kg": 1200}, [{"kg": 500}]))
    assert cell(tight, "rear_tyres", "margin") < 0 < cell(tight, "rear_axle", "margin")
    first = tight.limits.table()["limit"][0]
    assert first == "rear_tyres"


@pytest.mark.parametrize(("gvm_kg", "verdict"), [(4500, "under"), (4501, "over")])
def test_a_heavy_vehicle_starts_over_4500_kg(gvm_kg, verdict):
    """Government of South Australia, light vehicle mass re-rating."""
    table = checked(work({"gvm_kg": gvm_kg}), terms("AU")).limits.table()
    assert table["verdict"][table["limit"] == "heavy"] == [verdict]


@pytest.fixture
def fully_fitted():
    """Common practice, no source: tub off a tare of 2248, tray 238, canopy 425, outside fittings 48; fuel as in tare, 120 kg of water."""
    vehicle = {"empty_kg": 2248, "empty_basis": "tare", "empty_front_kg": None, "empty_rear_kg": None}
    bodies = [{"body": "tray", "kg": 238}, {"kg": 425}, {"body": "box", "kg": 48}]
    travel = {"people": [{"kg": 70.0}] * 2, "luggage_kg": 50.0, "water_l": 120.0, "fuel_fraction": 10 / 80}
    return work(vehicle, bodies, upgrades=[{"upgrade_id": "U300", "gvm_kg": 3500, "added_kg": 0}]), travel


def test_a_fully_fitted_pickup_and_its_upgrade(fully_fitted):
    """Common practice, no source: margin 56, with a 300 kg upgrade 356; with 200 kg on the ball 156, and 144 over without the upgrade."""
    made, travel = fully_fitted
    plain = checked(made, every_upgrade=True, **travel)
    towing = checked(made, every_upgrade=True, **travel, trailer_kg=2000.0, ball_kg=200.0)
    assert [cell(plain, "gvm", "margin", case) for case in (0, 1)] == pytest.approx([56, 356])
    assert [cell(towing, "gvm", "margin", case) for case in (0, 1)] == pytest.approx([-144, 156])


def test_a_lighter_pickup():
    """Common practice, no source: tray 238, canopy 310, outside fittings 30, fuel and water 120, people 190: margin 189, 489."""
    vehicle = {"empty_kg": 2248, "empty_basis": "tare", "empty_front_kg": None, "empty_rear_kg": None}
    bodies = [{"body": "tray", "kg": 238}, {"kg": 310}, {"body": "box", "kg": 30}]
    made = work(vehicle, bodies, upgrades=[{"upgrade_id": "U300", "gvm_kg": 3500, "added_kg": 0}])
    result = checked(made, every_upgrade=True, people=[{"kg": 140.0}], luggage_kg=50.0, water_l=120.0, fuel_fraction=10 / 80)
    assert [cell(result, "gvm", "margin", case) for case in (0, 1)] == pytest.approx([189, 489])


@pytest.mark.parametrize(
    ("size_class", "kg", "verdict"), [("midsize", 463, "over"), ("midsize", 462, "under"), ("fullsize", 463, "unknown")]
)
def test_tray_plus_canopy_over_700_kg_is_not_built_on_a_midsize_vehicle(size_class, kg, verdict):
    """Common practice, no source; a setting by size class."""
    table = checked(work({"size_class": size_class}, [{"body": "tray", "kg": 238}, {"kg": kg}])).limits.table()
    assert table["verdict"][table["limit"] == "shop_rule"] == [verdict]


@pytest.mark.parametrize(
    ("country", "wheelbase_mm", "most_mm"),
    [
        # NHVR, general mass and dimension limits: the lesser of 3.7 m and 60 % of the wheelbase
        ("AU", 3220, 1932), ("AU", 6200, 3700),
        # NRTR 2000 reg 226(2): 60 % of the wheelbase
        ("ZA", 3200, 1920), ("ZA", 6200, 3720),
    ],
)  # fmt: skip
def test_rear_overhang_by_country(country, wheelbase_mm, most_mm):
    result = checked(work({"wheelbase_mm": wheelbase_mm}, [{}]), terms(country))
    assert cell(result, "overhang", "rating") == pytest.approx(most_mm)


@pytest.mark.parametrize(
    ("country", "limit", "most_mm"),
    [
        # New South Wales, VSI 5 rev 5, 2012
        ("AU", "width", 2500), ("AU", "height", 4300),
        # NRTR 2000 reg 223
        ("ZA", "width", 2500),
        # Reg. (EU) 1230/2012, Annex I Part C
        ("EU", "width", 2550), ("EU", "height", 4000),
    ],
)  # fmt: skip
def test_width_and_height_by_country(country, limit, most_mm):
    result = checked(work({"deck_height_mm": 900}, [{}]), terms(country))
    assert cell(result, limit, "rating") == most_mm


def test_there_is_no_european_row_for_overhang():
    """Reg. (EU) 1230/2012 has none for these vehicles."""
    table = checked(work(bodies=[{}]), terms("EU")).limits.table()
    assert table["verdict"][table["limit"] == "overhang"] == ["unknown"]


def test_load_taken_off_behind_the_rear_axle_loads_the_front():
    """UK van driver toolkit: d front / d load < 0 for a load behind the rear axle."""
    behind = {"length_mm": 400, "offset_mm": 1500}
    front = [cell(checked(work(bodies=[behind | {"kg": kg}])), "front_axle") for kg in (100, 200)]
    assert front[1] < front[0]
