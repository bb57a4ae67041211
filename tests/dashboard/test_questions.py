"""What pages make of answers before they draw them."""

from __future__ import annotations

import numpy as np
import pytest

from dashboard.questions import curve_points
from pipeline.trends.waiting import curve


@pytest.mark.parametrize("seed", range(3))
def test_the_steps_of_the_curve_are_all_there_though_days_without_one_are_not(seed):
    """A line of steps keeps its height until the next point: beside each day stands the curve itself (`Curve.at`)."""
    days = np.random.default_rng(seed).integers(0, 900, 500)
    whole = curve(days, (days < 60) | (days % 97 == 0))
    told = curve_points(whole)
    assert len(told) < len(whole.days) / 4
    assert (told[0]["days"], told[-1]["days"]) == (0, whole.days[-1])
    for day in range(1000):
        last = [point for point in told if point["days"] <= day][-1]
        assert (last["share"], last["low"], last["high"]) == whole.at(day)
