"""The model against invented workshops whose truth is known: error, coverage, coefficients, bias, gross errors."""

import numpy as np
import pytest
from mass_shops import SETTINGS, gross_rows, history_of, shop_and_fit
from workshop import make_workshop

from pipeline.mass.estimate import estimate
from pipeline.mass.fit import fit_fully

# the newest settings of a workshop: name, seeds, bodies, switches, largest error over the noise floor, largest of one seed
WORKSHOPS = [
    ("usual", range(4), 400, {}, 1.16, 1.27),
    ("of the next year", range(4), 400, {"split": "time"}, 1.16, 1.27),
    ("drifting, next year", range(3), 400, {"split": "time", "drift": True}, 1.20, 1.32),
    ("with 5 % gross errors", range(3), 400, {"gross": 0.05}, 1.18, 1.30),
    ("of rare items", range(3), 400, {"rare": True}, 1.18, 1.32),
    ("of other habits", range(3), 400, {"elsewhere": True}, 1.18, 1.32),
    ("small", range(6), 60, {}, 1.45, 1.75),
]


@pytest.mark.parametrize(
    ("seeds", "bodies", "switches", "pooled", "worst"), [row[1:] for row in WORKSHOPS], ids=[row[0] for row in WORKSHOPS]
)
def test_error_and_coverage_in_workshops_of_known_truth(seeds, bodies, switches, pooled, worst):
    """Error as a multiple of the noise that nobody can beat; 90 % intervals hold 90 % within binomial error, in every group."""
    errors, sds, inside, lengths, items = [], [], [], [], []
    for seed in seeds:
        shop, fitted = shop_and_fit(seed, bodies, drafts=250, **switches)
        truth, found = shop.truth.drafts, estimate(fitted.model, shop.drafts.bodies, shop.drafts.fitout)
        error = found.estimate_kg - truth["actual_kg"]
        assert np.sqrt(np.mean(error**2) / np.mean(truth["sd_kg"] ** 2)) < worst
        errors.append(error)
        sds.append(truth["sd_kg"])
        inside.append((truth["actual_kg"] >= found.low_kg) & (truth["actual_kg"] <= found.high_kg))
        lengths.append(shop.drafts.bodies["length_mm"])
        items.append(truth["items"])
    error, sd, hit, length, count = (np.concatenate(part) for part in (errors, sds, inside, lengths, items))
    assert np.sqrt(np.mean(error**2) / np.mean(sd**2)) < pooled
    assert 0.87 <= hit.mean() <= 0.97
    for values in (length, count):
        low, high = np.quantile(values, [1 / 3, 2 / 3])
        for group in (values <= low, (values > low) & (values <= high), values > high):
            if group.sum() > 100:
                assert hit[group].mean() > 0.9 - 4 * np.sqrt(0.09 / group.sum())


def test_intervals_hold_their_promise_at_every_level():
    shop, fitted = shop_and_fit(21, 900, drafts=1500)
    for level in (0.5, 0.8, 0.9, 0.95, 0.99):
        found = estimate(fitted.model, shop.drafts.bodies, shop.drafts.fitout, level)
        actual = shop.truth.drafts["actual_kg"]
        share = np.mean((actual >= found.low_kg) & (actual <= found.high_kg))
        assert share == pytest.approx(level, abs=0.045 if level < 0.99 else 0.012)


def test_what_an_item_weighs_is_recovered_as_surely_as_stated():
    """90 % intervals of items' masses at the usual length hold the truth in nine of ten cases."""
    inside = []
    for seed in range(6):
        shop, fitted = shop_and_fit(seed, 400, drafts=250)
        model = fitted.model
        design = model.design
        kg = dict(zip(shop.truth.items["item_id"], shop.truth.items["kg"], strict=True))
        per_m = dict(zip(shop.truth.items["item_id"], shop.truth.items["kg_per_m"], strict=True))
        for place, item in enumerate(design.items):
            if model.item_records[place] < 5:
                continue
            row = np.zeros(design.at.count)
            row[design.at.item.start + place] = 1.0
            row[design.at.uplift] = (item.base_kg + item.per_m_kg * design.length_m) / 100.0
            row[design.at.each] = 1.0
            truth = kg[item.item_id] + per_m[item.item_id] * (design.length_m - 1.7)
            sd = np.sqrt(np.sum((row @ model.factor) ** 2))
            inside.append(abs(row @ model.coef - truth) <= 1.645 * sd)
    # couplings and braces that no column names blur it by a little
    assert 0.83 <= np.mean(inside) <= 0.97


def test_the_bias_of_drawings_is_recovered():
    misses = []
    for seed in range(6):
        shop, fitted = shop_and_fit(seed, 400, drafts=250)
        misses.append((fitted.model.drawing_bias - shop.truth.drawing_bias) / fitted.model.drawing_bias_sd)
    assert np.abs(misses).max() < 3.5
    assert np.abs(np.mean(misses)) < 1.5


@pytest.mark.parametrize("share", [0.015, 0.05])
def test_gross_errors_are_found_and_nothing_else(share):
    found = missed = false = rows = 0
    for seed in range(3):
        shop, fitted = shop_and_fit(seed, 400, drafts=250, **({} if share == 0.015 else {"gross": share}))
        gross, flagged = gross_rows(shop, fitted), np.abs(fitted.told.z) > SETTINGS.flag
        single = fitted.spoken.body >= 0
        found += np.sum(flagged & gross)
        missed += np.sum(~flagged & gross)
        false += np.sum(flagged & ~gross & single)
        rows += np.sum(single)
    assert found > 5
    assert missed <= 0.06 * (found + missed)
    assert false <= 0.01 * rows


def test_centre_of_mass_lies_within_millimetres_of_the_truth():
    shop, fitted = shop_and_fit(0, 400, drafts=250)
    found, truth = estimate(fitted.model, shop.drafts.bodies, shop.drafts.fitout), shop.truth.drafts
    for axis, rms, noise in (("com_x", 10.0, 13.0), ("com_y", 8.0, 7.3)):
        middle = getattr(found, f"{axis}_mm")
        assert np.sqrt(np.mean((middle - truth[f"{axis}_mm"]) ** 2)) < rms
        # the interval is for a measured centre, with the noise of measuring in it
        half = (getattr(found, f"{axis}_high_mm") - getattr(found, f"{axis}_low_mm")) / 2
        measured = truth[f"{axis}_mm"] + np.random.default_rng(4).normal(0, noise, len(middle))
        assert 0.84 <= np.mean(np.abs(measured - middle) <= half) <= 0.97


def test_covariance_of_mass_and_moments_is_coherent():
    shop, fitted = shop_and_fit(0, 400, drafts=250)
    found = estimate(fitted.model, shop.drafts.bodies, shop.drafts.fitout)
    np.testing.assert_allclose(found.cov, np.swapaxes(found.cov, 1, 2))
    assert np.linalg.eigvalsh(found.cov / np.array([1, 1e3, 1e3])[:, None] / np.array([1, 1e3, 1e3])).min() > 0
    np.testing.assert_allclose(np.sqrt(found.cov[:, 0, 0]), found.sd_kg)
    truth = shop.truth.drafts
    off = np.column_stack([
        truth["actual_kg"] - found.estimate_kg,
        truth["actual_kg"] * truth["com_x_mm"] - found.estimate_kg * found.com_x_mm,
        truth["actual_kg"] * truth["com_y_mm"] - found.estimate_kg * found.com_y_mm,
    ])  # fmt: skip
    z = off / np.sqrt(np.einsum("nii->ni", found.cov))
    assert np.all(np.sqrt(np.mean(z**2, axis=0)) < 1.25)


def test_change_over_the_years_is_seen_where_it_is():
    _shop, fitted = shop_and_fit(1, 400, drafts=250, split="time", drift=True)
    model = fitted.model
    power = model.design.at.drift.start
    yearly, sd = model.coef[power] / 50.0, np.sqrt(np.sum(model.factor[power] ** 2)) / 50.0
    assert model.facts["change"] == "drift"
    assert yearly < 0
    assert abs(yearly + 0.05) < 3 * sd
    assert set(model.facts["change_tried"]) == {"drift", "decay", "none"}


def test_decay_and_none_are_choices_too():
    import msgspec

    shop, _fitted = shop_and_fit(0, 150, drafts=250)
    for way in ("decay", "none"):
        model = fit_fully(history_of(shop), msgspec.structs.replace(SETTINGS, change=way)).model
        assert not model.design.drifts
        found = estimate(model, shop.drafts.bodies, shop.drafts.fitout)
        assert np.sqrt(np.mean((found.estimate_kg - shop.truth.drafts["actual_kg"]) ** 2) / np.mean(shop.truth.drafts["sd_kg"] ** 2)) < 1.6


def test_items_without_datasheet_mass_are_learned():
    shop, fitted = shop_and_fit(2, 900, drafts=250, catalogue=False)
    found = estimate(fitted.model, shop.drafts.bodies, shop.drafts.fitout)
    assert np.sqrt(np.mean((found.estimate_kg - shop.truth.drafts["actual_kg"]) ** 2) / np.mean(shop.truth.drafts["sd_kg"] ** 2)) < 1.35
    assert not any(item.known for item in fitted.model.design.items)


def test_tickets_stand_in_for_bodies_that_were_never_weighed():
    with_tickets, without = [], []
    for seed in range(3):
        shop = make_workshop(seed, 150, drafts=250, tickets=0.7, drawn=0.05, pairs=0.3)
        history, truth = history_of(shop), shop.truth.drafts
        fitted = fit_fully(history, SETTINGS)
        assert fitted.model.facts["rows"]["ticket"] > 20
        blind = fit_fully(type(history)(**{**history.__dict__, "weighings": {}}), SETTINGS)
        for model, errors in ((fitted.model, with_tickets), (blind.model, without)):
            found = estimate(model, shop.drafts.bodies, shop.drafts.fitout)
            errors.append(np.mean((found.estimate_kg - truth["actual_kg"]) ** 2) / np.mean(truth["sd_kg"] ** 2))
    assert np.sqrt(np.mean(with_tickets)) < 1.35
    assert np.mean(with_tickets) < np.mean(without)
