"""Every page for everybody: axe-core, both looks, a phone's width, the keyboard, print; nothing asked of another host."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import rig

from dashboard.frame import PAGES
from pipeline.pictures.palette import DARK, LIGHT

pytestmark = [pytest.mark.browser, rig.needs_browser]

IN_STORIES = ("start", "what-sells", "layout-families", "early-mass", "for-your-vehicle")
"""Pages that `test_stories` looks at in every look and width, with something on them."""
NAMES = [name for name in PAGES if name not in IN_STORIES]


@pytest.mark.parametrize(("look", "width"), [("light", 1280), ("dark", 375)])
def test_no_page_has_a_serious_fault_or_scrolls_sideways(address: str, chromium: Any, look: str, width: int) -> None:
    page = rig.context(chromium, width, look).new_page()
    watch = rig.Watch(page, address)
    found = []
    for name in NAMES:
        page.goto(f"{address}/{name}")
        rig.settle(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, name
        found += [(name, *fault) for fault in rig.serious_faults(page)]
    page.context.close()
    assert found == []
    assert watch.strangers == []
    assert watch.complaints == []


def test_the_keyboard_alone_reaches_the_form_and_the_answer_and_opens_a_job(address: str, chromium: Any) -> None:
    page = chromium.new_context(viewport={"width": 1280, "height": 900}).new_page()
    page.set_default_timeout(rig.PATIENCE_MS)
    page.goto(f"{address}/early-mass")
    rig.settle(page)
    seen: list[str] = []
    for _ in range(80):
        page.keyboard.press("Tab")
        seen.append(page.evaluate("(document.activeElement.ariaLabel || document.activeElement.innerText || '').slice(0, 60)"))
    for wanted in ("Length, mm", "Fit-out", "Save picture", "Where does this come from?"):
        assert any(wanted in one for one in seen), (wanted, seen)
    page.goto(f"{address}/near-the-limit")
    rig.settle(page)
    page.get_by_test_id("stDataFrame").first.locator("canvas").first.focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Shift+Space")
    page.get_by_role("heading", name="with the travel load").wait_for()
    page.get_by_role("link", name="Open job").focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Back to the search").wait_for()
    page.context.close()


def test_a_printed_page_has_no_sidebar_and_no_buttons(address: str, chromium: Any) -> None:
    page = chromium.new_context().new_page()
    page.goto(f"{address}/record-health")
    rig.settle(page)
    page.emulate_media(media="print")
    assert not page.locator("[data-testid=stSidebar]").is_visible()
    assert not any(each.is_visible() for each in page.locator("[data-testid=stPopover]").all())
    assert len(page.pdf()) > 10_000
    page.context.close()


def test_the_theme_is_our_palette() -> None:
    import tomllib

    theme: dict[str, Any] = tomllib.loads((Path(rig.APP).parent / "theme.toml").read_text("utf-8"))["theme"]
    for look in (LIGHT, DARK):
        told = theme[look.name]
        assert (told["backgroundColor"], told["secondaryBackgroundColor"], told["textColor"]) == (look.paper, look.panel, look.ink)
        assert told["primaryColor"] == look.accent
        assert told["chartCategoricalColors"] == list(look.series)
        assert told["chartSequentialColors"] == list(look.ramp)
