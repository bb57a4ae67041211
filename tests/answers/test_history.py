"""The history that the fit reads is lean, and holds what the whole one holds."""

from __future__ import annotations

import numpy as np
import pytest
from polars.testing import assert_frame_equal
from workshop import make_workshop, write_hand_in

from pipeline.answers.history import histories, history_of, history_to_fit
from pipeline.cli import main
from pipeline.frames import narrowed
from pipeline.layouts.families import _layouts
from pipeline.mass.fit import READ
from pipeline.settings_layouts import LayoutSettings
from pipeline.store import Store
from pipeline.store.parts import job_spans


@pytest.fixture(scope="module")
def edition(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shop")
    write_hand_in(make_workshop(seed=4, bodies=150, tickets=0.5), folder / "history")
    assert main(["load", str(folder / "history"), "--store", str(folder / "store"), "--out", str(folder / "accounts.csv")]) in (0, 1)
    return Store(folder / "store").live()


def test_what_the_fit_reads_is_what_answers_read(edition):
    whole, lean = history_of(edition.cursor()), history_to_fit(edition.cursor())
    for table in ("bodies", "fitout", "items"):
        for column in READ[table]:
            np.testing.assert_array_equal(getattr(lean, table)[column], getattr(whole, table)[column], err_msg=f"{table}.{column}")
    for table in ("vehicles", "upgrades", "on_vehicle", "weighings"):
        assert {name: list(values) for name, values in getattr(lean, table).items() if values.dtype == object} == {
            name: list(values) for name, values in getattr(whole, table).items() if values.dtype == object
        }
    weighed = set(whole.weighings["job_id"].tolist())
    assert 10 < len(weighed) < len(whole.jobs["job_id"])
    assert lean.jobs["job_id"].tolist() == [job for job in whole.jobs["job_id"].tolist() if job in weighed]


def test_a_text_that_comes_again_stands_once(edition):
    bodies = history_to_fit(edition.cursor()).bodies
    for column in ("kind", "material", "branch"):
        told = bodies[column].tolist()
        assert len({id(text) for text in told}) == len(set(told)) < len(told)


def test_parts_of_a_history_are_the_whole(edition):
    whole, parts = history_of(edition.cursor()), list(histories(edition.cursor(), jobs=40))
    assert len(parts) > 2
    for table in ("bodies", "jobs", "weighings"):
        told = [text for part in parts for text in getattr(part, table)["job_id"].tolist()]
        assert told == getattr(whole, table)["job_id"].tolist()
    first = np.cumsum([0] + [len(part.bodies["job_id"]) for part in parts])
    lines = np.concatenate([part.fitout["body_row"] + start for part, start in zip(parts, first, strict=False)])
    np.testing.assert_array_equal(lines, whole.fitout["body_row"])


@pytest.mark.parametrize(("values", "kept_in"), [([1.5, np.nan, 2_400.0], np.float32), ([0.1], np.float64), ([16_777_217.0], np.float64)])
def test_numbers_are_narrowed_only_where_they_stay_the_same(values, kept_in):
    """0.1 is no sum of few halves, and single precision counts to 2^24 (IEEE 754)."""
    found = narrowed(np.array(values))
    assert found.dtype == kept_in
    np.testing.assert_array_equal(found.astype(np.float64), values)


def test_layouts_gathered_by_parts_of_history_are_those_of_the_whole(edition, monkeypatch):
    whole = _layouts(edition.cursor(), LayoutSettings())
    monkeypatch.setattr("pipeline.layouts.families.job_spans", lambda cursor: job_spans(cursor, 40))
    assert_frame_equal(_layouts(edition.cursor(), LayoutSettings()), whole)
    assert whole["bodies"].sum() == edition.cursor().execute("SELECT count(*) FROM current_bodies WHERE counted").fetchall()[0][0]
