"""Every page file, run in-process: a whole store, an empty one, one job, unknown ids and filters without a match."""

from __future__ import annotations

from pathlib import Path

import pytest
import rig
import streamlit as st
from streamlit.testing.v1 import AppTest

from dashboard.frame import PAGES as TITLES
from dashboard.places import STORE_PLACE
from dashboard.words import escaped
from pipeline.answers.access import PAGES as GUARDED
from pipeline.store import Store
from pipeline.store.load import load


def run_page(page: Path, store: Path, monkeypatch: pytest.MonkeyPatch, **query: str) -> AppTest:
    monkeypatch.setenv(STORE_PLACE, str(store))
    st.cache_data.clear()
    st.cache_resource.clear()
    app = AppTest.from_file(str(rig.APP), default_timeout=120)
    for name, value in query.items():
        app.query_params[name] = value
    app.run()
    if page.stem != "start":
        app.switch_page(f"app_pages/{page.name}").run()
    return app


def test_every_page_file_has_a_title_and_a_guard() -> None:
    names = {page.stem.replace("_", "-") for page in rig.PAGES}
    assert names == set(TITLES) == set(GUARDED)


@pytest.mark.parametrize("page", rig.PAGES, ids=lambda page: page.stem)
def test_a_page_of_a_whole_store_is_drawn(page: Path, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    app = run_page(page, store.root, monkeypatch)
    assert not app.exception
    assert not app.error
    assert [title.value for title in app.title] == [TITLES[page.stem.replace("_", "-")][0]]
    assert any("edition 2" in caption.value for caption in app.caption)


@pytest.mark.parametrize("page", rig.PAGES, ids=lambda page: page.stem)
def test_a_page_of_an_empty_store_says_so(page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = run_page(page, tmp_path / "nothing", monkeypatch)
    assert not app.exception
    assert not app.error
    assert app.info or page.stem in ("settings", "start")


@pytest.mark.parametrize("page", rig.PAGES, ids=lambda page: page.stem)
def test_a_page_of_one_job_without_a_model_is_drawn(page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    single = Store(tmp_path / "store")
    load([rig.one_job(tmp_path)], single)
    app = run_page(page, single.root, monkeypatch, **{"for": "V1", "view": "time", "job": "J1"})
    assert not app.exception
    assert not app.error


@pytest.mark.parametrize("page", rig.PAGES, ids=lambda page: page.stem)
def test_unknown_ids_in_the_address_and_filters_without_a_match_break_nothing(
    page: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = run_page(
        page,
        store.root,
        monkeypatch,
        job="NO-SUCH-JOB",
        draft="NO-SUCH-DRAFT",
        vehicles="NO-SUCH",
        families="999",
        since="2090-01-01",
        units="furlongs",
    )
    assert not app.exception
    assert not app.error


UNKNOWN = [
    ("what_sells", {"view": "Over time"}, "Tab"),
    ("what_sells", {"view": "time", "shares_of": "Items"}, "Shares of"),
    ("what_sells", {"view": "quotes", "grouping": "moon"}, "Grouped by"),
    ("what_sells", {"view": "together", "with_item": "ladder-to-the-moon"}, "What goes with"),
    ("what_sells", {"vehicles": "NO-SUCH"}, "Vehicle"),
    ("layout_families", {"family": "999"}, "Family"),
    ("near_the_limit", {"limit": "rear axle"}, "Limit"),
    ("near_the_limit", {"load": "with the travel load"}, "Loaded"),
    ("near_the_limit", {"margins_by": "moon"}, "By"),
    ("for_your_vehicle", {"for": "NO-SUCH"}, "Your vehicle"),
    ("job_finder", {"with": "NO-SUCH"}, "With items"),
    ("job_finder", {"years": "1850"}, "Years"),
    ("job_finder", {"length_from_mm": "long"}, "Length from, mm"),
    ("record_health", {"ledger_rules": "NO-SUCH"}, "Reason"),
    ("record_health", {"gaps_of": "moon"}, "Table"),
    ("start", {"units": "furlongs"}, "Units"),
]


@pytest.mark.parametrize(("page", "query", "label"), UNKNOWN, ids=[f"{page}-{[*query][-1]}" for page, query, _ in UNKNOWN])
def test_an_unknown_id_in_the_address_is_told_where_it_is_asked_for(
    page: str, query: dict[str, str], label: str, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = run_page(rig.APP.parent / "app_pages" / f"{page}.py", store.root, monkeypatch, **query)
    assert not app.exception
    asked = [*query.values()][-1]
    assert any(one.value.startswith(f"{label}: the address asks for {escaped(asked)}, which is no") for one in app.warning)


def test_a_wrong_setting_is_told_with_its_file_and_nothing_else_is_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    root = tmp_path / "store"
    root.mkdir()
    (root / "tarebook.toml").write_text("[limits]\nnear_margn_kg = 100\n")
    app = run_page(rig.APP.parent / "app_pages" / "start.py", root, monkeypatch)
    assert not app.exception
    assert [title.value for title in app.title] == ["Settings cannot be read"]
    assert "near_margn_kg" in app.error[0].value
    assert "tarebook.toml" in app.error[0].value
