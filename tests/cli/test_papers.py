"""What is printed, as people ask for it: the sheet says what `check` says, and the month what the pages say."""

from __future__ import annotations

import csv
import dataclasses
import io
from pathlib import Path

import msgspec
import pytest

from pipeline.answers.access import Role
from pipeline.answers.drafts import read_drafts
from pipeline.answers.sheets import sheet_content
from pipeline.cli import main
from pipeline.mass.model import Model
from pipeline.pictures.charts import LIMIT_NAMES
from pipeline.store import Store

pymupdf = pytest.importorskip("pymupdf")


def text_of(path) -> str:
    with pymupdf.open(path) as document:
        return " ".join(" ".join(page.get_text() for page in document).split())


def checked(shop, capsys) -> list[dict[str, str]]:
    capsys.readouterr()
    assert main(["check", str(shop / "drafts"), "--store", str(shop / "store")]) in (0, 1)
    return list(csv.DictReader(io.StringIO(capsys.readouterr().out)))


def test_the_sheet_says_what_check_says(shop, tmp_path, capsys):
    rows = checked(shop, capsys)
    job = rows[0]["job_id"]
    out = tmp_path / "sheet.pdf"
    code = main(["sheet", str(shop / "drafts"), "--job", job, "--out", str(out), "--store", str(shop / "store"), "--date", "2026-03-04"])
    own = [row for row in rows if row["job_id"] == job]
    assert code == int(any(row["verdict"] == "over" for row in own))
    text = text_of(out)
    assert "Sheet of 4 March 2026" in text
    told = 0
    for row in own:
        if row["verdict"] != "unknown" and row["unit"] == "kg" and float(row["rating"]) > 0:
            margin, word = float(row["margin"]), "over" if float(row["margin"]) < 0 else "left"
            assert f"of {float(row['rating']):.0f} kg {abs(margin):.0f} kg {word}" in text, row
            assert LIMIT_NAMES[row["limit"]] in text
            told += 1
    assert told >= 3


def test_a_folder_of_drafts_makes_a_sheet_each(shop, tmp_path, capsys):
    few, out = tmp_path / "drafts", tmp_path / "sheets"
    out.mkdir()
    jobs = set(sorted({row["job_id"] for row in checked(shop, capsys)})[:3])
    few.mkdir()
    for name in ("jobs", "bodies", "fitout"):
        rows = list(csv.DictReader(io.StringIO((shop / f"drafts/{name}.csv").read_text("utf-8"))))
        with (few / f"{name}.csv").open("w", newline="") as file:
            writer = csv.DictWriter(file, rows[0])
            writer.writeheader()
            writer.writerows(row for row in rows if row["job_id"] in jobs)
    assert main(["sheet", str(few), "--out", str(out), "--store", str(shop / "store"), "--paper", "letter"]) in (0, 1)
    assert {path.name for path in out.iterdir()} == {f"{job}.pdf" for job in jobs}
    assert capsys.readouterr().err.count("code ") == len(jobs)


def test_no_sheet_tells_of_the_extremes_of_history_and_a_customers_screen_gets_no_counts(shop, capsys):
    store = Store(shop / "store")
    edition, settings = store.live(), store.settings()
    model = Model.from_json(edition.model_text())
    drafts = read_drafts(shop / "drafts", edition, settings)
    job = str(drafts.bodies["job_id"][0])
    drafts.bodies["length_mm"][drafts.bodies["job_id"] == job] = 6000.0
    staff, guest = (
        sheet_content(edition, model, drafts, job, settings, settings.travel, role=role) for role in (Role.SALES, Role.CUSTOMER)
    )
    assert staff.bodies[0].standing == "outside"
    assert "ever" not in staff.bodies[0].why
    longest = edition.cursor().execute("SELECT max(length_mm) FROM current_bodies").fetchall()[0][0]
    assert f"{longest:,.0f}" not in repr(dataclasses.replace(staff, bodies=())) + staff.bodies[0].why + staff.bodies[0].stands_on
    drafts.bodies["length_mm"][:] = 1700.0
    lenient = msgspec.structs.replace(settings, layouts=msgspec.structs.replace(settings.layouts, alike_jaccard=0.0, alike_length=0.5))
    told = [
        sheet_content(edition, model, drafts, job, lenient, settings.travel, role=role).bodies[0] for role in (Role.SALES, Role.CUSTOMER)
    ]
    assert "alike bodies" in told[0].stands_on
    assert told[1].stands_on == "It stands on all bodies of ours that were weighed or drawn."
    assert guest.code == staff.code


def test_the_month_is_written_as_a_pdf(shop, tmp_path):
    out = tmp_path / "month.pdf"
    assert main(["export", "summary", "--month", "2024-03", "--out", str(out), "--store", str(shop / "store")]) == 0
    assert "What sold in March 2024" in text_of(out)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["sheet", "DRAFTS", "--job", "nobody", "--out", "OUT/a.pdf"], "no such draft"),
        (["sheet", "DRAFTS", "--job", "x", "--out", "OUT/a.txt"], "ends in .pdf"),
        (["sheet", "DRAFTS", "--out", "OUT/missing"], "no such folder"),
        (["sheet", "DRAFTS", "--job", "x", "--out", "OUT/a.pdf", "--date", "yesterday"], "YYYY-MM-DD"),
        (["export", "summary", "--out", "OUT/a.pdf"], "YYYY-MM"),
        (["export", "summary", "--month", "2024-03"], "where to"),
        (["export", "summary", "--month", "2024-03", "--out", "OUT/a.csv"], "ends in .pdf"),
    ],
)
def test_a_wrong_call_says_what_is_wrong_and_writes_nothing(shop, tmp_path, capsys, words, said):
    call = [word.replace("DRAFTS", str(shop / "drafts")).replace("OUT", str(tmp_path)) for word in words]
    assert main([*call, "--store", str(shop / "store")]) == 2
    assert said in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_name_and_logo_are_those_of_the_settings_wherever_the_command_runs(shop, tmp_path, monkeypatch):
    mark = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 10"><rect width="20" height="10" fill="#0b6570"/></svg>'
    (tmp_path / "mark.svg").write_text(mark)
    (tmp_path / "own.toml").write_text('[workshop]\nname = "Harbour bodies"\nlogo = "mark.svg"\n')
    drafts, out = odd_drafts(tmp_path / "odd", 1, "CO-2"), tmp_path / "sheet.pdf"
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    call = [
        "sheet",
        str(drafts),
        "--job",
        "D1",
        "--out",
        str(out),
        "--store",
        str(shop / "store"),
        "--settings",
        str(tmp_path / "own.toml"),
    ]
    assert main(call) in (0, 1)
    assert text_of(out).startswith("Harbour bodies")
    assert b"Logo of Harbour bodies" in b"".join(alternatives(out))


def alternatives(path: Path) -> list[bytes]:
    """The alternative texts in a tagged document."""
    with pymupdf.open(path) as document:
        keys = [document.xref_get_key(number, "Alt") for number in range(1, document.xref_length())]
    return [text.encode() for kind, text in keys if kind == "string"]


ODD = "Zoë's <b>&amp; #rack \\ *bold* _it_ $x$ @ref // [] Ω Ж"
STRIP_MM, SCALE_FROM = 54.0, 0.7
"""The strips' length and left end, as the page of the paper tells them."""


def odd_drafts(folder: Path, items: int, vehicle_id: str) -> Path:
    """A canopy with so many items, named in every odd character."""
    folder.mkdir()
    (folder / "jobs.csv").write_text(f"job_id,vehicle_id\nD1,{vehicle_id}\n")
    (folder / "bodies.csv").write_text("job_id,body,length_mm,width_mm,height_mm\nD1,canopy,1700,1780,900\n")
    with (folder / "items.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([["item_id", "label", "group", "datasheet_kg"], ["odd", ODD, "outside", "4"]])
    zones = ("left-front", "right-rear", "middle-mid", "roof", "under-tray")
    lines = "".join(f"D1,canopy,odd,{zones[number % 5]}\n" for number in range(items))
    (folder / "fitout.csv").write_text(f"job_id,body,item_id,zone\n{lines}")
    return folder


@pytest.mark.parametrize(("paper", "items"), [("a4", 1), ("letter", 1), ("a4", 40), ("letter", 40)])
def test_words_and_dots_on_paper_are_those_of_check(shop, tmp_path, capsys, paper, items):
    rated = "SELECT min(vehicle_id) FROM vehicles WHERE gvm_kg > 0"
    vehicle_id = Store(shop / "store").live().cursor().execute(rated).fetchall()[0][0]
    drafts, out, store = odd_drafts(tmp_path / "odd", items, vehicle_id), tmp_path / "sheet.pdf", ["--store", str(shop / "store")]
    capsys.readouterr()
    main(["check", str(drafts), *store])
    rows = [row for row in csv.DictReader(io.StringIO(capsys.readouterr().out)) if row["verdict"] != "unknown" and float(row["rating"]) > 0]
    assert main(["sheet", str(drafts), "--job", "D1", "--out", str(out), "--paper", paper, *store]) in (0, 1)
    with pymupdf.open(out) as document:
        text = "".join("".join(page.get_text() for page in document).split()).replace("\u200b", "")
        page = next(page for page in document if page.search_for("How close it comes"))
        drawn, names = page.get_drawings(), {row["limit"]: page.search_for(LIMIT_NAMES[row["limit"]])[0] for row in rows}
    assert text.count("".join(ODD.split())) == items
    top = max([1.1, *(float(row["high"] or row["value"]) / float(row["rating"]) + 0.04 for row in rows)])
    told = 0
    for row in rows:
        value, rating = float(row["value"]), float(row["rating"])
        assert f"of{rating:.0f}{row['unit']}" in text.replace("\N{MINUS SIGN}", "-"), row
        near = [one for one in drawn if abs(_middle(one["rect"]) - _middle(names[row["limit"]])) < 4]
        base = max((one["rect"] for one in near if one["rect"].height < 1 and one["rect"].width < 200), key=lambda rect: rect.width)
        dot = next(one["rect"] for one in near if one.get("fill") and 4 < one["rect"].width < 8)
        assert base.width == pytest.approx(STRIP_MM / 25.4 * 72, abs=0.5)
        share = SCALE_FROM + (top - SCALE_FROM) * ((dot.x0 + dot.x1) / 2 - base.x0) / base.width
        if value / rating > SCALE_FROM + 0.02:
            assert share == pytest.approx(value / rating, abs=0.004), row
            told += 1
        else:
            assert share < SCALE_FROM + 0.03, row
    assert told >= 2


def _middle(rect) -> float:
    return (rect.y0 + rect.y1) / 2
