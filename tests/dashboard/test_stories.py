"""Three people from Start to a file in their hands, in a real browser; and what a link, Back and a reload keep."""

from __future__ import annotations

import contextlib
import csv
import io
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pymupdf
import pytest
import rig

from pipeline.answers.drafts import Drafts, read_drafts
from pipeline.settings import Settings, list_settings
from pipeline.store import Store

pytestmark = [pytest.mark.browser, rig.needs_browser]

Open = Callable[..., Any]

in_every_look = pytest.mark.parametrize(("width", "look"), [(width, look) for width in (1280, 375) for look in ("light", "dark")])


@pytest.fixture
def opened(address: str, chromium: Any) -> Iterator[Open]:
    """A way to a page in a context of its own; at the end nothing was complained of and no stranger asked."""
    contexts, watches = [], []

    def open_page(path: str, width: int = 1280, look: str = "light") -> Any:
        contexts.append(rig.context(chromium, width, look))
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
    """Choose in a list."""
    rig.press_option(page, label, words)
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


def looked_at(page: Any) -> None:
    """Nothing on the page is hard to read or to reach, and nothing of it lies beside the screen."""
    assert rig.serious_faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.screen.width")


@contextlib.contextmanager
def sidebar(page: Any) -> Iterator[Any]:
    """The sidebar, which a phone keeps folded away."""
    folded = page.get_by_test_id("stExpandSidebarButton")
    if folded.is_visible():
        folded.click()
        rig.settle(page)
        yield page.get_by_test_id("stSidebar")
        fold = page.get_by_test_id("stSidebarCollapseButton").locator("button")
        if fold.is_visible():
            fold.click()
        rig.settle(page)
    else:
        yield page.get_by_test_id("stSidebar")


def said(page: Any) -> str:
    """The sentence that says what the filters let through."""
    return page.get_by_test_id("stMain").locator("p", has=page.locator("strong")).first.inner_text()


def go(page: Any, name: str) -> None:
    with sidebar(page) as side:
        side.get_by_test_id("stSidebarNav").get_by_role("link", name=name).click()
        page.wait_for_timeout(300)
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


@in_every_look
def test_the_manager_finds_what_changed_and_takes_the_families_along(opened: Open, width: int, look: str) -> None:
    page = opened("", width, look)
    for heading in ("What came in last", "What really changed in sales", "Near the limit", "Quotes gone quiet"):
        page.get_by_role("heading", name=heading, exact=True).wait_for()
    looked_at(page)
    page.get_by_role("link", name="See every comparison").click()
    page.get_by_role("heading", level=1, name="What sells").wait_for()
    rig.settle(page)
    with sidebar(page):
        choose(page, "Kind of body", "tray")
    assert "trays sold" in said(page)
    looked_at(page)
    assert taken(page, "Save picture", "PNG").startswith(b"\x89PNG")
    go(page, "Layout families")
    looked_at(page)
    cells = page.get_by_test_id("stTable").first.locator("tbody tr").all()
    rows = list(csv.DictReader(io.StringIO(taken(page, "Take along", "CSV").decode("utf-8-sig"))))
    assert [row["name"] for row in rows] == [cell.locator("td").nth(1).inner_text().replace("\N{NO-BREAK SPACE}", " ") for cell in cells]
    assert zipfile.is_zipfile(io.BytesIO(taken(page, "Take along", "XLSX")))
    assert taken(page, "Take along", "Parquet")[:4] == b"PAR1"


@in_every_look
def test_the_engineer_estimates_a_draft_and_takes_it_to_the_commands(
    opened: Open, store: Store, tmp_path: Path, width: int, look: str
) -> None:
    page = opened("early-mass", width, look)
    start_typical(page)
    lengthen(page, 2300)
    assert page.locator("ul.key li").count() > 0
    looked_at(page)
    assert drafts_taken(page, tmp_path, store).bodies["length_mm"].tolist() == [2300]


@in_every_look
def test_the_salesperson_turns_the_screen_to_a_customer_and_hands_over_a_sheet(opened: Open, width: int, look: str) -> None:
    page = opened("for-your-vehicle", width, look)
    page.get_by_role("combobox", name="Your vehicle").click()
    page.get_by_role("option").first.click()
    page.get_by_text("Left for people, luggage and tow ball").first.wait_for()
    rig.settle(page)
    looked_at(page)
    with pymupdf.open(stream=taken(page, "Sheet to take home", "PDF, A4")) as document:
        told = " ".join(sheet.get_text() for sheet in document)
    left = page.get_by_test_id("stMetricValue").first.inner_text().removesuffix(" kg")
    assert f"about {left.replace(',', '')} kg" in " ".join(told.replace(",", "").split())


def start_typical(page: Any) -> None:
    page.get_by_role("button", name="Start from …").click()
    page.get_by_role("button", name="Start from its typical build").click()
    page.keyboard.press("Escape")
    page.get_by_text("Tightest limit").first.wait_for()
    rig.settle(page)


def lengthen(page: Any, length_mm: int) -> None:
    """Another length of the first body, and the estimate that follows from it."""
    before = page.get_by_role("heading", name=": about").first.inner_text()
    page.get_by_label("Length, mm").first.fill(str(length_mm))
    page.get_by_label("Length, mm").first.press("Enter")
    page.wait_for_function("said => ![...document.querySelectorAll('h3')].some(each => each.innerText === said)", arg=before)
    rig.settle(page)


def drafts_taken(page: Any, folder: Path, store: Store) -> Drafts:
    """The draft as the commands read it."""
    with page.expect_download() as download:
        page.get_by_role("button", name="Folder for the commands").click()
    with zipfile.ZipFile(download.value.path()) as archive:
        archive.extractall(folder)
    return read_drafts(next(folder.iterdir()), store.live(), Settings())


def test_a_view_is_kept_under_a_name_and_found_on_start(opened: Open) -> None:
    page = opened("what-sells?kinds=tray")
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
    assert b"<svg" in taken(page, "Save picture", "SVG")[:200]


def test_three_drafts_lie_side_by_side_and_one_is_kept_and_sent(opened: Open) -> None:
    page = opened("early-mass")
    for letter in ("A", "B", "C"):
        page.get_by_role("radio", name=letter, exact=True).click()
        rig.settle(page)
        start_typical(page)
    lengthen(page, 2300)
    beside = page.get_by_label("Drafts side by side", exact=True).locator("tbody tr")
    assert [row.locator("td").first.inner_text() for row in beside.all()] == ["A", "B", "C"]
    page.get_by_role("button", name="Keep and send").click()
    page.get_by_role("textbox", name="Name").fill("enquiry of Tuesday")
    page.get_by_role("button", name="Keep this draft").click()
    link = page.get_by_test_id("stCode").inner_text().strip()
    made = page.get_by_role("heading", name=": about").first.inner_text()
    again = opened(link.split("/", 3)[3], width=375, look="dark")
    assert again.get_by_role("heading", name=": about").first.inner_text() == made


def test_the_settings_are_taken_along_as_the_command_lists_them(opened: Open, store: Store) -> None:
    page = opened("settings")
    rows = list(csv.DictReader(io.StringIO(taken(page, "Take along", "CSV").decode("utf-8-sig"))))
    assert [(row["key"], row["meaning"]) for row in rows] == [(one.key, one.doc) for one in list_settings(store.settings_file)]
