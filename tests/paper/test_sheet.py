"""The customer's sheet, read back as a reader's program and a screen reader would."""

from __future__ import annotations

import datetime as dt
import io
import re
import subprocess
import sys
import unicodedata
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.answers.sheet_content import FitoutLine, LeftOver, LimitLine, LoadLine, SheetBody, SheetContent
from pipeline.errors import InputRefused, TarebookError, WrongCall
from pipeline.loads.cautions import CAUTIONS
from pipeline.loads.limits import ALL_LIMITS
from pipeline.paper.sheet import in_words, sheet_pdf
from pipeline.pictures.charts import LIMIT_NAMES
from pipeline.pictures.drawing import draw
from pipeline.pictures.palette import PAPER
from pipeline.pictures.shape import body_shape

pymupdf = pytest.importorskip("pymupdf")
pypdf = pytest.importorskip("pypdf")

MM = 72 / 25.4
ITEMS = {"fridge": {"label": "fridge slide", "group": "fridge"}, "drawer": {"label": "long drawer", "group": "drawer"}}
LIMITS = (
    LimitLine("gvm", "kg", 3094, 3060, 3128, 3150, 56, 0.02, "under", ""),
    LimitLine("rear_axle", "kg", 1872, 1840, 1905, 1850, -22, 0.8, "over", ""),
    LimitLine("rear_tyres", "kg", 1872, 1840, 1905, 1900, 28, 0.1, "may be over", ""),
    LimitLine("ball", "kg", 100, 100, 100, 350, 250, 0.0, "under", ""),
    LimitLine("gcm", "kg", None, None, None, 6000, None, None, "unknown", "the tow bar's rating is not known"),
)
ODD = 'Zoë "O\'Neil" <b>&amp; #let $x$ *bold* _it_ `raw` \\ @ref // {} [] Ω Ж'


def content(items: int = 2, **changes) -> SheetContent:
    lines = [{"item_id": ("fridge", "drawer")[n % 2], "zone": ("left-front", "right-rear", "middle-mid")[n % 3]} for n in range(items)]
    shape = body_shape({"body": "canopy", "length_mm": 1650, "width_mm": 1780, "height_mm": 900, "doors": 2}, lines, ITEMS)
    fitout = tuple(FitoutLine(mark.key, mark.label, mark.qty, mark.side) for mark in shape.items)
    body = SheetBody(
        "Canopy, 1650 × 1780 × 900 mm",
        draw(shape, "sheet", PAPER),
        fitout,
        312,
        291,
        334,
        "estimated",
        "It stands on 37 alike bodies, 29 of them weighed.",
        "inside",
    )
    usual = SheetContent(
        workshop="Our workshop",
        draft="Coastal tourer",
        vehicle="Marlin dual cab",
        upgrade="plus 300",
        bodies=(body,),
        left=LeftOver(246, 214, 281),
        loads=(
            LoadLine("stays", "vehicle", 2210, "kerb mass by the maker"),
            LoadLine("comes off", "factory tub", -125, "maker's figure"),
            LoadLine("we build", "canopy", 312, "mass estimate"),
        ),
        limits=LIMITS,
        assumptions=("no gap between headboard and body",),
        may_add=("a rear door, about 14 kg",),
        cautions=CAUTIONS,
        edition="7",
        records_to=dt.date(2026, 10, 28),
        dated_on=dt.date(2026, 11, 2),
        code="7F3K-2Q9M",
    )
    return replace(usual, **changes)


@pytest.fixture(scope="module")
def usual_pdf() -> bytes:
    return sheet_pdf(content())


def text_of(pdf: bytes) -> str:
    """All text in reading order, spaces and line ends as one space."""
    with pymupdf.open(stream=pdf) as document:
        text = " ".join(page.get_text() for page in document)
    return " ".join(unicodedata.normalize("NFKC", text).replace("\u200b", "").split())


def test_it_says_all_that_a_customer_was_promised(usual_pdf):
    text = text_of(usual_pdf)
    for said in (
        "Our workshop",
        "Coastal tourer",
        "For: Marlin dual cab, with plus 300",
        "What is left for people, luggage and tow ball, with a full tank about 246 kg",
        "9 in 10 vehicles like this fall between 214 and 281 kg. To be confirmed on the weighbridge.",
        "Finished mass, estimated: about 312 kg; 9 in 10 bodies like this fall between 291 and 334.",
        "It stands on 37 alike bodies, 29 of them weighed.",
        "Fr1 fridge slide left",
        "whole vehicle (GVM) 3094 (3060 to 3128) of 3150 kg 56 kg left",
        "rear axle 1872 (1840 to 1905) of 1850 kg 22 kg over",
        "28 kg left, may be over",
        "vehicle and trailer (GCM): the tow bar's rating is not known",
        "no gap between headboard and body",
        "a rear door, about 14 kg",
        "factory tub −125 maker's figure",
        "all together 2397",
        "7F3K-2Q9M",
        "edition 7 · records to 28 October 2026",
        "Sheet of 2 November 2026",
    ):
        assert unicodedata.normalize("NFKC", said) in text, said
    for caution in CAUTIONS:
        assert unicodedata.normalize("NFKC", caution) in text


def test_no_price_stands_on_it_unless_given(usual_pdf):
    assert "Price" not in text_of(usual_pdf)
    assert "Price: 18 400" in text_of(sheet_pdf(content(price="18 400")))


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210, 297)), ("letter", (215.9, 279.4))])
@pytest.mark.parametrize("items", [0, 1, 40])
def test_both_papers_take_one_and_forty_items_without_loss(paper, size_mm, items):
    pdf = sheet_pdf(content(items), paper)
    with pymupdf.open(stream=pdf) as document:
        assert len(document) <= (2 if items < 2 else 3)
        for page in document:
            assert (page.rect.width / MM, page.rect.height / MM) == pytest.approx(size_mm, abs=0.1)
            for word in page.get_text("words"):
                assert 10 < word[0] / MM < size_mm[0] - 10
                assert word[2] / MM < size_mm[0] - 10
                assert word[3] / MM < size_mm[1] - 5
    text = text_of(pdf)
    for number in range(1, items + 1):
        assert len(re.findall(rf"\b(Fr|Dr){number}\b", text)) >= 2, number


def test_each_dot_stands_at_its_share_of_the_rating(usual_pdf):
    with pymupdf.open(stream=usual_pdf) as document:
        page = next(page for page in document if page.search_for("How close it comes"))
        drawn = page.get_drawings()
        row = page.search_for("whole vehicle (GVM)")[0]
    middle = (row.y0 + row.y1) / 2
    near = [one for one in drawn if abs((one["rect"].y0 + one["rect"].y1) / 2 - middle) < 4]
    upright = next(one["rect"] for one in near if one["rect"].width < 2 and one["rect"].height > 5)
    dot = next(one["rect"] for one in near if one.get("fill") and 4 < one["rect"].width < 8)
    base = max((one["rect"] for one in near if one["rect"].height < 1 and one["rect"].width < 200), key=lambda rect: rect.width)
    # the scale runs from 0.7 of the rating to 0.04 beyond the widest interval, at least to 1.1
    share = 0.7 + (1.1 - 0.7) * ((dot.x0 + dot.x1) / 2 - base.x0) / base.width
    assert base.width / MM == pytest.approx(54, abs=0.2)
    assert share == pytest.approx(3094 / 3150, abs=0.003)
    assert 0.7 + 0.4 * (upright.x0 - base.x0) / base.width == pytest.approx(1.0, abs=0.005)


def test_a_dot_far_under_its_rating_is_an_arrow_at_the_edge(usual_pdf):
    assert "arrow: under 70 % of the rating" in text_of(usual_pdf)


def test_the_drawing_is_there_with_its_alternative_text(usual_pdf):
    reader = pypdf.PdfReader(io.BytesIO(usual_pdf))
    alts = [entry["/Alt"] for entry in structure(reader) if "/Alt" in entry]
    assert any(alt.startswith("A canopy, 1650 mm long, 1780 mm wide") for alt in alts)


def structure(reader) -> list[dict]:
    """All structure elements of the tagged document."""
    found, todo = [], [reader.trailer["/Root"]["/StructTreeRoot"]]
    while todo:
        entry = todo.pop()
        entry = entry.get_object() if hasattr(entry, "get_object") else entry
        if not isinstance(entry, dict):
            continue
        found.append(entry)
        kids = entry.get("/K", [])
        todo += list(kids) if isinstance(kids, list) else [kids]
    return found


def test_it_is_tagged_titled_and_carries_its_fonts(usual_pdf):
    reader = pypdf.PdfReader(io.BytesIO(usual_pdf), strict=True)
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert reader.metadata.title == "Coastal tourer"
    assert reader.metadata.author == "Our workshop"
    assert reader.metadata.creation_date.date() == dt.date(2026, 11, 2)
    xmp = root["/Metadata"].get_data().decode()
    assert re.search(r"pdfaid:part>2<", xmp)
    assert re.search(r"pdfuaid:part>1<", xmp)
    kinds = {entry.get("/S") for entry in structure(reader)}
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/Figure", "/L"} <= kinds
    with pymupdf.open(stream=usual_pdf) as document:
        fonts = {font[3]: font[1] for page in document for font in page.get_fonts(full=True)}
        assert fonts
        assert all(kind not in ("n/a", "") for kind in fonts.values())
        assert all(re.match(r"[A-Z]{6}\+", name) for name in fonts)


def test_nothing_in_it_runs_or_calls_out(usual_pdf):
    raw = usual_pdf + b"".join(stream.get_data() for stream in streams(usual_pdf))
    for word in (b"/JavaScript", b"/Launch", b"/URI", b"/EmbeddedFile", b"/AcroForm"):
        assert word not in raw


def streams(pdf: bytes):
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    return [entry for number in range(1, len(reader.xref_objStm) + 1) if hasattr(entry := reader.get_object(number), "get_data")]


@pytest.mark.parametrize("place", ["draft", "workshop", "vehicle", "upgrade"])
def test_any_character_in_a_name_is_shown_as_it_stands(place):
    text = text_of(sheet_pdf(content(**{place: ODD})))
    assert unicodedata.normalize("NFKC", ODD) in text


def test_control_characters_and_endless_words_do_no_harm():
    pdf = sheet_pdf(content(draft="a\x00\x07\ud800b " + "w" * 300))
    assert "w" * 300 in text_of(pdf).replace(" ", "")
    with pymupdf.open(stream=pdf) as document:
        assert max(word[2] for page in document for word in page.get_text("words")) < 595 - 10 * MM


def test_letters_that_no_bundled_font_has_still_make_a_sheet():
    pdf = sheet_pdf(content(draft="北京 مرحبا \U0001f600 tour"))
    assert "tour" in text_of(pdf)
    assert pypdf.PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/MarkInfo"]["/Marked"]


def test_the_same_content_gives_the_same_bytes_in_another_process(usual_pdf, tmp_path):
    script = (
        "import sys, pathlib; sys.path[:0] = [sys.argv[1], sys.argv[2]]\n"
        "from test_sheet import content\nfrom pipeline.paper.sheet import sheet_pdf\n"
        "pathlib.Path(sys.argv[3]).write_bytes(sheet_pdf(content()))"
    )
    out = tmp_path / "again.pdf"
    here = Path(__file__).parent
    subprocess.run([sys.executable, "-c", script, str(here.parents[1]), str(here), str(out)], check=True, timeout=120)
    assert out.read_bytes() == usual_pdf


def test_what_is_not_known_is_said_and_not_made_up():
    body = replace(content().bodies[0], mass_kg=None, low_kg=None, high_kg=None, why="there is no mass model yet")
    text = text_of(sheet_pdf(content(bodies=(body,), left=LeftOver(None, None, None, "the rating is not known"), limits=(), loads=())))
    assert "not known yet the rating is not known. To be confirmed on the weighbridge." in text
    assert "Its finished mass is not known yet: there is no mass model yet." in text
    assert "How close" not in text


def test_a_vehicle_over_its_rating_has_nothing_left():
    assert "nothing: about 40 kg over the rating" in text_of(sheet_pdf(content(left=LeftOver(-40, -70, -8))))


def test_a_body_outside_of_history_says_so():
    body = replace(content().bodies[0], standing="outside", why="longer than all others")
    assert "This body is outside of what we have built so far: longer than all others." in text_of(sheet_pdf(content(bodies=(body,))))


def test_a_logo_is_set_with_its_own_alternative_text(tmp_path):
    logo = tmp_path / "logo.svg"
    logo.write_text('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 10"><rect width="20" height="10" fill="#0b6570"/></svg>')
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(content(logo=logo))))
    assert "Logo of Our workshop" in [entry.get("/Alt") for entry in structure(reader)]


@pytest.mark.parametrize(("name", "held"), [("logo.gif", b"GIF89a"), ("missing.png", None), ("large.png", b"x" * 1_000_001)])
def test_a_logo_that_cannot_be_used_is_named(tmp_path, name, held):
    if held:
        (tmp_path / name).write_bytes(held)
    with pytest.raises(InputRefused, match=re.escape(name)):
        sheet_pdf(content(logo=tmp_path / name))


def test_a_damaged_logo_is_an_expected_fault(tmp_path):
    (tmp_path / "logo.png").write_bytes(b"not a picture")
    with pytest.raises(TarebookError, match="look at the logo"):
        sheet_pdf(content(logo=tmp_path / "logo.png"))


def test_an_unknown_paper_is_a_wrong_call():
    with pytest.raises(WrongCall, match="did you mean 'letter'"):
        sheet_pdf(content(), "leter")


def test_every_limit_of_a_check_has_a_name_for_people():
    assert set(LIMIT_NAMES) == set(ALL_LIMITS)


def test_levels_in_words():
    assert [in_words(level) for level in (0.8, 0.9, 0.95)] == ["8 in 10", "9 in 10", "95 in 100"]
