"""What people add: drafts and views are kept beside the editions; settlements and typed tickets become hand-ins."""

from __future__ import annotations

import io
import zipfile
from datetime import date
from pathlib import Path

import pytest
import rig

from pipeline.answers.draft import Draft, DraftBody, DraftLine, code_of, folder_of, frames_of, from_json, to_json
from pipeline.answers.drafts import read_drafts
from pipeline.answers.settling import settle, type_ticket
from pipeline.errors import InputRefused
from pipeline.settings import Settings
from pipeline.store import Store, desk
from pipeline.store.load import load
from pipeline.store.rebuild import rebuild

DRAFT = Draft((DraftBody("tray", 2100.0, 1860.0, painted=True, lines=(DraftLine("side-rack", 2.0, "left-rear"),)),), vehicle_id="V1")


@pytest.fixture
def one(tmp_path: Path) -> Store:
    store = Store(tmp_path / "store")
    load([rig.one_job(tmp_path)], store)
    return store


def test_a_kept_draft_is_found_by_its_code_and_is_the_same(one: Store) -> None:
    desk.keep_draft(one, code_of(DRAFT), "enquiry of Tuesday", to_json(DRAFT), "somebody")
    kept = desk.draft(one, code_of(DRAFT).lower())
    assert kept is not None
    assert from_json(kept.draft) == DRAFT
    assert [found.name for found in desk.drafts(one)] == ["enquiry of Tuesday"]
    desk.forget_draft(one, code_of(DRAFT))
    assert desk.draft(one, code_of(DRAFT)) is None


def test_views_are_kept_by_name(one: Store) -> None:
    desk.keep_view(one, "north", "what-sells", "branches=north", "somebody")
    desk.keep_view(one, "north", "what-sells", "branches=north&kinds=tray", "somebody")
    assert [(view.name, view.query) for view in desk.views(one)] == [("north", "branches=north&kinds=tray")]
    desk.forget_view(one, "north")
    assert desk.views(one) == []


def test_a_code_depends_on_the_draft_alone() -> None:
    assert code_of(from_json(to_json(DRAFT))) == code_of(DRAFT)
    assert code_of(Draft(DRAFT.bodies, vehicle_id="V2")) != code_of(DRAFT)


def test_text_that_is_no_draft_is_refused() -> None:
    with pytest.raises(InputRefused, match="not a draft"):
        from_json('{"bodies": [{"body": "boat", "length_mm": 1, "width_mm": 1}]}')


def test_the_folder_of_a_draft_reads_back_as_the_same_frames(one: Store, tmp_path: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(folder_of(DRAFT, "mine"))) as archive:
        archive.extractall(tmp_path / "out")
    edition = one.live()
    read = read_drafts(tmp_path / "out" / "mine", edition, Settings())
    made = frames_of([DRAFT], edition.cursor(), edition.manifest["records_to"])
    for name in ("body", "length_mm", "width_mm", "painted"):
        assert read.bodies[name].tolist() == made.bodies[name].tolist()
    assert folder_of(DRAFT, "mine") == folder_of(DRAFT, "mine")


def test_a_settled_record_is_a_hand_in_of_its_own_and_a_rebuild_keeps_it(one: Store) -> None:
    what = {"table": "bodies", "key": "J1/tray", "rule": None, "verdict": "corrected", "column": "weighed_kg", "value": 155.0}
    result = settle(one, what, "ada@example.org", date(2026, 2, 3))
    con = result.edition.cursor()
    assert con.execute('SELECT key, verdict, "column", value, who FROM settlements').fetchall() == [
        ("J1/tray", "corrected", "weighed_kg", 155.0, "ada@example.org")
    ]
    assert rebuild(one).alike


def test_a_correction_without_a_value_is_refused_and_changes_nothing(one: Store) -> None:
    before = one.live_name()
    with pytest.raises(InputRefused, match="value"):
        settle(one, {"table": "bodies", "key": "J1/tray", "verdict": "corrected"}, "somebody", date(2026, 2, 3))
    assert one.live_name() == before


def test_a_typed_ticket_comes_in_like_any_other(one: Store) -> None:
    result = type_ticket(one, {"job_id": "J1", "ticket": "77", "weighed_on": date(2026, 3, 1), "state": "finished", "total_kg": 2450.0})
    assert result.edition.cursor().execute("SELECT job_id, ticket, total_kg FROM weighings").fetchall() == [("J1", "77", 2450.0)]


def test_a_ticket_without_a_mass_is_refused(one: Store) -> None:
    with pytest.raises(InputRefused, match="total kg"):
        type_ticket(one, {"job_id": "J1", "weighed_on": date(2026, 3, 1), "state": "finished"})
