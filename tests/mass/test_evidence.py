"""Which records speak, and how: drawings in groups, refits, tickets on one footing, vehicles against their figures."""

from dataclasses import replace

import msgspec
import numpy as np
import pytest
from mass_shops import SETTINGS, USUAL, history_of, shop_and_fit
from workshop import make_workshop

from pipeline.frames import from_rows
from pipeline.mass.declare import with_pairs
from pipeline.mass.design import DRAWN, PAIRED, TICKET, WEIGHED
from pipeline.mass.evidence import APPROXIMATE, NO_MASS, OTHER_MAKER, REFIT, SHORT, USED, History, gather, groups, reasons
from pipeline.mass.fit import fit, fit_fully, left_out, prepare
from pipeline.mass.robust import fit_rows
from pipeline.mass.tickets import read_tickets
from pipeline.mass.together import find_pairs
from pipeline.mass.vehicles import vehicle_offsets

BODY = {
    "job_id": "text",
    "body": "text",
    "kind": "text",
    "length_mm": "number",
    "width_mm": "number",
    "weighed_kg": "number",
    "cad_kg": "number",
    "scale_step_kg": "number",
    "origin": "text",
    "same_as": "text",
    "drawing": "text",
    "length_approximate": "number",
    "list_short": "number",
    "com_x_mm": "number",
    "com_y_mm": "number",
    "offset_mm": "number",
    "dated_on": "date",
}
LINE = {"job_id": "text", "body": "text", "item_id": "text", "qty": "number", "zone": "text", "body_row": "number"}
ITEM = {"item_id": "text", "label": "text", "group": "text", "datasheet_kg": "number", "datasheet_kg_per_m": "number"}
VEHICLE = {
    "vehicle_id": "text",
    "label": "text",
    "wheelbase_mm": "number",
    "headboard_to_rear_axle_mm": "number",
    "empty_kg": "number",
    "empty_basis": "text",
    "tub_kg": "number",
    "fuel_l": "number",
    "fuel": "text",
}
UPGRADE = {"upgrade_id": "text", "vehicle_id": "text", "added_kg": "number", "added_x_mm": "number"}
JOB = {"job_id": "text", "vehicle_id": "text", "upgrade_id": "text"}
THING = {"job_id": "text", "label": "text", "kg": "number", "x_mm": "number", "put_on_by": "text", "on_first_ticket": "number"}
TICKETS = {
    "job_id": "text",
    "ticket": "text",
    "weighed_on": "date",
    "state": "text",
    "total_kg": "number",
    "front_kg": "number",
    "rear_kg": "number",
    "scale_step_kg": "number",
    "fuel_fraction": "number",
    "people_kg": "number",
}


def _history(bodies, weighings=(), jobs=(), things=()) -> History:
    return History(
        bodies=from_rows(bodies, BODY),
        fitout={**from_rows([], LINE), "body_row": np.zeros(0, dtype=np.int64)},
        items=from_rows([], ITEM),
        vehicles=from_rows(
            [
                {
                    "vehicle_id": "V",
                    "label": "V",
                    "wheelbase_mm": 3220,
                    "headboard_to_rear_axle_mm": 760,
                    "empty_kg": 2248,
                    "empty_basis": "kerb",
                    "tub_kg": 125,
                    "fuel_l": 80,
                    "fuel": "diesel",
                }
            ],
            VEHICLE,
        ),
        upgrades=from_rows([{"upgrade_id": "U", "vehicle_id": "V", "added_kg": 18, "added_x_mm": 3220}], UPGRADE),
        jobs=from_rows(jobs, JOB),
        on_vehicle=from_rows(things, THING),
        weighings=from_rows(weighings, TICKETS),
    )


def _readings(history: History):
    count = len(history.bodies["job_id"])
    return read_tickets(history, np.zeros(count), np.ones(count, dtype=bool), SETTINGS, USUAL, set())


TRAY = {"job_id": "1", "body": "tray", "kind": "tray", "length_mm": 1780, "width_mm": 1860}
CANOPY = {"job_id": "1", "body": "canopy", "kind": "canopy", "length_mm": 1700, "width_mm": 1780}
ARRIVED = {
    "job_id": "1",
    "ticket": "a",
    "state": "arrived",
    "total_kg": 2240,
    "rear_kg": 940,
    "scale_step_kg": 20,
    "fuel_fraction": 0.5,
    "people_kg": 0,
}
FINISHED = {
    "job_id": "1",
    "ticket": "f",
    "state": "finished",
    "total_kg": 2880,
    "rear_kg": 1560,
    "scale_step_kg": 20,
    "fuel_fraction": 1,
    "people_kg": 85,
}
UPGRADED = {"job_id": "1", "vehicle_id": "V", "upgrade_id": "U"}
THINGS = (
    {"job_id": "1", "label": "tow bar", "kg": 38, "x_mm": 4300, "put_on_by": "workshop", "on_first_ticket": 0},
    {"job_id": "1", "label": "bull bar", "kg": 62, "x_mm": -700, "put_on_by": "dealer", "on_first_ticket": 1},
    {"job_id": "1", "label": "spare wheel off", "kg": -32, "x_mm": 4000, "put_on_by": "workshop", "on_first_ticket": 0},
    {"job_id": "1", "label": "spare wheel on", "kg": 32, "x_mm": 3950, "put_on_by": "workshop", "on_first_ticket": 0},
)


def test_bodies_by_difference_of_tickets_fuel_people_tub_and_things_aside():
    """Worked by hand: 2880 − 85 − (2240 + 40 l × 0.835 − 125) − 18 − 38 = 590.6 kg (fuel by EN 590)."""
    found = _readings(_history([TRAY, CANOPY], [ARRIVED, FINISHED], [UPGRADED], THINGS))
    assert found.kg.tolist() == [pytest.approx(590.6)]
    assert sorted(found.bodies[0].tolist()) == [0, 1]


def test_a_weighed_body_on_the_ticket_is_taken_off():
    weighed = CANOPY | {"weighed_kg": 402, "scale_step_kg": 5}
    found = _readings(_history([TRAY, weighed], [ARRIVED, FINISHED], [UPGRADED], THINGS))
    assert found.kg[0] == pytest.approx(590.6 - 402)
    assert found.bodies[0].tolist() == [0]
    assert found.var[0] == pytest.approx(2 * 400 / 12 + 25 / 12)
    both = _readings(_history([TRAY | {"weighed_kg": 190}, weighed], [ARRIVED, FINISHED], [UPGRADED], THINGS))
    assert len(both) == 0


def test_noise_of_a_difference_is_the_sum_and_two_finished_tickets_halve_theirs():
    """Bare 1960, twice finished 2220 at the same fuel: 260 kg; one finished: sd sqrt(2 × 400 / 12) = 8.2 kg."""
    bare = ARRIVED | {"ticket": "b", "state": "bare", "total_kg": 1960, "rear_kg": 720, "fuel_fraction": 0.8}
    done = [FINISHED | {"ticket": name, "total_kg": 2220, "people_kg": 0, "fuel_fraction": 0.8} for name in "fg"]
    plain = {"job_id": "1", "vehicle_id": "V", "upgrade_id": None}
    once, twice = (_readings(_history([TRAY], [bare, *done[:count]], [plain])) for count in (1, 2))
    assert once.kg[0] == twice.kg[0] == pytest.approx(260)
    assert np.sqrt(once.var[0]) == pytest.approx(8.2, abs=0.05)
    assert twice.var[0] == pytest.approx(400 / 12 * 1.5)


def test_unknown_fuel_widens_the_reading():
    unknown = ARRIVED | {"fuel_fraction": None}
    known, wide = (_readings(_history([TRAY], [one, FINISHED], [UPGRADED])) for one in (ARRIVED, unknown))
    assert np.sqrt(wide.var[0]) > np.sqrt(known.var[0]) + 5


@pytest.mark.parametrize("changed", [{"origin": "other-maker"}, {"origin": "refit"}, {"length_approximate": 1}, {"list_short": 1}])
def test_a_job_with_a_body_that_may_not_speak_gives_no_reading(changed):
    history = _history([TRAY, CANOPY | changed], [ARRIVED, FINISHED], [UPGRADED])
    model = fit(history, SETTINGS)
    assert model.facts["rows"]["ticket"] == 0


def test_axle_tickets_give_the_centre():
    """A tray whose centre lies 900 mm behind its face, put on a vehicle: the rear axle takes W·x/L."""
    place, mass = 3220 - 760 + 900, 260.0
    bare = ARRIVED | {"ticket": "b", "state": "bare", "total_kg": 1960, "rear_kg": 720, "fuel_fraction": 1, "scale_step_kg": 1}
    done = FINISHED | {"total_kg": 1960 + mass, "rear_kg": 720 + mass * place / 3220, "people_kg": 0, "scale_step_kg": 1}
    found = _readings(_history([TRAY], [bare, done], [{"job_id": "1", "vehicle_id": "V", "upgrade_id": None}]))
    assert found.moment_kg_mm[0] / found.kg[0] == pytest.approx(place)


def test_reasons_for_staying_out():
    bodies = [
        TRAY | {"weighed_kg": 200},
        TRAY | {"job_id": "2"},
        TRAY | {"job_id": "3", "cad_kg": 180, "origin": "refit"},
        TRAY | {"job_id": "4", "weighed_kg": 200, "origin": "other-maker"},
        TRAY | {"job_id": "5", "weighed_kg": 200, "length_approximate": 1},
        TRAY | {"job_id": "6", "weighed_kg": 200, "list_short": 1},
    ]
    assert reasons(from_rows(bodies, BODY), set()).tolist() == [USED, NO_MASS, REFIT, OTHER_MAKER, APPROXIMATE, SHORT]
    told = left_out(fit_fully(_history(bodies), SETTINGS).evidence)
    assert told["in the fit"] == 1
    assert sum(told.values()) == len(bodies)


def test_rows_of_one_drawing_are_one_reading():
    drawn = [TRAY | {"job_id": str(job), "cad_kg": kg, "drawing": "T-7/B"} for job, kg in ((1, 180), (2, 184), (3, 182))]
    design, evidence = prepare(_history(drawn), SETTINGS)
    rows = gather(design, evidence, SETTINGS)
    assert rows.source.tolist() == [DRAWN]
    assert rows.y_kg.tolist() == [182]


def test_a_repeat_without_a_number_belongs_to_what_it_repeats():
    bodies = [TRAY | {"job_id": "1", "cad_kg": 180}, TRAY | {"job_id": "2", "cad_kg": 180, "origin": "repeat", "same_as": "1/tray"}, CANOPY]
    found = groups(from_rows(bodies, BODY))
    assert found[0] == found[1] != found[2]


def test_a_drawing_beside_a_scale_tells_of_its_bias_alone():
    design, evidence = prepare(_history([TRAY | {"cad_kg": 190, "weighed_kg": 200, "scale_step_kg": 5}]), SETTINGS)
    rows = gather(design, evidence, SETTINGS)
    assert rows.source.tolist() == [WEIGHED, PAIRED]
    assert rows.y_kg.tolist() == [200, -10]
    beside = rows.x[1].copy()
    assert beside[design.at.drawing] == 200
    beside[design.at.drawing] = 0
    assert not beside.any()


def test_bodies_of_one_drawing_are_left_out_together_and_weigh_less_each():
    design, evidence = prepare(_history([TRAY | {"job_id": str(job), "weighed_kg": 200, "drawing": "T-7"} for job in range(4)]), SETTINGS)
    rows = gather(design, evidence, SETTINGS)
    assert len(set(rows.group.tolist())) == 1
    assert rows.weight.tolist() == [pytest.approx(1 / (1 + 3 * SETTINGS.alike_correlation))] * 4


def test_tickets_of_a_whole_workshop_scatter_about_the_truth():
    shop = make_workshop(4, 400, tickets=1.0, pairs=0.3)
    design, evidence = prepare(history_of(shop), SETTINGS)
    rows = gather(design, evidence, SETTINGS)
    tickets = rows.source == TICKET
    assert tickets.sum() > 50
    truth = np.array([shop.truth.history["mu_kg"][evidence.readings.bodies[row]].sum() for row in range(len(evidence.readings))])
    z = (rows.y_kg[tickets] - truth) / np.sqrt((0.025 * truth) ** 2 * rows.shared[tickets] + rows.fixed_var[tickets])
    assert abs(np.median(z)) < 0.35
    assert np.median(np.abs(z)) == pytest.approx(0.6745, abs=0.25)


def test_vehicles_against_their_makers_figures():
    shop = make_workshop(5, 500, tickets=1.0)
    found = {one.vehicle_id: one for one in vehicle_offsets(history_of(shop), USUAL)}
    assert set(found) == set(shop.history.vehicles["vehicle_id"])
    assert all(one.sd_kg > 0 for one in found.values())
    told = [one for one in found.values() if one.tickets >= 20]
    assert told
    for one in told:
        assert one.mean_kg == pytest.approx(shop.truth.vehicle_offset_kg[one.vehicle_id], abs=8)


def test_a_vehicle_without_tickets_has_the_believed_spread():
    found = vehicle_offsets(_history([TRAY]), USUAL)
    assert [(one.mean_kg, one.sd_kg, one.tickets) for one in found] == [(0.0, USUAL.empty_sd_kg, 0)]


def test_a_pair_that_brings_mass_together_is_found_and_weighed():
    _shop, fitted = shop_and_fit(0, 900, drafts=250)
    design, rows = fitted.model.design, fitted.rows()
    stands = rows.x[:, design.at.item] > 0
    together = stands.astype(float).T @ stands
    groups = np.array([item.group for item in design.items])
    together[groups[:, None] == groups] = 0
    first, second = np.unravel_index(np.argmax(together), together.shape)
    both = stands[:, first] & stands[:, second]
    planted = replace(rows, y_kg=rows.y_kg + 12.0 * (both & (rows.source != PAIRED)))
    assert find_pairs(design, *_fit(design, rows)) == []
    found = find_pairs(design, *_fit(design, planted))
    assert {design.items[first].item_id, design.items[second].item_id} == set(found[0])
    wider = with_pairs(design, found[:1], SETTINGS)
    x = np.insert(planted.x, wider.at.pair.start, both, axis=1)
    state, _rows = fit_rows(wider, replace(planted, x=x), SETTINGS)
    assert state.solution.coef[wider.at.pair.start] == pytest.approx(12, abs=4)


def _fit(design, rows):
    state, fitted = fit_rows(design, rows, SETTINGS)
    return fitted, state, SETTINGS


def test_a_need_of_the_list_is_a_pair_of_the_design():
    history = history_of(make_workshop(0, 60))
    items = {name: values.copy() for name, values in history.items.items()}
    items["needs"][items["item_id"] == "basin"] = "tank-45 tank-90"
    design, _evidence = prepare(History(**{**history.__dict__, "items": items}), SETTINGS)
    assert design.pairs == (("basin", "tank-45"), ("basin", "tank-90"))


def test_what_is_set_of_vehicles_reaches_the_fit():
    """The density of fuel is set once, for loads and for the masses that tickets tell."""
    shop = make_workshop(5, 120, tickets=1.0)
    heavier = msgspec.structs.replace(USUAL, diesel_kg_per_l=1.2, petrol_kg_per_l=1.2)
    history = history_of(shop)
    count = len(history.bodies["job_id"])
    told = [read_tickets(history, np.zeros(count), np.ones(count, dtype=bool), SETTINGS, usual, set()) for usual in (USUAL, heavier)]
    assert len(told[0].kg) == len(told[1].kg) > 0
    assert np.any(told[0].kg != told[1].kg)
    assert fit(history, SETTINGS, heavier).digest != fit(history, SETTINGS, USUAL).digest
