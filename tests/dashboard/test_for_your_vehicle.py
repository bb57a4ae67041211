"""The page that is turned to a customer: first what is left, two or three beside each other, a change and what follows from it."""

from __future__ import annotations

import re
from typing import Any

import pymupdf
import pytest
import rig
from streamlit.testing.v1 import AppTest
from test_pages import run_page

from dashboard.places import STORE_PLACE
from dashboard.sheets import make_sheet
from dashboard.who import Asking
from pipeline.answers.customer import CustomerBuild, build_answer, changed, groups, key_of, made_up
from pipeline.answers.draft import Draft, DraftBody, from_json
from pipeline.errors import WrongCall
from pipeline.mass.model import Model
from pipeline.store import Edition, Store, desk

PAGE = rig.APP.parent / "app_pages" / "for_your_vehicle.py"


@pytest.fixture(scope="module")
def edition(store: Store) -> Edition:
    return store.live()


def asked(store: Store, edition: Edition, draft: Draft) -> CustomerBuild:
    return build_answer(edition, Model.from_json(edition.model_text()), store.settings(), key_of(draft), "everything")


def vehicle_with(edition: Edition, store: Store, least: int) -> tuple[str, str, list[Any]]:
    """A vehicle with so many groups: its id, what it is called, and the groups."""
    for vehicle_id, label in edition.cursor().execute("SELECT vehicle_id, label FROM vehicles ORDER BY label").fetchall():
        found = list(groups(edition.cursor(), store.settings(), vehicle_id).found)
        if len(found) >= least:
            return vehicle_id, label, found
    raise AssertionError("the store has no such vehicle")


def left_shown(app: AppTest) -> list[str]:
    return [metric.value for metric in app.metric]


def test_what_is_left_comes_first_and_follows_every_change(store: Store, edition: Edition, monkeypatch: pytest.MonkeyPatch) -> None:
    vehicle_id, _, (group, *_) = vehicle_with(edition, store, 1)
    app = run_page(PAGE, store.root, monkeypatch, **{"for": vehicle_id})
    base = made_up(edition.cursor(), store.settings(), vehicle_id, group)
    assert left_shown(app) == [f"{asked(store, edition, base).left.left_kg:,.0f} kg"]
    assert app.metric[0].label == "Left for people, luggage and tow ball, with a full tank"
    said = [one.value for one in app.markdown]
    place = next(at for at, text in enumerate(said) if "To be confirmed on the weighbridge" in text)
    assert not any(" kg" in text for text in said[:place])
    longer = base.bodies[0].length_mm + 300
    app.select_slider[0].set_value(longer).run()
    added = app.multiselect(key=next(one.key for one in app.multiselect if one.label == "Put in"))
    item = next(iter(set(dict(edition.cursor().execute("SELECT label, item_id FROM items").fetchall())) & set(added.options)))
    app.multiselect(key=added.key).select(item).run()
    item_id = edition.cursor().execute("SELECT item_id FROM items WHERE label = ?", [item]).fetchall()[0][0]
    answer = asked(store, edition, changed(changed(base, length_mm=longer), add=item_id))
    assert left_shown(app) == [f"{answer.left.left_kg:,.0f} kg"]
    said = " ".join(one.value for one in app.markdown)
    assert f"about **{answer.mass_kg:,.0f} kg**" in said
    assert "less** than the build it began with" in said
    assert item in said


def test_three_builds_lie_side_by_side_and_a_fourth_does_not(store: Store, edition: Edition, monkeypatch: pytest.MonkeyPatch) -> None:
    vehicle_id, _, found = vehicle_with(edition, store, 4)
    app = run_page(PAGE, store.root, monkeypatch, **{"for": vehicle_id})
    pills = app.button_group(key="beside-chosen")
    pills.set_value([f"{group.family}-{group.kind}" for group in found[:4]]).run()
    drafts = [made_up(edition.cursor(), store.settings(), vehicle_id, group) for group in found[:3]]
    assert left_shown(app) == [f"{asked(store, edition, draft).left.left_kg:,.0f} kg" for draft in drafts]
    assert any("The first 3" in caption.value for caption in app.caption)


def test_a_vehicle_that_history_does_not_know_begins_with_an_empty_body(
    store: Store, edition: Edition, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dashboard.vehicle.choice.groups", none_found)
    vehicle_id, _, _ = vehicle_with(edition, store, 1)
    app = run_page(PAGE, store.root, monkeypatch, **{"for": vehicle_id})
    assert "too few on vehicles like this" in app.info[0].value
    assert len(left_shown(app)) == 1
    assert not app.exception


def test_the_code_on_a_sheet_finds_its_draft_again(store: Store, edition: Edition, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(STORE_PLACE, str(store.root))
    vehicle_id, _, (group, *_) = vehicle_with(edition, store, 1)
    draft = changed(made_up(edition.cursor(), store.settings(), vehicle_id, group), length_mm=1450.0)
    with pymupdf.open(stream=make_sheet(draft, "", "", "letter", for_customer=True, asking=Asking(None, guarded=False))) as document:
        text = " ".join(" ".join(page.get_text() for page in document).split())
    (code,) = re.findall(r"Our code for this draft: (\w+)\.", text)
    kept = desk.draft(store, code)
    assert kept is not None
    assert from_json(kept.draft) == draft
    # the page and its sheet show the same figures
    assert f"about {asked(store, edition, draft).left.left_kg:.0f} kg" in text
    assert "alike bodies, " not in text
    assert "Masses are rounded to 5 kg" in text


def test_whoever_may_make_no_sheet_gets_none_on_a_customers_page_either(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(STORE_PLACE, str(store.root))
    ran_out = Asking({"email": "shop@example.org", "exp": 1.0}, guarded=True)
    with pytest.raises(WrongCall, match="not for the role"):
        make_sheet(Draft((DraftBody("tray", 2100.0, 1860.0),)), "", "", "a4", for_customer=True, asking=ran_out)


def none_found(con: Any, _settings: Any, vehicle_id: str) -> Any:
    from pipeline.answers.customer import Groups

    return Groups((), wider=True)
