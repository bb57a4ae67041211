"""What is on a vehicle: bases, tickets, places that are assumed, and what has to hold of any load."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from loads_rig import NOBODY, cell, checked, terms, work

from pipeline.frames import take
from pipeline.loads.check import check, check_cases, spreads_of_history
from pipeline.loads.limits import LIMITS
from pipeline.loads.loading import Loading
from pipeline.loads.marks import TEXTS, Mark
from pipeline.settings_loads import TravelLoad

KG_OF_80_L = 80 * 0.835
masses = st.floats(0, 400)
places = st.floats(-500, 2500)


def why(result, limit):
    table = result.limits.table()
    return table["why"][table["limit"] == limit][0]


def test_lines_add_up_to_what_is_on_the_vehicle():
    made = work(bodies=[{"kg": 320, "com_y_mm": 30}], on_vehicle=[{"label": "bull bar", "kg": 62, "x_mm": -700}])
    result = checked(made, water_l=60.0, extra=[{"label": "tent", "kg": 60.0, "x_mm": 700.0}])
    lines = result.board.lines(0)
    assert sum(line["kg"] for line in lines) == pytest.approx(cell(result, "gvm"))
    assert sum(line["kg"] * line["x_mm"] for line in lines) / 3220 == pytest.approx(cell(result, "rear_axle"))
    assert [line["group"] for line in lines] == sorted(
        (line["group"] for line in lines), key=("stays", "comes off", "we build", "people bring").index
    )


def test_front_and_rear_make_the_whole():
    result = checked(work(bodies=[{"kg": 320}]))
    assert cell(result, "front_axle") + cell(result, "rear_axle") == pytest.approx(cell(result, "gvm"))


def test_the_basis_decides_which_fuel_and_driver_are_in_the_figure():
    full = {basis: cell(checked(work({"empty_basis": basis, "tub_kg": 0}), **NOBODY), "gvm") for basis in ("kerb", "tare", "running-order")}
    assert full["kerb"] == pytest.approx(2200)
    assert full["tare"] == pytest.approx(2200 + 70 * 0.835)
    assert full["running-order"] == pytest.approx(2200 + 0.1 * KG_OF_80_L - 75)


def test_the_tub_leaves_from_its_place():
    over_axle = checked(work(), **NOBODY)
    ahead = checked(work({"tub_x_mm": 2820}), **NOBODY)
    assert cell(over_axle, "gvm") == cell(ahead, "gvm") == 2200 - 125
    assert cell(over_axle, "rear_axle") == pytest.approx(960 - 125)
    assert cell(ahead, "rear_axle") == pytest.approx(960 - 125 * 2820 / 3220)


def test_a_bare_ticket_comes_before_the_maker_and_already_lacks_the_tub():
    ticket = {"weighed_on": "2026-01-20", "state": "bare", "total_kg": 2040, "front_kg": 1240, "rear_kg": 800, "scale_step_kg": 20,
              "fuel_fraction": 0.5, "people_kg": 80}  # fmt: skip
    result = checked(work(weighings=[ticket]), **NOBODY)
    assert cell(result, "gvm") == pytest.approx(2040 - 80 + KG_OF_80_L / 2)
    assert cell(result, "rear_axle") == pytest.approx(800 - 80 * 0.45 + KG_OF_80_L / 2 * 0.62)
    assert cell(result, "gvm", "sd") == pytest.approx(20 / 12**0.5)
    assert "own ticket, bare" in why(result, "gvm")


def test_an_arrived_ticket_still_has_the_tub_and_what_was_on_it():
    ticket = {"weighed_on": "2026-01-20", "state": "arrived", "total_kg": 2240, "fuel_fraction": 1.0}
    parts = [
        {"label": "bull bar", "kg": 62, "x_mm": -700, "on_first_ticket": 1},
        {"label": "tow bar", "kg": 38, "x_mm": 4300, "on_first_ticket": 0},
        {"label": "second battery", "kg": 20, "x_mm": 300, "put_on_by": "dealer"},
    ]  # fmt: skip
    result = checked(work(weighings=[ticket], on_vehicle=parts), **NOBODY)
    assert cell(result, "gvm") == pytest.approx(2240 - 125 + 38)
    assert "by who put it on" in why(result, "gvm")


def test_the_newest_bare_ticket_counts_and_two_of_a_day_are_averaged():
    tickets = [
        {"ticket": "1", "weighed_on": "2026-01-20", "state": "bare", "total_kg": 2000, "fuel_fraction": 1.0},
        {"ticket": "2", "weighed_on": "2026-02-20", "state": "bare", "total_kg": 2040, "fuel_fraction": 1.0},
        {"ticket": "3", "weighed_on": "2026-02-20", "state": "bare", "total_kg": 2060, "fuel_fraction": 1.0},
        {"ticket": "4", "weighed_on": "2026-03-20", "state": "arrived", "total_kg": 9000, "fuel_fraction": 1.0},
    ]
    result = checked(work(weighings=tickets), **NOBODY)
    assert cell(result, "gvm") == pytest.approx(2050)
    assert cell(result, "gvm", "sd") == pytest.approx(20 / 24**0.5)


def test_unknown_fuel_on_a_ticket_widens_it():
    known, unknown = (
        checked(work(weighings=[{"weighed_on": "2026-01-20", "state": "bare", "total_kg": 2040, "fuel_fraction": fuel}]), **NOBODY)
        for fuel in (0.5, None)
    )
    assert cell(unknown, "gvm") == pytest.approx(cell(known, "gvm"))
    assert cell(unknown, "gvm", "sd") == pytest.approx(np.hypot(cell(known, "gvm", "sd"), KG_OF_80_L / 12**0.5))


def test_a_workshop_job_by_its_tickets():
    """Bodies of 191.5 (drawn) and 402 kg (weighed) on a vehicle that came on its tub and left on a ticket of 2880 with a driver of 85."""
    vehicle = {"empty_kg": 2248, "empty_front_kg": None, "empty_rear_kg": None}
    bodies = [{"body": "tray", "length_mm": 1780, "kg": 191.5}, {"length_mm": 1700, "kg": 402}]
    parts = [
        {"label": "tow bar", "kg": 38, "x_mm": 4300, "put_on_by": "workshop", "on_first_ticket": 0},
        {"label": "bull bar", "kg": 62, "x_mm": -700, "put_on_by": "dealer", "on_first_ticket": 1},
        {"label": "spare wheel from under the tub", "kg": -32, "x_mm": 4000, "on_first_ticket": 0},
        {"label": "spare wheel on the back wall", "kg": 32, "x_mm": 3950, "on_first_ticket": 0},
    ]  # fmt: skip
    ticket = {"weighed_on": "2026-03-02", "state": "arrived", "total_kg": 2240, "front_kg": 1300, "rear_kg": 940, "fuel_fraction": 0.5}
    upgrade = {"upgrade_id": "U", "gvm_kg": 3500, "added_kg": 18, "added_x_mm": 3220}
    jobs = [{"job_id": "J1", "vehicle_id": "V1", "upgrade_id": "U"}]
    result = checked(work(vehicle, bodies, jobs, [upgrade], weighings=[ticket], on_vehicle=parts), **NOBODY)
    assert cell(result, "gvm") == pytest.approx(2240 + KG_OF_80_L / 2 - 125 + 38 + 18 + 593.5)
    assert cell(result, "gvm") - (2880 - 85) == pytest.approx(2.9, abs=0.05)


def test_an_upgrade_changes_ratings_wheelbase_and_mass():
    upgrade = {"upgrade_id": "U", "gvm_kg": 3500, "rear_limit_kg": 2250, "added_kg": 40, "added_x_mm": 1610, "wheelbase_added_mm": 300}
    result = checked(work(bodies=[{"kg": 300}], upgrades=[upgrade]), every_upgrade=True, **NOBODY)
    assert result.cases["upgrade_id"].tolist() == [None, "U"]
    assert cell(result, "gvm", "rating", 1) == 3500
    assert cell(result, "front_axle", "rating", 1) == 1480
    assert cell(result, "rear_axle", "rating", 1) == 2250
    assert cell(result, "gvm", case=1) == cell(result, "gvm") + 40
    body_x = 3520 - 760 + 800
    assert cell(result, "rear_axle", case=1) == pytest.approx(960 - 125 + 40 * 1610 / 3520 + 300 * body_x / 3520)


def test_water_fills_what_holds_it_and_then_the_middle_under_the_tray():
    items = [{"item_id": "tank", "label": "tank", "holds_l": 40}]
    lines = [{"item_id": "tank", "x_mm": 200, "y_mm": -500}]
    bodies = [{"length_mm": 1600}, {"body": "tray", "length_mm": 2000}]
    half, more = (checked(work(bodies=bodies, fitout=lines, items=items), **NOBODY, water_l=litres) for litres in (20.0, 60.0))
    water = [(line["label"], line["kg"], line["x_mm"]) for line in half.board.lines(0) if "water" in line["label"]]
    assert water == [("water in tank", 20.0, 3220 - 760 + 200)]
    water = [(line["label"], line["kg"], line["x_mm"]) for line in more.board.lines(0) if "water" in line["label"]]
    assert water == [("water in tank", 40.0, 3220 - 760 + 200), ("water beyond what the tanks hold", 20.0, 3220 - 760 + 1000)]


def test_people_sit_by_row_and_side():
    result = checked(work(), people=[{"kg": 80.0, "seat": "rear", "side": "right"}], luggage_kg=0.0)
    person = next(line for line in result.board.lines(0) if line["label"] == "person, rear right")
    assert (person["x_mm"], person["y_mm"]) == (3220 - 760 - 400, 370)
    assert cell(result, "side") > 50


def test_nobody_sits_behind_in_a_single_cab():
    result = checked(work({"cab": "single", "seats": 3}), people=[{"kg": 80.0, "seat": "rear"}])
    table = result.limits.table()
    assert table["verdict"][table["limit"] == "seats"] == ["over"]
    assert "single cab" in why(result, "seats")


def test_axles_without_empty_masses_are_shown_without_a_verdict():
    result = checked(work({"empty_front_kg": None, "empty_rear_kg": None}, [{"kg": 900}]))
    table = result.limits.table()
    for limit in ("front_axle", "rear_axle"):
        row = table["limit"] == limit
        assert table["verdict"][row] == ["unknown"]
        assert np.isfinite(table["value"][row]).all()
        assert "assumed: front and rear share" in table["why"][row][0]


@pytest.mark.parametrize(
    ("lack", "limit"),
    [
        ("empty_kg", "gvm"), ("gvm_kg", "gvm"), ("gcm_kg", "gcm"), ("wheelbase_mm", "rear_axle"),
        ("headboard_to_rear_axle_mm", "rear_axle"),
        ("rear_limit_kg", "rear_axle"),
        ("tow_limit_kg", "towed"), ("deck_height_mm", "height"), ("rear_tyres_kg", "rear_tyres"),
    ],
)  # fmt: skip
def test_what_is_missing_is_named_and_gives_no_verdict(lack, limit):
    result = checked(work({lack: None}, [{"kg": 300}]), terms("AU"))
    table = result.limits.table()
    row = table["limit"] == limit
    assert table["verdict"][row] == ["unknown"]
    assert "not known" in table["why"][row][0]


def test_without_a_country_there_is_no_verdict_on_dimensions():
    table = checked(work({"deck_height_mm": 900}, [{}])).limits.table()
    for limit in ("overhang", "width", "height", "heavy"):
        assert table["verdict"][table["limit"] == limit] == ["unknown"]
        assert table["why"][table["limit"] == limit][0].startswith("no country")


def test_what_counts_as_nothing_is_said():
    jobs = [{"job_id": "J1", "vehicle_id": "V1", "upgrade_id": "U"}]
    made = work({"fuel_l": None, "tub_kg": None}, [{"kg": 300, "offset_mm": None}], jobs,
                [{"upgrade_id": "U", "gvm_kg": 3500}])  # fmt: skip
    result = checked(made, **NOBODY, extra=[{"label": "tent", "kg": 60.0}])
    assert cell(result, "gvm") == pytest.approx(2200 + 300 + 60)
    for words in ("the tank is not known", "nothing leaves with a tub", "the upgrade weighs nothing"):
        assert words in why(result, "gvm")
    for words in ("no gap between headboard and body", "an extra without a place over the rear axle"):
        assert words in why(result, "rear_axle")


def test_the_lower_of_vehicle_and_tow_bar_wins():
    jobs = [{"job_id": "J1", "vehicle_id": "V1", "towbar_tow_kg": 2500, "towbar_ball_kg": 400}]
    result = checked(work(jobs=jobs), trailer_kg=2600.0, ball_kg=260.0)
    assert (cell(result, "towed", "rating"), cell(result, "ball", "rating")) == (2500, 350)
    table = result.limits.table()
    assert table["limit"][0] == "towed"


def test_overhang_counts_what_sticks_out_and_the_coupling_only_where_set():
    bodies = [{"length_mm": 1800, "offset_mm": 40, "sticks_out_mm": 250}]
    assert cell(checked(work(bodies=bodies), terms("AU")), "overhang") == 40 + 1800 + 250 - 760
    short = [{"length_mm": 800}]
    assert cell(checked(work(bodies=short), terms("AU", coupling_counts=True)), "overhang") == 1250


def test_a_body_that_lifts_off_is_judged_with_and_without():
    """Behind the rear axle it lifts the front, so that without it the front may be the fuller."""
    behind = {"kg": 400, "offset_mm": 1500, "lift_off": 1}
    result = checked(work(bodies=[behind]))
    on, off = (checked(work(bodies=bodies)) for bodies in ([behind | {"lift_off": 0}], []))
    assert cell(result, "gvm") == cell(on, "gvm")
    assert cell(result, "front_axle") == cell(off, "front_axle") > cell(on, "front_axle")
    assert "with it off the margin is" in why(result, "gvm")


def test_tickets_of_a_variant_correct_and_spread_its_figure():
    draw = np.random.default_rng(3)
    jobs = [{"job_id": f"J{n}", "vehicle_id": "V1"} for n in range(40)]
    totals = 2075 + 25 + draw.normal(0, 12, 40)
    tickets = [
        {"job_id": f"J{n}", "weighed_on": "2026-01-01", "state": "bare", "total_kg": totals[n], "fuel_fraction": 1.0} for n in range(40)
    ]
    past, _ = work(jobs=jobs, weighings=tickets)
    on = replace(terms(empty_sd_kg=30.0), spreads=spreads_of_history(past, terms().vehicle))
    result = checked(work(), on, **NOBODY)
    assert cell(result, "gvm") == pytest.approx(totals.mean())
    assert cell(result, "gvm", "sd") == pytest.approx(totals.std(ddof=1) * (1 + 1 / 40) ** 0.5)
    assert "as this variant's tickets were" in why(result, "gvm")


def test_few_tickets_leave_the_common_spread():
    ticket = {"job_id": "J1", "weighed_on": "2026-01-01", "state": "bare", "total_kg": 2200, "fuel_fraction": 1.0}
    past, _ = work(weighings=[ticket])
    result = checked(work(), replace(terms(empty_sd_kg=30.0), spreads=spreads_of_history(past, terms().vehicle)), **NOBODY)
    assert (cell(result, "gvm"), cell(result, "gvm", "sd")) == (2075, 30)


@settings(max_examples=60, deadline=None)
@given(kg=masses, x_mm=places, further=st.floats(0, 800))
def test_moving_a_mass_back_never_loads_the_front(kg, x_mm, further):
    front = [cell(checked(work(bodies=[{"kg": kg, "com_x_mm": at}])), "front_axle") for at in (x_mm, x_mm + further)]
    assert front[1] <= front[0] + 1e-9


@settings(max_examples=60, deadline=None)
@given(kg=masses, more=masses, x_mm=places)
def test_loads_are_linear_in_mass(kg, more, x_mm):
    rear = [cell(checked(work(bodies=[{"kg": one, "com_x_mm": x_mm}])), "rear_axle") for one in (0.0, kg, more, kg + more)]
    assert rear[3] - rear[0] == pytest.approx(rear[1] - rear[0] + rear[2] - rear[0], abs=1e-7)


@settings(max_examples=60, deadline=None)
@given(kg=masses, y_mm=st.floats(-900, 900))
def test_left_and_right_are_mirrored(kg, y_mm):
    one, other = (checked(work(bodies=[{"kg": kg, "com_y_mm": y}]), **NOBODY) for y in (y_mm, -y_mm))
    assert cell(one, "side") == pytest.approx(cell(other, "side"))
    assert one.board.moment_y[0] == pytest.approx(-other.board.moment_y[0])


@settings(max_examples=30, deadline=None)
@given(order=st.permutations(range(4)), kilograms=st.lists(masses, min_size=4, max_size=4))
def test_the_order_of_bodies_and_parts_does_not_matter(order, kilograms):
    bodies = [{"body": name, "kg": kg, "offset_mm": 100 * place} for place, (name, kg) in enumerate(zip("abcd", kilograms, strict=True))]
    parts = [{"label": str(place), "kg": kg / 4, "x_mm": 700 * place} for place, kg in enumerate(kilograms)]
    one = checked(work(bodies=bodies, on_vehicle=parts))
    other = checked(work(bodies=[bodies[place] for place in order], on_vehicle=[parts[place] for place in order]))
    for limit in ("gvm", "rear_axle", "side"):
        assert cell(one, limit) == pytest.approx(cell(other, limit))


@settings(max_examples=30, deadline=None)
@given(scale=st.floats(0.1, 10))
def test_axle_loads_do_not_depend_on_the_unit_of_length(scale):
    lengths = {name: 3220 * share * scale for name, share in (("wheelbase_mm", 1), ("headboard_to_rear_axle_mm", 0.25))}
    result = checked(work(lengths, [{"kg": 400, "com_x_mm": 800 * scale, "length_mm": 1600 * scale}]), **NOBODY)
    plain = checked(work({"headboard_to_rear_axle_mm": 805}, [{"kg": 400, "com_x_mm": 800}]), **NOBODY)
    assert cell(result, "rear_axle") == pytest.approx(cell(plain, "rear_axle"))


def test_chances_agree_with_draws():
    """The analytic chance of going over each limit against 20 000 draws of mass and moments, on 200 drafts."""
    draw = np.random.default_rng(11)
    count, draws = 200, 20_000
    drafts = []
    for _ in range(count):
        kg, x_mm, y_mm = draw.uniform(250, 700), draw.uniform(600, 1000), draw.uniform(-120, 120)
        arm = np.array([1.0, x_mm, y_mm])
        cov = (0.04 * kg) ** 2 * np.outer(arm, arm) + np.diag([0.0, (kg * 20) ** 2, (kg * 12) ** 2])
        drafts.append({"kg": kg, "com_x_mm": x_mm, "com_y_mm": y_mm, "cov": cov})
    jobs = [{"job_id": f"J{n}", "vehicle_id": "V1"} for n in range(count)]
    made = work(
        {"gvm_kg": 2900, "rear_limit_kg": 1600, "front_limit_kg": 1300}, [{**one, "job_id": f"J{n}"} for n, one in enumerate(drafts)], jobs
    )
    result = checked(made, terms(empty_sd_kg=30.0))
    limits = result.limits
    empty_x = 3220 * 960 / 2200
    for n, one in enumerate(drafts):
        mass, along, _ = draw.multivariate_normal(np.zeros(3), one["cov"], draws).T
        vehicle = draw.normal(0, 30.0, draws)
        total = result.board.kg[n] + mass + vehicle
        moment = result.board.moment_x[n] + along + mass * (3220 - 760) + vehicle * empty_x
        rear = moment / 3220
        for name, value in (("gvm", total), ("rear_axle", rear), ("front_axle", total - rear)):
            at = limits.of(name)
            chance = float(np.mean(value > limits.rating[n, at]))
            error = np.sqrt(max(limits.p_over[n, at] * (1 - limits.p_over[n, at]), 1e-4) / draws)
            assert limits.p_over[n, at] == pytest.approx(chance, abs=5 * error), (n, name)


def test_verdicts_follow_the_middle_and_the_chance():
    for margin, verdict in ((60, "under"), (40, "may be over"), (-1, "over")):
        cov = np.diag([30.0**2, 0, 0])
        table = checked(work({"gvm_kg": 2075 + 300 + margin, "tub_kg": 125}, [{"kg": 300, "cov": cov}]), **NOBODY).limits.table()
        assert table["verdict"][table["limit"] == "gvm"] == [verdict]


def many(count):
    made, assessed = work(bodies=[{"kg": 320}], jobs=[{"job_id": "J1", "vehicle_id": "V1"}])
    rows = np.zeros(count, np.int64)
    names = np.array([f"J{n}" for n in range(count)], dtype=object)
    jobs, bodies = take(made.jobs, rows), take(made.bodies, rows)
    jobs["job_id"] = bodies["job_id"] = names
    return replace(made, jobs=jobs, bodies=bodies), assessed.rows(rows)


def test_one_call_takes_a_hundred_thousand_drafts():
    made, assessed = many(100_000)
    result = check(made, assessed, TravelLoad(), terms("AU"))
    assert np.ptp(result.limits.value[:, 0]) == 0
    assert len(result.limits.table()["limit"]) == 100_000 * len(LIMITS)


def test_cases_may_be_checked_apart_or_together():
    made = work(bodies=[{"kg": 320}], upgrades=[{"upgrade_id": "U", "gvm_kg": 3500, "added_kg": 18}])
    both = checked(made, every_upgrade=True)
    alone = check_cases(made[0], both.cases.rows(np.array([1])), made[1], both.board.brought, terms())
    assert alone.limits.value[0] == pytest.approx(both.limits.value[1], nan_ok=True)


def test_every_mark_has_words():
    assert all(TEXTS.get(mark) for mark in Mark)


def test_the_height_is_the_deck_and_the_tallest_body_on_it():
    result = checked(work({"deck_height_mm": 910}, [{"height_mm": 900}, {"body": "tray", "height_mm": 250}]), terms("AU"))
    assert cell(result, "height") == 1810


def test_a_body_without_a_centre_counts_at_half_its_length():
    unplaced, placed = (checked(work(bodies=[{"kg": 320, "com_x_mm": x_mm}]), **NOBODY) for x_mm in (np.nan, 800.0))
    assert cell(unplaced, "rear_axle") == cell(placed, "rear_axle")
    assert TEXTS[Mark.BODY_CENTRE] in why(unplaced, "rear_axle")
    assert TEXTS[Mark.BODY_CENTRE] not in why(placed, "rear_axle")


@pytest.mark.parametrize(("trailer", "ball", "light", "bar"), [(0, 0, False, False), (0.5, 0.5, False, True), (80, 81, True, True)])
def test_a_trailer_lighter_than_its_ball_mass_and_a_tow_bar_not_known_are_said(trailer, ball, light, bar):
    result = checked(work(), trailer_kg=float(trailer), ball_kg=float(ball))
    for limit in ("towed", "ball"):
        assert (TEXTS[Mark.LIGHT_TRAILER] in why(result, limit)) == light
        assert (TEXTS[Mark.NO_TOWBAR] in why(result, limit)) == bar
    assert (TEXTS[Mark.LIGHT_TRAILER] in why(result, "gcm")) == light


def test_a_ticket_without_axles_is_split_as_the_maker_splits_with_the_tub_where_it_still_was_on():
    ticket = {"weighed_on": "2026-01-20", "total_kg": 2200, "fuel_fraction": 1.0, "scale_step_kg": 0}
    arrived, bare = (checked(work(weighings=[{**ticket, "state": state}]), **NOBODY) for state in ("arrived", "bare"))
    assert cell(arrived, "rear_axle") == pytest.approx(2200 * 960 / 2200 - 125)
    assert cell(bare, "rear_axle") == pytest.approx(2200 * (960 - 125) / (2200 - 125))


def test_a_mass_that_varies_at_a_place_varies_the_first_moment_with_it():
    """Var(k·x) = x²·Var(k) and Cov(k, k·x) = x·Var(k) for a mass k at a fixed place x."""
    deck = Loading(2)
    deck.vary(np.array([4.0, 9.0]), np.array([1000.0, np.nan]))
    assert deck.cov[0].tolist() == [[4.0, 4000.0, 0.0], [4000.0, 4e6, 0.0], [0.0, 0.0, 0.0]]
    assert deck.cov[1].tolist() == [[9.0, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]]


def test_water_beyond_the_tanks_goes_under_the_first_tray_of_two():
    bodies = [{"body": "tray", "length_mm": 2000}, {"body": "tray-2", "length_mm": 1000, "offset_mm": 700}]
    (line,) = [line for line in checked(work(bodies=bodies), **NOBODY, water_l=20.0).board.lines(0) if "water" in line["label"]]
    assert line["x_mm"] == 3220 - 760 + 1000


def test_rows_of_assessed_bodies_keep_what_is_outside_where_that_is_known():
    _, assessed = work(bodies=[{"kg": 300}, {"kg": 310, "outside": True}, {"kg": 320}])
    assert assessed.rows(np.array([1, 2])).outside.tolist() == [True, False]
    assert assessed.rows(np.array([1, 2])).kg.tolist() == [310, 320]
    assert replace(assessed, outside=None).rows(np.array([1])).outside is None
