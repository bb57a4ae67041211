"""Reports: doubtful records, short lists, and the honest figures of the model."""

import json

import numpy as np
import pytest
from mass_shops import SETTINGS, gross_rows, shop_and_fit

from pipeline.mass.backtest import by_quarter, in_folds
from pipeline.mass.missing import completeness
from pipeline.mass.report import full_report, reliability
from pipeline.mass.suspects import suspects


def test_doubtful_records_are_named_with_what_they_probably_are():
    shop, fitted = shop_and_fit(1, 400, drafts=250, gross=0.05)
    found = suspects(fitted, SETTINGS)
    truth = {
        f"{job}/{body}": kg
        for job, body, kg in zip(shop.history.bodies["job_id"], shop.history.bodies["body"], shop.truth.history["mu_kg"], strict=True)
    }
    gross = set(fitted.keys[gross_rows(shop, fitted)])
    named = [one for one in found if one.table == "bodies" and one.column == "weighed_kg"]
    assert len({one.key for one in named} & gross) >= 0.9 * len(gross)
    pounds = [one for one in named if "pounds typed" in one.why]
    assert pounds
    for one in pounds:
        assert one.probably_kg == pytest.approx(truth[one.key], rel=0.1)
        assert one.why[0].isdigit()
    assert [abs(one.z) for one in found] == sorted((abs(one.z) for one in found), reverse=True)


@pytest.mark.parametrize("share", [0.0, 0.05])
def test_the_share_of_items_that_nobody_wrote_down(share):
    shop, fitted = shop_and_fit(1, 400, drafts=250, unlisted=share)
    found = completeness(fitted)
    assert found.share_low <= share + 0.002
    assert found.share_high >= share or share == 0
    assert found.share == pytest.approx(share, abs=0.03)
    if share:
        assert found.error_complete < 0.85 * found.error_now
        short = {
            f"{job}/{body}"
            for job, body, gone in zip(
                shop.history.bodies["job_id"], shop.history.bodies["body"], shop.truth.history["unlisted"], strict=True
            )
            if gone
        }
        told = [one for one in found.bodies if one.excess_kg is not None]
        assert len(told) > 15
        assert np.mean([one.key in short for one in told]) > 0.8
        assert [one.cost for one in told] == sorted((one.cost for one in told), reverse=True)
        assert told[0].why.startswith("weighs ")
    else:
        assert sum(one.excess_kg is not None for one in found.bodies) <= 2


@pytest.fixture(scope="module")
def report():
    _shop, fitted = shop_and_fit(0, 150, drafts=250)
    kinds = fitted.evidence.history.bodies["body"].tolist()
    return full_report(fitted, SETTINGS, [f"family of {kind}" for kind in kinds])


def test_the_report_is_plain_data_with_all_its_parts(report):
    again = json.loads(json.dumps(report, allow_nan=False))
    assert set(again) >= {
        "figures",
        "left_out",
        "rivals",
        "reliability",
        "groups",
        "quarters",
        "chart",
        "change",
        "lists",
        "suspects",
        "vehicles",
    }
    assert {row["group"] for row in again["groups"]} >= {"length", "items", "kind", "branch", "size class", "family", "source"}
    assert again["figures"]["said"].count(" of 10 bodies") == 1
    assert 5 <= len(again["quarters"]) <= 8
    assert sum(row["bodies"] for row in again["quarters"]) == len(again["chart"]["points"])


def test_the_model_beats_what_people_do_without_it(report):
    """The ladder: kilograms per metre, sums of datasheets, plain least squares, gradient boosting."""
    error = {row["way"]: row["rmse_kg"] for row in report["rivals"]}
    assert len(error) == 6
    assert error["this model"] == min(error.values())
    assert error["sum of datasheets times one factor"] < error["kg per metre"]


def test_reliability_lies_within_chance_of_the_levels():
    _shop, fitted = shop_and_fit(0, 400, drafts=250)
    folds = in_folds(fitted, SETTINGS, folds=5)
    rows = reliability(folds)
    assert [row["level"] for row in rows] == [0.5, 0.8, 0.9, 0.95]
    for row in rows:
        assert row["chance_low"] - 0.03 <= row["share"] <= row["chance_high"] + 0.03
    assert len(set(folds.row.tolist())) == len(folds.row)


def test_a_quarter_is_estimated_by_its_past_alone():
    _shop, fitted = shop_and_fit(0, 150, drafts=250)
    tried, names = by_quarter(fitted, SETTINGS, quarters=3)
    assert names == sorted(names)
    assert len(names) == 3
    # the newest quarter by hand: fit on everything dated before it
    from pipeline.frames import take
    from pipeline.mass.estimate import estimate
    from pipeline.mass.evidence import USED, only
    from pipeline.mass.fit import fit

    year, quarter = int(names[-1][:4]), int(names[-1][-1])
    start = np.datetime64(f"{year}-{quarter * 3 - 2:02d}-01")
    bodies = fitted.evidence.history.bodies
    past = np.flatnonzero((fitted.evidence.reason == USED) & (bodies["dated_on"] < start))
    last = tried.at(tried.fold == 2)
    model = fit(only(fitted.evidence.history, past), SETTINGS)
    by_hand = estimate(model, take(bodies, last.row), only(fitted.evidence.history, last.row).fitout)
    np.testing.assert_allclose(last.estimate_kg, by_hand.estimate_kg)
