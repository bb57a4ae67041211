"""The model as a document: read back alike, the same bytes from the same records, and numpy alone to estimate."""

import json
import subprocess
import sys
import time

import msgspec
import numpy as np
import pytest
from mass_shops import SETTINGS, history_of, shop_and_fit

from pipeline.errors import StoreBroken, WrongCall
from pipeline.frames import take
from pipeline.mass.estimate import estimate, given_or_estimated
from pipeline.mass.evidence import only
from pipeline.mass.fit import fit, fit_fully
from pipeline.mass.items import with_items
from pipeline.mass.model import Model


def test_the_document_reads_back_to_the_same_estimates():
    shop, fitted = shop_and_fit(0, 150, drafts=250)
    text = fitted.model.to_json()
    again = Model.from_json(text)
    assert again.to_json() == text
    first, second = (estimate(model, shop.drafts.bodies, shop.drafts.fitout) for model in (fitted.model, again))
    for name in ("estimate_kg", "low_kg", "high_kg", "com_x_mm", "com_y_high_mm", "cov"):
        np.testing.assert_array_equal(getattr(first, name), getattr(second, name))
    assert (first.why == second.why).all()
    assert json.loads(text)["schema"] == 1


def test_same_records_same_bytes_and_another_record_another_digest():
    shop, fitted = shop_and_fit(0, 150, drafts=250)
    history = history_of(shop)
    assert fit(history, SETTINGS).to_json() == fitted.model.to_json()
    bodies = {name: values.copy() for name, values in history.bodies.items()}
    row = int(np.flatnonzero(~np.isnan(bodies["weighed_kg"]))[0])
    bodies["weighed_kg"][row] += 5
    other = fit(type(history)(**{**history.__dict__, "bodies": bodies}), SETTINGS)
    assert other.digest != fitted.model.digest


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"schema": 999}'])
def test_what_is_no_model_is_refused_in_a_sentence(text):
    with pytest.raises(StoreBroken, match="mass model"):
        Model.from_json(text)


def test_estimating_needs_numpy_alone():
    code = (
        "import sys, pipeline.mass.estimate, pipeline.mass.explain, pipeline.mass.nearest\n"
        "heavy = {'sklearn', 'scipy', 'pandas', 'polars', 'streamlit', 'altair', 'duckdb', 'msgspec'} & set(sys.modules)\n"
        "sys.exit(', '.join(sorted(heavy)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("level", [0.49, 0.995, float("nan")])
def test_a_level_out_of_range_is_a_wrong_call(level):
    shop, fitted = shop_and_fit(0, 150, drafts=250)
    with pytest.raises(WrongCall, match="level"):
        estimate(fitted.model, shop.drafts.bodies, shop.drafts.fitout, level)


def test_many_drafts_in_one_call_are_each_as_if_alone():
    shop, fitted = shop_and_fit(0, 150, drafts=250)
    bodies, fitout = shop.drafts.bodies, shop.drafts.fitout
    copies, count = 120, len(bodies["job_id"])
    many = {name: np.tile(values, copies) for name, values in bodies.items()}
    lines = {name: np.tile(values, copies) for name, values in fitout.items()}
    lines["body_row"] = lines["body_row"] + np.repeat(np.arange(copies) * count, len(fitout["body_row"]))
    started = time.process_time()
    found = estimate(fitted.model, many, lines)
    assert time.process_time() - started < 20
    alone = estimate(fitted.model, bodies, fitout)
    np.testing.assert_allclose(found.estimate_kg, np.tile(alone.estimate_kg, copies), rtol=1e-12)
    np.testing.assert_allclose(found.com_y_low_mm, np.tile(alone.com_y_low_mm, copies), rtol=1e-9, atol=1e-9)
    assert (found.standing == np.tile(alone.standing, copies)).all()


def test_lines_in_any_order_make_the_same_estimate():
    shop, fitted = shop_and_fit(0, 150, drafts=250)
    order = np.random.default_rng(0).permutation(len(shop.drafts.fitout["body_row"]))
    straight = estimate(fitted.model, shop.drafts.bodies, shop.drafts.fitout)
    mixed = estimate(fitted.model, shop.drafts.bodies, take(shop.drafts.fitout, order))
    np.testing.assert_allclose(mixed.estimate_kg, straight.estimate_kg, rtol=1e-12)
    np.testing.assert_allclose(mixed.com_x_mm, straight.com_x_mm, rtol=1e-9)


def test_given_masses_are_taken_at_their_word():
    shop, fitted = shop_and_fit(0, 150, drafts=250)
    bodies = {name: values.copy() for name, values in shop.drafts.bodies.items()}
    bodies["weighed_kg"][0], bodies["scale_step_kg"][0] = 405.0, 10.0
    bodies["cad_kg"][1] = 300.0
    found, model = given_or_estimated(fitted.model, bodies, shop.drafts.fitout), fitted.model
    assert (found.low_kg[0], found.estimate_kg[0], found.high_kg[0]) == (400.0, 405.0, 410.0)
    assert found.estimate_kg[1] == pytest.approx(300.0 / (1 - model.drawing_bias))
    assert found.low_kg[1] < 300.0 / (1 - model.drawing_bias) < found.high_kg[1]
    assert found.source[:3].tolist() == ["weighed", "drawn", "estimate"]
    plain = estimate(model, shop.drafts.bodies, shop.drafts.fitout)
    np.testing.assert_array_equal(found.estimate_kg[2:], plain.estimate_kg[2:])


def test_no_records_answer_from_datasheets_and_say_so():
    shop, _fitted = shop_and_fit(0, 150, drafts=250)
    model = fit(only(history_of(shop), np.zeros(0, dtype=np.int64)), SETTINGS)
    found = estimate(model, shop.drafts.bodies, shop.drafts.fitout)
    assert set(found.standing) == {"outside"}
    assert all("was ever weighed or drawn" in why for why in found.why)
    actual = shop.truth.drafts["actual_kg"]
    assert np.mean((actual >= found.low_kg) & (actual <= found.high_kg)) > 0.85
    assert np.mean(np.abs(found.estimate_kg / actual - 1)) < 0.3
    assert Model.from_json(model.to_json()).to_json() == model.to_json()


@pytest.mark.parametrize("count", [1, 2, 7])
def test_a_handful_of_records_is_used_and_called_outside(count):
    shop, fitted = shop_and_fit(0, 150, drafts=250)
    weighed = np.flatnonzero(~np.isnan(shop.history.bodies["weighed_kg"]))[:count]
    found = estimate(fit(only(history_of(shop), weighed), SETTINGS), shop.drafts.bodies, shop.drafts.fitout)
    assert set(found.standing) == {"outside"}
    assert np.isfinite(found.estimate_kg).all()
    wide, narrow = (np.mean(one.high_kg - one.low_kg) for one in (found, estimate(fitted.model, shop.drafts.bodies, shop.drafts.fitout)))
    assert wide > narrow


def test_an_item_new_on_the_list_needs_no_code_and_stands_on_its_datasheet():
    shop, fitted = shop_and_fit(0, 150, drafts=250)
    items = {name: np.append(values, values[:1]) for name, values in shop.history.items.items()}
    items["item_id"][-1], items["label"][-1], items["datasheet_kg"][-1], items["datasheet_kg_per_m"][-1] = "winch", "Winch", 40.0, 0.0
    bodies, fitout = take(shop.drafts.bodies, np.array([0])), take(shop.drafts.fitout, shop.drafts.fitout["body_row"] == 0)
    longer = {name: np.append(values, values[:1]) for name, values in fitout.items()}
    longer["item_id"][-1], longer["qty"][-1] = "winch", 1.0
    before = estimate(fitted.model, bodies, fitout)
    after = estimate(with_items(fitted.model, items), bodies, longer)
    assert after.estimate_kg[0] - before.estimate_kg[0] == pytest.approx(42, abs=8)
    assert after.sd_kg[0] > before.sd_kg[0]
    assert after.standing[0] == "outside"
    assert after.why[0].startswith("never built with a mass on record: Winch")
    blind = estimate(fitted.model, bodies, longer)
    assert blind.estimate_kg[0] == pytest.approx(before.estimate_kg[0])
    assert "does not have" in blind.why[0]
    refitted = fit(type(history_of(shop))(**{**history_of(shop).__dict__, "items": items}), SETTINGS)
    assert "winch" in refitted.design.item_ids


def test_what_was_settled_holds_at_the_next_fit():
    shop, fitted = shop_and_fit(0, 400, drafts=250)
    history = history_of(shop)
    row = int(np.flatnonzero((np.abs(fitted.told.z) > SETTINGS.flag) & (fitted.spoken.source == 0))[0])
    key, body = str(fitted.keys[row]), int(fitted.spoken.body[row])

    def settled(verdict: str, value: float = np.nan) -> dict[str, np.ndarray]:
        told = {"table": "bodies", "key": key, "verdict": verdict, "column": "weighed_kg", "who": "M.", "on": "2026-11-01"}
        return {name: np.array([one], dtype=object) for name, one in told.items()} | {"value": np.array([value])}

    def again(verdict: str, value: float = np.nan):
        return fit_fully(type(history)(**{**history.__dict__, "settled": settled(verdict, value)}), SETTINGS)

    wrong, right = again("wrong"), again("right")
    truth = float(shop.truth.history["mu_kg"][body])
    corrected = again("corrected", truth)
    assert key not in wrong.keys[wrong.spoken.source == 0]
    assert right.told.robust[right.spoken.body == body][0] == 1.0
    assert abs(corrected.told.z[corrected.spoken.body == body][0]) < SETTINGS.flag
    assert corrected.spoken.y_kg[corrected.spoken.body == body][0] == truth


def test_fit_of_a_workshop_of_usual_size_takes_about_a_second():
    shop, _fitted = shop_and_fit(0, 400, drafts=250)
    started = time.process_time()
    fit(history_of(shop), msgspec.structs.replace(SETTINGS))
    assert time.process_time() - started < 5
