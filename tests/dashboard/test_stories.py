"""Three people from Start to a file in their hands, in a real browser; and what a link, Back and a reload keep."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import rig

from pipeline.answers.drafts import read_drafts
from pipeline.settings import Settings
from pipeline.store import Store

pytestmark = [pytest.mark.browser, rig.needs_browser]

Open = Callable[..., Any]


@pytest.fixture
def opened(address: str, chromium: Any) -> Iterator[Open]:
    """A way to a page in a context of its own; at the end nothing was complained of and no stranger asked."""
    contexts, watches = [], []

    def open_page(path: str, width: int = 1280, look: str = "light") -> Any:
        contexts.append(chromium.new_context(viewport={"width": width, "height": 1000}, color_scheme=look, accept_downloads=True))
        page = contexts[-1].new_page()
        page.set_default_timeout(rig.PATIENCE_MS)
        watches.append(rig.Watch(page, address))
        page.goto(f"{address}/{path}")
        rig.settle(page)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert [watch.strangers + watch.complaints for watch in watches] == [[]] * len(watches)


def choose(page: Any, label: str, words: str) -> None:
    """Choose in a list, with the keyboard."""
    page.get_by_role("combobox", name=label, exact=True).click()
    page.keyboard.type(words)
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    rig.settle(page)


def taken(page: Any, button: str, kind: str, place: int = 0) -> bytes:
    """The file behind a button of a popover."""
    page.get_by_role("button", name=button).nth(place).click()
    with page.expect_download() as download:
        page.get_by_role("button", name=kind, exact=True).click()
    data = Path(download.value.path()).read_bytes()
    page.keyboard.press("Escape")
    return data


def said(page: Any) -> str:
    """The sentence that says what the filters let through."""
    return page.get_by_test_id("stMain").locator("p", has=page.locator("strong")).first.inner_text()


def go(page: Any, name: str) -> None:
    page.get_by_test_id("stSidebarNav").get_by_role("link", name=name).click()
    page.get_by_role("heading", level=1, name=name).wait_for()
    rig.settle(page)


def pick_row(page: Any, row: int = 0) -> None:
    """Choose a row of the first grid by its box."""
    grid = page.get_by_test_id("stDataFrame").first
    grid.scroll_into_view_if_needed()
    box = grid.bounding_box()
    page.mouse.click(box["x"] + 18, box["y"] + 35 + 17 + 35 * row)
    rig.settle(page)


def test_filters_stay_on_the_way_on_back_on_reload_and_in_a_link(opened: Open) -> None:
    page = opened("what-sells")
    everything = said(page)
    choose(page, "Kind of body", "canopy")
    vehicle = page.get_by_role("combobox", name="Vehicle", exact=True)
    vehicle.click()
    page.get_by_role("option").first.click()
    page.keyboard.press("Escape")
    rig.settle(page)
    narrow = said(page)
    assert "canopies sold on " in narrow
    assert narrow != everything
    sent = page.url
    go(page, "Near the limit")
    assert "delivered jobs with canopies on " in said(page)
    page.go_back()
    rig.settle(page)
    assert said(page) == narrow
    page.go_back()
    rig.settle(page)
    assert said(page) not in (narrow, everything)
    page.go_forward()
    rig.settle(page)
    page.reload()
    rig.settle(page)
    assert (said(page), page.url) == (narrow, sent)
    assert said(opened(sent.split("/", 3)[3])) == narrow
    page.get_by_role("button", name="Reset filters").click()
    rig.settle(page)
    assert said(page) == everything
    assert "?" not in page.url


def test_back_takes_a_choice_of_a_page_back_and_leads_to_the_page_before_in_one_step_each(opened: Open) -> None:
    page = opened("start")
    assert page.get_by_role("heading", level=1).inner_text() == "Start"
    assert page.get_by_role("dialog").count() == 0
    go(page, "What sells")
    page.get_by_role("tab", name="Over time").click()
    rig.settle(page)
    page.get_by_role("radio", name="Items").first.click()
    rig.settle(page)
    assert page.url.endswith("/what-sells?view=time&shares_of=item")
    go(page, "Near the limit")
    assert page.url.endswith("/near-the-limit")
    page.go_back()
    rig.settle(page)
    assert page.get_by_role("radio", name="Items").first.is_checked()
    page.go_back()
    rig.settle(page)
    assert page.get_by_role("radio", name="Layout families").first.is_checked()
    for _ in ("the tab", "the page"):
        page.go_back()
        rig.settle(page)
    assert page.url.endswith("/start")


def test_an_unknown_id_in_the_address_is_told(opened: Open) -> None:
    page = opened("near-the-limit?vehicles=NO-SUCH&kinds=canopy")
    assert page.get_by_text("Vehicle: the address asks for NO-SUCH, which is not to be found here").is_visible()
    assert "with canopies" in said(page)


def test_a_choice_in_a_chart_leads_to_its_rows_and_to_a_job(opened: Open) -> None:
    page = opened("what-sells?view=time")
    page.get_by_test_id("stVegaLiteChart").nth(1).locator("path[aria-roledescription=bar]").first.click()
    page.get_by_role("heading", name="Bodies behind").wait_for()
    rig.settle(page)
    pick_row(page)
    page.get_by_role("link", name="Open job").click()
    page.get_by_role("button", name="Back to the search").wait_for()
    assert "job=" in page.url
    page.get_by_role("heading", level=2, name="Job ").wait_for()


def test_the_manager_finds_what_changed_keeps_the_view_and_takes_it_along(opened: Open) -> None:
    page = opened("")
    for heading in ("What came in last", "What really changed in sales", "Near the limit", "Quotes gone quiet"):
        page.get_by_role("heading", name=heading, exact=True).wait_for()
    page.get_by_role("link", name="See every comparison").click()
    rig.settle(page)
    choose(page, "Kind of body", "tray")
    trays = said(page)
    page.get_by_role("button", name="Save this view").click()
    page.get_by_role("textbox", name="Name").fill("trays for the meeting")
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_text("it stands on Start").wait_for()
    page = opened("")
    page.get_by_role("button", name="trays for the meeting (What sells)").click()
    page.get_by_role("heading", level=1, name="What sells").wait_for()
    rig.settle(page)
    assert said(page) == trays
    assert taken(page, "Save picture", "PNG").startswith(b"\x89PNG")
    assert b"<svg" in taken(page, "Save picture", "SVG")[:200]
    go(page, "Layout families")
    cells = page.get_by_test_id("stTable").first.locator("tbody tr").all()
    rows = list(csv.DictReader(io.StringIO(taken(page, "Take along", "CSV").decode("utf-8-sig"))))
    assert [row["name"] for row in rows] == [cell.locator("td").nth(1).inner_text() for cell in cells]
    assert zipfile.is_zipfile(io.BytesIO(taken(page, "Take along", "XLSX")))
    assert taken(page, "Take along", "Parquet")[:4] == b"PAR1"


def test_the_engineer_lays_three_drafts_side_by_side_and_takes_one_to_the_commands(opened: Open, store: Store, tmp_path: Path) -> None:
    page = opened("early-mass")
    for letter in ("A", "B", "C"):
        page.get_by_role("radio", name=letter, exact=True).click()
        rig.settle(page)
        page.get_by_role("button", name="Start from …").click()
        page.get_by_role("button", name="Start from its typical build").click()
        page.keyboard.press("Escape")
        page.get_by_text("Tightest limit").first.wait_for()
        rig.settle(page)
    before = page.get_by_role("heading", name=": about").first.inner_text()
    page.get_by_label("Length, mm").first.fill("2300")
    page.get_by_label("Length, mm").first.press("Enter")
    page.wait_for_function("said => ![...document.querySelectorAll('h3')].some(each => each.innerText === said)", arg=before)
    rig.settle(page)
    beside = page.get_by_label("Drafts side by side", exact=True).locator("tbody tr")
    assert [row.locator("td").first.inner_text() for row in beside.all()] == ["A", "B", "C"]
    assert page.locator("ul.key li").count() > 0
    page.get_by_role("button", name="Keep and send").click()
    page.get_by_role("textbox", name="Name").fill("enquiry of Tuesday")
    page.get_by_role("button", name="Keep this draft").click()
    link = page.get_by_test_id("stCode").inner_text().strip()
    page.keyboard.press("Escape")
    with page.expect_download() as download:
        page.get_by_role("button", name="Folder for the commands").click()
    with zipfile.ZipFile(download.value.path()) as archive:
        archive.extractall(tmp_path)
    assert read_drafts(next(tmp_path.iterdir()), store.live(), Settings()).bodies["length_mm"].tolist()[0] == 2300
    made = page.get_by_role("heading", name=": about").first.inner_text()
    again = opened(link.split("/", 3)[3], width=375, look="dark")
    assert again.get_by_role("heading", name=": about").first.inner_text() == made


def test_the_salesperson_turns_a_phone_to_a_customer_and_hands_over_a_sheet(opened: Open) -> None:
    page = opened("for-your-vehicle", width=375, look="dark")
    page.get_by_role("combobox", name="Your vehicle").click()
    page.get_by_role("option").first.click()
    page.get_by_text("Left for people, luggage and tow ball").first.wait_for()
    rig.settle(page)
    assert taken(page, "Sheet to take home", "PDF, A4").startswith(b"%PDF")
    assert page.evaluate("document.documentElement.scrollWidth") <= 375
