"""In a real browser on a real server: two pages, an estimate, a new edition that arrives by itself, and no request to anybody else."""

from __future__ import annotations

from pathlib import Path

import pytest
import rig

from pipeline.store import load

pytestmark = [pytest.mark.browser, rig.needs_browser]


def test_pages_load_an_estimate_is_made_and_a_new_edition_arrives(tmp_path: Path) -> None:
    store = rig.make_store(tmp_path, bodies=120)
    with rig.server(store.root) as address, rig.browser() as chromium:
        page = chromium.new_page()
        watch = rig.Watch(page, address)
        page.goto(f"{address}/early-mass")
        rig.settle(page)
        first = page.get_by_role("heading", name="The canopy: about").inner_text()
        page.get_by_label("Length, mm").fill("2400")
        page.get_by_label("Length, mm").press("Enter")
        page.wait_for_function("before => ![...document.querySelectorAll('h3')].some(each => each.innerText === before)", arg=first)
        assert page.get_by_text("9 of 10 bodies like this fall between").is_visible()
        assert page.get_by_text("edition 2").is_visible()
        load([rig.one_job(tmp_path)], store)
        page.get_by_text("edition 3").wait_for(timeout=30_000)
        page.goto(f"{address}/record-health")
        rig.settle(page)
        page.get_by_role("cell", name="one-J1").first.wait_for()
        assert watch.strangers == []
        assert watch.complaints == []
