"""Charts: they say what the numbers say, in words too, and have something to show when there is nothing."""

from __future__ import annotations

import datetime as dt
import json
import re

import altair as alt
import numpy as np
import polars as pl
import pytest
from jsonschema import ValidationError

from pipeline.pictures import charts
from pipeline.pictures.charts.base import rows
from pipeline.pictures.palette import DARK, LIGHT
from pipeline.pictures.units import plain

PARTS = [
    {"label": "shell", "kg": 150.0, "sd_kg": 5.0},
    {"label": "fridge slide", "kg": 22.0, "sd_kg": 1.0},
    {"label": "drift", "kg": -3.0, "sd_kg": 1.0},
]
LIMITS = [
    {"limit": "gvm", "unit": "kg", "value": 3094.0, "low": 3060.0, "high": 3128.0, "rating": 3150.0, "margin": 56.0, "verdict": "under"},
    {
        "limit": "rear_axle",
        "unit": "kg",
        "value": 1872.0,
        "low": 1840.0,
        "high": 1905.0,
        "rating": 1850.0,
        "margin": -22.0,
        "verdict": "over",
    },
    {
        "limit": "rear_tyres",
        "unit": "kg",
        "value": 1872.0,
        "low": 1840.0,
        "high": 1905.0,
        "rating": None,
        "margin": None,
        "verdict": "unknown",
    },
]
HISTORY = [{"job_id": f"J{n}", "body": "canopy", "length_mm": 1500.0 + n, "mass_kg": 250.0 + n, "source": "weighed"} for n in range(5)]
QUARTERS = [
    {"quarter": quarter, "value": value, "share": share, "low": share - 0.05, "high": share + 0.05, "of": 40}
    for quarter, value, share in [
        ("2026-Q1", "tourer", 0.2),
        ("2026-Q2", "tourer", 0.3),
        ("2026-Q1", "trade", 0.5),
        ("2026-Q2", "trade", 0.4),
    ]
]
CHANGES = [{"label": "tourer", "share_before": 0.18, "share_now": 0.31, "low": 0.07, "high": 0.19, "changed": 1}]
READINGS = [
    {"on": dt.date(2026, 1, n + 1), "value": float(n), "smoothed": n / 2, "centre": 1.0, "low": -2.0, "high": 3.0, "outside": int(n > 3)}
    for n in range(5)
]
CURVES = [{"value": "canopy", "days": float(day), "share": day / 100, "low": 0.0, "high": 0.5} for day in range(0, 40, 10)]
KNOWN = [
    {"column": "weighed_kg", "quarter": quarter, "share": share, "rows": 20} for quarter, share in [("2026-Q1", 0.2), ("2026-Q2", 0.95)]
]
LEVELS = [{"level": level, "covered": level + 0.01, "low": level - 0.05, "high": level + 0.04, "n": 80} for level in (0.5, 0.8, 0.9)]
ERRORS = [{"group": "short", "n": 30, "error_kg": 2.0, "low_kg": -1.0, "high_kg": 5.0}]

CASES = {
    charts.contributions: PARTS,
    charts.limits: LIMITS,
    charts.margins: [{"margin_kg": value} for value in (-60.0, -10.0, 20.0, 30.0, 120.0)],
    charts.mass_by_length: HISTORY,
    charts.reliability: LEVELS,
    charts.error_by_group: ERRORS,
    charts.shares: QUARTERS,
    charts.changes: CHANGES,
    charts.conversion: CURVES,
    charts.counts: [{"value": "tourer", "count": 12}, {"value": "trade", "count": 3}],
    charts.individuals: READINGS,
    charts.ewma: READINGS,
    charts.completeness: KNOWN,
}
EVERY = pytest.mark.parametrize("chart", CASES, ids=lambda chart: chart.__name__)


def said(part: str | list[str]) -> str:
    """A title or subtitle, whether it was broken into lines or not."""
    return part if isinstance(part, str) else " ".join(part)


def values(chart) -> list[dict]:
    """Rows of all layers."""
    spec = chart.to_dict()
    named = [row for rows_ in spec.get("datasets", {}).values() for row in rows_]
    shared = spec.get("data", {}).get("values", [])
    return named + shared + [row for layer in spec["layer"] for row in layer.get("data", {}).get("values", [])]


@EVERY
@pytest.mark.parametrize("look", [LIGHT, DARK], ids=lambda look: look.name)
def test_each_chart_asks_answers_and_describes_itself(chart, look):
    spec = chart(CASES[chart], charts.Style(look=look)).to_dict()
    assert said(spec["title"]["text"]).endswith("?")
    assert said(spec["title"]["subtitle"])
    assert len(spec["description"]) > len(said(spec["title"]["text"]))
    assert spec["config"]["background"] == look.paper
    assert spec["width"] == "container"


@EVERY
@pytest.mark.parametrize("pick", [False, True])
def test_each_chart_is_valid_vega_lite(chart, pick):
    """By the JSON schema of Vega-Lite itself, as altair carries it."""
    alt.LayerChart.from_dict(chart(CASES[chart], charts.Style(pick=pick)).to_dict(), validate=True)
    alt.LayerChart.from_dict(chart([], charts.Style(pick=pick)).to_dict(), validate=True)
    broken = chart(CASES[chart]).to_dict() | {"width": "as wide as it goes"}
    with pytest.raises(ValidationError):
        alt.LayerChart.from_dict(broken, validate=True)


@EVERY
def test_each_chart_has_an_empty_state_of_its_own(chart):
    spec = chart([]).to_dict()
    assert said(spec["title"]["text"]).endswith("?")
    assert spec["description"].endswith((".", "!"))


@EVERY
def test_one_row_and_unknown_values_are_drawn(chart):
    one = CASES[chart][:1]
    holes = [{name: (None if isinstance(value, float) else value) for name, value in row.items()} for row in one]
    chart(one).to_dict()
    chart(holes).to_dict()


@EVERY
def test_columns_polars_and_rows_give_the_same_chart(chart):
    records = CASES[chart]
    columns = {}
    for name in records[0]:
        cells = [row[name] for row in records]
        if isinstance(cells[0], dt.date):
            columns[name] = np.array(cells, dtype="datetime64[D]")
        elif isinstance(cells[0], str):
            columns[name] = np.array(cells, dtype=object)
        else:
            columns[name] = np.array([np.nan if cell is None else cell for cell in cells], dtype=np.float64)
    plain_spec = numbers_alike(chart(records))
    assert numbers_alike(chart(columns)) == plain_spec
    assert numbers_alike(chart(pl.DataFrame(records))) == plain_spec


def numbers_alike(chart) -> str:
    """The chart's JSON with integers written as floats, and without the digest that names a dataset."""
    text = json.dumps(json.loads(json.dumps(chart.to_dict()), parse_int=float), sort_keys=True)
    return re.sub(r"data-[0-9a-f]{32}", "data", text)


@EVERY
def test_all_text_reads_no_network(chart):
    spec = chart(CASES[chart]).to_dict()
    spec.pop("$schema")
    assert "http" not in json.dumps(spec)


@pytest.mark.parametrize("chart", [charts.limits, charts.completeness, charts.shares], ids=lambda chart: chart.__name__)
def test_the_charting_engine_takes_it_without_a_word(chart, capfd):
    vl_convert = pytest.importorskip("vl_convert")
    svg = vl_convert.vegalite_to_svg(chart(CASES[chart], charts.Style(width=400)).to_dict())
    assert "<svg" in svg
    assert "WARN" not in capfd.readouterr().err


def test_contributions_add_up_and_lump_the_smallest():
    many = [{"label": f"part {n}", "kg": 30.0 - n, "sd_kg": 1.0} for n in range(25)]
    spec = charts.contributions(many)
    bars = {row["label"]: row["value"] for row in values(spec) if "value" in row}
    assert sum(bars.values()) == pytest.approx(sum(row["kg"] for row in many))
    assert "10 smaller parts" in bars
    assert "What makes up these 450 kg?" in said(spec.to_dict()["title"]["text"])


def test_limits_stand_as_shares_of_their_rating_with_margin_in_words():
    found = {row["name"]: row for row in values(charts.limits(LIMITS)) if "share" in row}
    assert found["whole vehicle (GVM)"]["share"] == pytest.approx(3094 / 3150)
    assert found["whole vehicle (GVM)"]["said"] == "56 kg left"
    assert found["rear axle"]["said"] == "22 kg over"
    assert "rear tyres" not in found
    assert "Tightest: rear axle, 22 kg over" in said(charts.limits(LIMITS).to_dict()["title"]["subtitle"])


def test_a_margin_that_may_be_over_says_so():
    maybe = [LIMITS[0] | {"verdict": "may be over"}]
    assert "56 kg left, may be over" in {row.get("said") for row in values(charts.limits(maybe))}


def test_a_bin_of_margins_never_straddles_the_rating():
    spec = charts.margins([{"margin_kg": value} for value in (-1.0, 0.0, 1.0, -49.0, 51.0)])
    bins = [row for row in values(spec) if "jobs" in row]
    assert [(row["low"], row["high"], row["jobs"], row["side"]) for row in bins] == [
        (-50.0, 0.0, 2, "over"),
        (0.0, 50.0, 2, "under"),
        (50.0, 100.0, 1, "under"),
    ]
    assert said(spec.to_dict()["title"]["subtitle"]).startswith("2 of 5 over the rating")


def test_a_million_margins_are_binned_and_not_sent():
    spec = charts.margins({"margin_kg": np.linspace(-500, 900, 100_000)})
    assert len(values(spec)) < 60


def test_units_change_numbers_and_words_together():
    # 1 lb = 0.45359237 kg exactly (NIST SP 811)
    spec = charts.mass_by_length(HISTORY[:1], charts.Style(units="imperial")).to_dict()
    row = values(charts.mass_by_length(HISTORY[:1], charts.Style(units="imperial")))[0]
    assert row["mass"] == pytest.approx(250 / 0.45359237)
    assert row["length"] == pytest.approx(1500 / 25.4)
    assert "finished mass, lb" in json.dumps(spec)
    assert charts.margin_said(100, "kg", charts.Style(units="imperial")) == "220 lb left"


def test_the_draft_and_its_nearest_are_named():
    draft = {"length_mm": 1600.0, "estimate_kg": 300.0, "low_kg": 280.0, "high_kg": 322.0}
    spec = charts.mass_by_length(HISTORY, draft=draft, nearest=["J2"]).to_dict()
    assert "This draft: about 300 kg, 280 to 322." in spec["description"]
    assert "1 most alike" in said(spec["title"]["subtitle"])
    alone = charts.mass_by_length([], draft=draft).to_dict()
    assert "0 bodies" in alone["title"]["subtitle"]


def test_only_the_largest_values_get_a_line_and_the_rest_is_said():
    many = [row | {"value": f"item {n}", "share": 0.05 * n} for n in range(1, 10) for row in QUARTERS[:1]]
    spec = charts.shares(many)
    assert {row["value"] for row in values(spec)} == {f"item {n}" for n in range(4, 10)}
    assert "3 rarer ones" in said(spec.to_dict()["title"]["subtitle"])


def test_dots_can_be_picked_only_where_asked():
    for chart in (charts.mass_by_length, charts.margins, charts.shares, charts.changes, charts.individuals):
        assert "params" not in chart(CASES[chart]).to_dict()
        found = chart(CASES[chart], charts.Style(pick=True)).to_dict()["params"]
        assert [param["name"] for param in found] == [charts.PICK]


def test_dates_do_not_shift_with_the_clock_of_the_reader():
    spec = charts.individuals(READINGS).to_dict()
    axes = [layer["encoding"]["x"] for layer in spec["layer"]]
    assert all(axis["scale"]["type"] == "utc" for axis in axes)
    assert rows(READINGS)[0]["on"] == "2026-01-01"


def test_readings_outside_are_counted():
    assert said(charts.individuals(READINGS).to_dict()["title"]["subtitle"]) == "1 of 5 readings outside the limits, the last on 2026-01-05"


@pytest.mark.parametrize(("value", "said"), [(np.float64(2.5), "2"), (-3.4, "−3"), (-0.0, "0"), (float("nan"), "–")])
def test_plain_numbers(value, said):
    assert plain(value) == said
