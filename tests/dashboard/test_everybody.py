"""Every page for everybody: axe-core, both looks, a phone's width, the keyboard, print; nothing asked of another host."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import rig

from dashboard.frame import PAGES
from pipeline.pictures.palette import DARK, LIGHT

pytestmark = [pytest.mark.browser, rig.needs_browser]

SERIOUS = ("serious", "critical")
NAMES = ["", *(name for name in PAGES if name != "start")]
NOT_OURS = ("picked_brush",)
"""The frame that the charting library draws around a dragged span carries no title and cannot be given one."""


@pytest.mark.parametrize("look", ["light", "dark"])
def test_axe_finds_no_serious_fault(address: str, look: str) -> None:
    from axe_core_python.sync_playwright import Axe

    found = []
    with rig.browser() as chromium:
        page = chromium.new_context(viewport={"width": 1280, "height": 1200}, color_scheme=look).new_page()
        watch = rig.Watch(page, address)
        for name in NAMES:
            page.goto(f"{address}/{name}")
            rig.settle(page)
            for fault in Axe().run(page)["violations"]:
                nodes = [node["html"] for node in fault["nodes"] if not any(word in node["html"] for word in NOT_OURS)]
                if fault["impact"] in SERIOUS and nodes:
                    found.append((name, fault["id"], nodes[0][:200]))
    assert found == []
    assert watch.strangers == []
    assert watch.complaints == []


def test_no_page_scrolls_sideways_on_a_phone(address: str) -> None:
    with rig.browser() as chromium:
        page = chromium.new_context(viewport={"width": 375, "height": 800}).new_page()
        for name in NAMES:
            page.goto(f"{address}/{name}")
            rig.settle(page)
            assert page.evaluate("document.documentElement.scrollWidth") <= 375, name


def test_the_keyboard_alone_reaches_the_form_and_the_answer(address: str) -> None:
    with rig.browser() as chromium:
        page = chromium.new_context(viewport={"width": 1280, "height": 900}).new_page()
        page.goto(f"{address}/early-mass")
        rig.settle(page)
        seen: list[str] = []
        for _ in range(80):
            page.keyboard.press("Tab")
            seen.append(page.evaluate("(document.activeElement.ariaLabel || document.activeElement.innerText || '').slice(0, 60)"))
        for wanted in ("Length, mm", "Fit-out", "Save picture", "Where does this come from?"):
            assert any(wanted in one for one in seen), (wanted, seen)


def test_a_printed_page_has_no_sidebar_and_no_buttons(address: str) -> None:
    with rig.browser() as chromium:
        page = chromium.new_page()
        page.goto(f"{address}/record-health")
        rig.settle(page)
        page.emulate_media(media="print")
        assert not page.locator("[data-testid=stSidebar]").is_visible()
        assert not any(each.is_visible() for each in page.locator("[data-testid=stPopover]").all())
        assert len(page.pdf()) > 10_000


def test_the_theme_is_our_palette() -> None:
    import tomllib

    theme: dict[str, Any] = tomllib.loads((Path(rig.APP).parent / "theme.toml").read_text("utf-8"))["theme"]
    for look in (LIGHT, DARK):
        told = theme[look.name]
        assert (told["backgroundColor"], told["secondaryBackgroundColor"], told["textColor"]) == (look.paper, look.panel, look.ink)
        assert told["primaryColor"] == look.accent
        assert told["chartCategoricalColors"] == list(look.series)
        assert told["chartSequentialColors"] == list(look.ramp)
