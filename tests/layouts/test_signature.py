"""Signatures and the distance of two layouts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.distance import cdist
from small_edition import edition

from pipeline.layouts.families import signature_values
from pipeline.layouts.signature import Coordinates, distances, jaccard, mirrored
from pipeline.layouts.views import ask
from pipeline.settings_layouts import LayoutSettings

USUAL = LayoutSettings()
WORDS = st.sampled_from(
    [f"{group}@{side}-{place}" for group in ("kitchen", "drawer") for side in ("left", "right", "middle") for place in ("front", "rear")]
)
LAYOUT = st.frozensets(WORDS, max_size=8).map(lambda words: " ".join(sorted(words)))


def plain(*rows: list[int]) -> Coordinates:
    return Coordinates(np.array(rows, dtype=np.float32), np.ones(len(rows[0]), dtype=np.float32))


@pytest.mark.parametrize(("other", "expected"), [([0, 1, 0], 1.0), ([1, 1, 0], 0.5)])
def test_jaccard_distance_of_the_published_examples(other, expected):
    """Source: SciPy's documentation of scipy.spatial.distance.jaccard."""
    assert jaccard(plain([1, 0, 0]), plain(other))[0, 0] == pytest.approx(expected, abs=1e-7)


def test_jaccard_agrees_with_scipy_with_and_without_weights():
    rng = np.random.default_rng(3)
    a, b = rng.integers(0, 2, (40, 12)), rng.integers(0, 2, (30, 12))
    weights = rng.uniform(0.1, 3, 12)
    mine = jaccard(
        Coordinates(a.astype(np.float32), weights.astype(np.float32)), Coordinates(b.astype(np.float32), weights.astype(np.float32))
    )
    np.testing.assert_allclose(mine, cdist(a.astype(bool), b.astype(bool), "jaccard", w=weights), atol=1e-5)
    np.testing.assert_allclose(jaccard(plain(*a.tolist()), plain(*b.tolist())), cdist(a.astype(bool), b.astype(bool), "jaccard"), atol=1e-6)


@given(LAYOUT)
def test_a_mirror_image_of_a_mirror_image_is_the_layout(layout):
    assert mirrored(mirrored(layout)) == layout


@given(st.lists(st.tuples(LAYOUT, st.integers(1, 12)), min_size=2, max_size=6))
def test_distances_are_a_metric_that_mirror_images_share(layouts):
    texts, classes = [text for text, _ in layouts], [number for _, number in layouts]
    away, _ = distances(texts, classes, texts, classes, USUAL)
    assert np.all(away >= -1e-6)
    assert np.all(away <= 1 + 1e-6)
    np.testing.assert_allclose(away, away.T, atol=1e-5)
    np.testing.assert_allclose(np.diag(away), 0, atol=1e-5)
    assert np.all(away[:, :, None] <= away[:, None, :] + away.T[None, :, :] + 1e-4), "the way over a third layout is never shorter"
    turned, _ = distances(texts, classes, [mirrored(text) for text in texts], classes, USUAL)
    np.testing.assert_allclose(turned, away, atol=1e-5)


def test_mirror_images_are_apart_where_the_setting_says_so():
    apart = LayoutSettings(mirrors_together=False)
    one, other = ["kitchen@left-rear"], ["kitchen@right-rear"]
    assert distances(one, [7], other, [7], USUAL)[0][0, 0] == pytest.approx(0)
    assert distances(one, [7], other, [7], USUAL)[1][0, 0]
    assert distances(one, [7], other, [7], apart)[0][0, 0] > 0.3


def test_a_greater_difference_of_length_is_a_greater_distance():
    away, _ = distances(["kitchen@left-rear"], [6], ["kitchen@left-rear"] * 3, [6, 7, 10], USUAL)
    assert pytest.approx(away[0, 0], abs=1e-6) == 0
    assert away[0, 0] < away[0, 1] < away[0, 2]


def signature_of(lines: list[dict], settings: LayoutSettings = USUAL, **body: float) -> tuple[str, bool]:
    items = [
        {"item_id": "kitchen", "label": "kitchen", "group": "kitchen", "datasheet_kg": 20.0},
        {"item_id": "sink", "label": "sink", "group": "kitchen"},
        {"item_id": "drawer", "label": "drawer", "group": "drawer", "datasheet_kg": 14.0},
        {"item_id": "rack", "label": "rack", "group": "roof", "datasheet_kg": 1.0, "datasheet_kg_per_m": 8.0},
        {"item_id": "lamp", "label": "lamp", "group": "outside", "datasheet_kg": 2.0},
        {"item_id": "panel", "label": "panel", "group": "lining", "datasheet_kg": 9.0},
    ]
    key = {"job_id": "J", "body": "canopy"}
    con = edition(items=items, jobs=[{"job_id": "J"}], bodies=[{**key, **body}], fitout=[{**key, **line} for line in lines])
    row = ask(con, "signatures", **signature_values(settings)).row(0, named=True)
    return row["signature"], row["turned"]


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        ([], ""),
        ([{"item_id": "kitchen", "zone": "left-rear"}, {"item_id": "sink", "zone": "left-rear"}], "kitchen@left-rear"),
        ([{"item_id": "rack", "zone": "roof"}], "roof@middle-roof"),
        ([{"item_id": "lamp", "zone": "left-rear"}, {"item_id": "panel", "zone": "left-mid"}], ""),
        ([{"item_id": "kitchen"}], "kitchen@?-?"),
        ([{"item_id": "kitchen", "x_mm": 1500.0, "y_mm": -500.0}], "kitchen@left-rear"),
        ([{"item_id": "kitchen", "x_mm": 900.0, "y_mm": 100.0}], "kitchen@middle-mid"),
        ([{"item_id": "kitchen", "x_mm": 100.0, "y_mm": -700.0, "zone": "left-rear"}], "kitchen@left-rear"),
    ],
    ids=["empty", "two-of-a-group", "roof", "small-parts-and-lining", "no-place", "by-its-place", "middle", "zone-before-place"],
)
def test_lines_become_a_signature(lines, expected):
    assert signature_of(lines) == (expected, False)


def test_a_layout_and_its_mirror_image_have_one_signature():
    left = signature_of([{"item_id": "kitchen", "zone": "left-rear"}, {"item_id": "drawer", "zone": "right-mid"}])
    right = signature_of([{"item_id": "kitchen", "zone": "right-rear"}, {"item_id": "drawer", "zone": "left-mid"}])
    assert left[0] == right[0]
    assert left[1] != right[1]


def test_the_lists_of_what_is_left_out_are_settings():
    lines = [{"item_id": "panel", "zone": "left-mid"}, {"item_id": "drawer", "zone": "left-mid"}]
    assert signature_of(lines, LayoutSettings(left_out_groups=(), left_out_items=("drawer",)))[0] == "lining@left-mid"
