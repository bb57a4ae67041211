"""In a real browser on a real server: from an empty store to the first picture, and what people add to it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import rig
from workshop import make_workshop, write_hand_in

from pipeline.store import Store
from pipeline.store.load import load

pytestmark = [pytest.mark.browser, rig.needs_browser]


def hand_in(root: Path) -> list[Path]:
    """Records of a small workshop, one body of which is too wide to be believed."""
    folder = root / "history"
    write_hand_in(make_workshop(seed=5, bodies=60), folder)
    bodies = folder / "bodies.csv"
    lines = bodies.read_text("utf-8").splitlines()
    width = lines[0].split(",").index("width_mm")
    cells = lines[1].split(",")
    cells[width] = "2600"
    bodies.write_text("\n".join([lines[0], ",".join(cells), *lines[2:]]) + "\n", "utf-8")
    return sorted(folder.glob("*.csv"))


def upload(page: Any, chosen: list[Path] | Path, files: int) -> None:
    """Choose files or a folder, and wait until the server has all of them."""
    sent = []

    def all_sent(request: Any) -> bool:
        sent.extend([request.url] if request.method == "PUT" and "/upload_file/" in request.url else [])
        return len(sent) == files

    # one that was there for files stays for a moment beside the one for a folder
    page.wait_for_function("document.querySelectorAll('input[type=file]').length === 1")
    with page.expect_event("requestfinished", predicate=all_sent):
        page.locator("input[type=file]").set_input_files(chosen)
    page.wait_for_timeout(500)


def test_an_empty_store_is_filled_and_its_records_are_settled_and_added_to(tmp_path: Path, chromium: Any) -> None:
    store = Store(tmp_path / "store")
    with rig.server(store.root) as address:
        page = chromium.new_context(viewport={"width": 1280, "height": 1000}).new_page()
        page.set_default_timeout(rig.PATIENCE_MS)
        watch = rig.Watch(page, address)
        page.goto(address)
        rig.settle(page)
        assert page.get_by_text("Nothing is loaded yet").is_visible()
        files = hand_in(tmp_path)
        upload(page, files, len(files))
        page.get_by_role("textbox", name="Name of the hand-in").fill("all of it")
        page.get_by_role("button", name="Hand in", exact=True).click()
        page.get_by_text("· edition 2").wait_for()
        page.get_by_text("holds it.").wait_for()
        page.get_by_role("link", name="See what sells over time").click()
        page.get_by_test_id("stVegaLiteChart").first.wait_for()

        page.goto(f"{address}/record-health")
        page.get_by_role("heading", name="What is written down").wait_for()
        rig.settle(page)
        page.get_by_role("combobox", name="Open one of these").first.click()
        page.keyboard.type("bodies")
        page.keyboard.press("Enter")
        page.get_by_role("heading", name="Settle ").wait_for()
        page.get_by_role("button", name="Settle it").click()
        page.get_by_text("· edition 3").wait_for()
        settled = store.live().cursor().execute("SELECT verdict, who FROM settlements").fetchall()
        assert settled == [("right", "somebody at this machine")]

        job_id = store.live().cursor().execute("SELECT min(job_id) FROM current_jobs").fetchall()[0][0]
        page.goto(f"{address}/job-finder?job={job_id}")
        rig.settle(page)
        page.get_by_text("Type a weighbridge ticket in").click()
        page.get_by_label("Number of the ticket").fill("T-77")
        rig.press_option(page, "State", "bodies on, nothing loaded")
        page.get_by_role("listbox").wait_for(state="detached")
        page.get_by_label("Whole vehicle, kg").fill("2450")
        page.get_by_role("button", name="Take it in").click()
        page.get_by_text("· edition 4").wait_for()
        page.get_by_role("cell", name="T-77").first.wait_for()

        load([rig.one_job(tmp_path)], store)
        page.get_by_text("· edition 5").wait_for(timeout=30_000)
        page.goto(f"{address}/record-health")
        rig.settle(page)
        page.get_by_role("cell", name="one-J1").first.wait_for()
        page.context.close()
        assert watch.strangers == []
        assert watch.complaints == []


def test_a_whole_folder_goes_in_as_it_lies(tmp_path: Path, chromium: Any) -> None:
    (tmp_path / "records").mkdir()
    for year in ("2025", "2026"):
        # the same file names in both
        rig.one_job(tmp_path, f"J{year}").rename(tmp_path / "records" / year)
    store = Store(tmp_path / "store")
    with rig.server(store.root) as address:
        page = chromium.new_context(viewport={"width": 375, "height": 1000}).new_page()
        page.set_default_timeout(rig.PATIENCE_MS)
        page.goto(address)
        rig.settle(page)
        page.get_by_role("radio", name="a folder").click()
        page.get_by_text("A folder with all that is in it").wait_for()
        upload(page, tmp_path / "records", 6)
        page.get_by_text("Fit the mass model anew afterwards").click()
        page.get_by_role("button", name="Hand in", exact=True).click()
        page.get_by_text("holds it.").wait_for()
        page.context.close()
    assert [each["name"] for each in store.live().manifest["hand_ins"]] == ["2025", "2026"]
    assert store.live().cursor().execute("SELECT job_id FROM current_jobs ORDER BY 1").fetchall() == [("J2025",), ("J2026",)]
