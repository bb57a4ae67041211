"""Control charts against the worked examples of the NIST/SEMATECH e-Handbook."""

import numpy as np
import pytest

from pipeline.mass.charts import ewma, individuals, running_alarm

FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_individuals_chart():
    """e-Handbook 6.3.2.2."""
    chart = individuals(np.array(FLOW))
    assert chart.centre == pytest.approx(50.81, abs=1e-9)
    assert np.mean(np.abs(np.diff(FLOW))) == pytest.approx(1.8778, abs=5e-5)
    assert (chart.low, chart.high) == pytest.approx((45.8159, 55.8041), abs=5e-4)
    assert not chart.beyond.any()


def test_ewma_chart():
    """e-Handbook 6.3.2.4: lambda 0.3, start 50, s 2.0539; its limits are truncated."""
    values = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *FLOW]
    chart = ewma(np.array(values), 50.0, 2.0539, 0.3)
    assert chart.values[[0, 1, 2, -2, -1]] == pytest.approx([50.60, 49.52, 50.56, 51.94, 51.99], abs=0.0051)
    assert (chart.high, chart.low) == pytest.approx((52.5884, 47.4115), abs=2e-4)


def test_a_shift_is_named_soon_and_scatter_is_not():
    rng = np.random.default_rng(1)
    shifted = [running_alarm(rng.normal(2.0, 1, 40)) for _run in range(200)]
    quiet = [running_alarm(rng.normal(0.0, 1, 50)) for _run in range(400)]
    assert None not in shifted
    assert np.median(shifted) <= 4
    # a test of every record: about one run in ten of 50 records alarms without a cause
    assert np.mean([alarm is not None for alarm in quiet]) < 0.15


def test_charts_of_nothing():
    assert individuals(np.zeros(0)).centre == 0
    assert running_alarm(np.zeros(0)) is None
