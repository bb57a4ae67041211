"""What the mass model doubts is kept with the edition, found from the job, taken along, and gone once somebody has settled it."""

from datetime import date
from pathlib import Path

import pytest
from workshop import make_workshop, write_hand_in

from pipeline.answers.access import Role
from pipeline.answers.doubts import FAR_OFF, SHORT_LIST, doubts
from pipeline.answers.exports import export
from pipeline.answers.files import Rows
from pipeline.answers.finder import open_job
from pipeline.answers.fitting import fit_store
from pipeline.answers.health import suspects
from pipeline.answers.settling import settle
from pipeline.answers.start import news
from pipeline.store import Store
from pipeline.store.load import load


@pytest.fixture(scope="module")
def store(tmp_path_factory) -> Store:
    """A workshop that types one mass in twenty wrong and leaves one item in twelve off its lists."""
    root: Path = tmp_path_factory.mktemp("doubts")
    write_hand_in(make_workshop(seed=3, bodies=160, gross=0.05, unlisted=0.08), root / "history")
    store = Store(root / "store")
    load([root / "history"], store)
    return store


def told(store: Store) -> Rows:
    return doubts(store.live().cursor(), store.settings())


def test_nothing_is_doubted_before_a_first_fit(store):
    assert told(store).rows == []


def test_doubts_are_kept_shown_and_settled(store):
    fit_store(store)
    found = told(store).records()
    assert {row["rule"] for row in found} == {FAR_OFF, SHORT_LIST}
    far = [row for row in found if row["rule"] == FAR_OFF]
    short = [row for row in found if row["rule"] == SHORT_LIST]
    assert found == far + short
    assert [row["cost"] for row in short] == sorted((row["cost"] for row in short), reverse=True)
    assert all(row["value_kg"] and row["expected_kg"] and row["column"] for row in far)
    assert len({(row["table"], row["key"], row["rule"]) for row in short}) == len(short)
    # the export holds what the page shows, and a job its own
    edition = store.live()
    assert export(edition, "doubts", store.settings(), Role.ENGINEER).rows == told(store).rows
    marked = {row["key"] for row in suspects(edition.cursor(), store.settings()).records()}
    first = next(row for row in far if row["key"] not in marked)
    marks = open_job(edition.cursor(), first["key"].split("/")[0]).marks
    assert (first["key"], FAR_OFF) in set(marks.select("key", "rule").iter_rows())
    before = news(edition.cursor(), store.settings()).suspects
    # settled as right: no question any more, now and after the next fit
    settle(store, {"table": first["table"], "key": first["key"], "rule": FAR_OFF, "verdict": "right"}, "a person", date(2026, 1, 5))
    assert first["key"] not in {row["key"] for row in told(store).records() if row["rule"] == FAR_OFF}
    assert news(store.live().cursor(), store.settings()).suspects == before - 1
    fit_store(store)
    assert first["key"] not in {row["key"] for row in told(store).records() if row["rule"] == FAR_OFF}
