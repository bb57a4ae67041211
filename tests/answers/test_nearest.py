"""The nearest builds of an edition, whose bodies share lists of items: as if each had its own."""

from __future__ import annotations

import itertools

import pytest
from workshop import make_workshop, write_hand_in

from pipeline.answers.history import history_of
from pipeline.answers.nearest import nearest_builds
from pipeline.cli import main
from pipeline.mass.model import Model
from pipeline.mass.nearest import index_builds, nearest
from pipeline.store import Store


def test_they_are_those_of_a_search_through_every_body_and_line(tmp_path, monkeypatch):
    monkeypatch.setenv("TAREBOOK_KEY", str(tmp_path / "customer.key"))
    write_hand_in(make_workshop(seed=4, bodies=120), tmp_path / "history")
    store = ["--store", str(tmp_path / "store")]
    assert main(["load", str(tmp_path / "history"), *store, "--out", str(tmp_path / "accounts.csv")]) in (0, 1)
    assert main(["fit", *store]) == 0
    edition = Store(tmp_path / "store").live()
    history, model = history_of(edition.cursor()), Model.from_json(edition.model_text())
    whole = index_builds(model, history.bodies, history.fitout)
    assert edition.cursor().execute("SELECT count(DISTINCT list) < count(*) FROM body_facts WHERE weighed").fetchall() == [(True,)]
    for row, found in enumerate(nearest_builds(edition, history.bodies, history.fitout, 4)):
        slow = nearest(model, whole, history.bodies, history.fitout, row, 4)
        assert [near.distance_kg for near in found] == pytest.approx([near.distance_kg for near in slow], abs=1e-3)
        # the last ones may be as far away as others that were left out
        surely = [near.distance_kg < slow[-1].distance_kg - 1e-3 for near in slow]
        named = {
            (history.bodies["job_id"][near.row], history.bodies["body"][near.row], near.differs)
            for near in itertools.compress(slow, surely)
        }
        assert {(near.job_id, near.body, near.differs) for near in itertools.compress(found, surely)} == named
