"""The job finder: any combination, pages, likeness, and one job opened."""

from __future__ import annotations

from datetime import date

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_edition import ITEMS, ZONES, random_edition

from pipeline.answers.filters import Filters
from pipeline.answers.finder import FOUND, ItemAt, Search, find, find_all, open_job
from pipeline.errors import WrongCall
from pipeline.layouts.alike import Wanted, likest

CON = random_edition(51)
BODIES = CON.sql("select b.*, coalesce(b.weighed_kg, b.cad_kg) as kg, j.note from current_bodies b join current_jobs j using (job_id)").pl()
LINES: dict[tuple[str, str], list[tuple[str, str | None]]] = {}
for _job, _body, _item, _zone in CON.execute("select job_id, body, item_id, zone from current_fitout").fetchall():
    LINES.setdefault((_job, _body), []).append((_item, _zone))

ITEM = st.sampled_from([entry["item_id"] for entry in ITEMS])
SEARCH = st.builds(
    Search,
    filters=st.builds(
        Filters,
        since=st.none() | st.dates(date(2023, 1, 1), date(2025, 1, 1)),
        kinds=st.lists(st.sampled_from(["canopy", "tray"]), unique=True, max_size=2).map(tuple),
        branches=st.lists(st.sampled_from(["north", "south"]), unique=True, max_size=1).map(tuple),
    ),
    items=st.lists(st.builds(ItemAt, ITEM, st.sampled_from(ZONES)), max_size=2).map(tuple),
    without=st.lists(ITEM, max_size=1).map(tuple),
    length_from_mm=st.none() | st.floats(1000, 1800),
    length_to_mm=st.none() | st.floats(1800, 2900),
    mass_from_kg=st.none() | st.floats(150, 300),
    years=st.lists(st.integers(2023, 2026), unique=True, max_size=2).map(tuple),
    statuses=st.lists(st.sampled_from(["delivered", "lost"]), unique=True, max_size=2).map(tuple),
    words=st.sampled_from(["", "", "beach", "2 kids", "100%", "off-road_build", "nobody"]),
    suspect=st.none() | st.booleans(),
)


def fits(row: dict, search: Search) -> bool:
    lines, filters = LINES.get((row["job_id"], row["body"]), []), search.filters
    note = (row["note"] or "").lower()
    return all(
        (
            not filters.since or (row["dated_on"] is not None and row["dated_on"] >= filters.since),
            not filters.kinds or row["kind"] in filters.kinds,
            not filters.branches or row["branch"] in filters.branches,
            all(any(item == want.item_id and want.zone in (None, zone) for item, zone in lines) for want in search.items),
            all(item not in search.without for item, _ in lines),
            search.length_from_mm is None or row["length_mm"] >= search.length_from_mm,
            search.length_to_mm is None or row["length_mm"] <= search.length_to_mm,
            search.mass_from_kg is None or (row["kg"] is not None and row["kg"] >= search.mass_from_kg),
            not search.years or (row["dated_on"] is not None and row["dated_on"].year in search.years),
            not search.statuses or row["status"] in search.statuses,
            all(word.lower() in note for word in search.words.split()),
            search.suspect is None or bool(row["suspect"]) == search.suspect,
        )
    )


@settings(max_examples=30, deadline=None)
@given(SEARCH)
def test_any_combination_finds_what_a_plain_loop_finds(search):
    expected = {(row["job_id"], row["body"]) for row in BODIES.iter_rows(named=True) if fits(row, search)}
    found = find(CON, search, size=500)
    assert found.found == len(expected)
    assert set(found.rows.select("job_id", "body").rows()) == expected
    assert find_all(CON, search).equals(found.rows)


def test_refits_and_quotes_are_found_too():
    found = find(CON, Search(), size=500)
    assert found.found == BODIES.height
    assert found.rows.columns == list(FOUND)


def test_pages_hold_everything_once_and_in_order():
    whole = find_all(CON, Search(sort="longest"))
    pages = [find(CON, Search(sort="longest"), page=page, size=37) for page in range(1, 20)]
    count = pages[0].pages
    assert pl.concat([page.rows for page in pages[:count]]).equals(whole)
    assert pages[count].rows.is_empty()
    assert whole["length_mm"].is_sorted(descending=True)


def test_sorted_by_likeness_to_a_draft():
    wanted = Wanted("canopy", 1700.0, {"fridge": 1, "sink": 1})
    rows = find(CON, Search(like=wanted, sort="likest"), size=20).rows
    best = likest(CON, wanted).head(20)
    assert rows["likeness"].to_list() == pytest.approx(best["likeness"].to_list())
    assert rows["likeness"].is_sorted(descending=True)


def test_standing_comes_from_the_table_of_estimates_where_there_is_one():
    con = random_edition(52, jobs=60)
    assert find(con, Search(standings=("outside",))).found == 0
    con.execute(
        "insert into body_estimates (job_id, body, standing) select job_id, body,"
        " case when length_mm > 2500 then 'outside' else 'inside' end from current_bodies"
    )
    expected = con.execute("select count(*) from current_bodies where length_mm > 2500").fetchall()[0][0]
    found = find(con, Search(standings=("outside",)))
    assert found.found == expected > 0
    assert set(found.rows["standing"]) == {"outside"}


def test_all_that_is_wrong_with_a_search_is_told_at_once():
    wrong = Search(statuses=("deliverd",), standings=("far",), items=(ItemAt("sink", "left-aft"),), sort="likest")
    with pytest.raises(WrongCall) as told:
        find(CON, wrong, page=0)
    assert len(told.value.faults) == 5
    assert "did you mean 'delivered'" in str(told.value)


@pytest.mark.parametrize("words", ["' or 1=1 --", "%", "_", "\\"])
def test_hostile_words_are_looked_for_as_they_stand(words):
    expected = sum(all(word in (row["note"] or "") for word in words.split()) for row in BODIES.iter_rows(named=True))
    assert find(CON, Search(words=words)).found == expected


def test_an_opened_job_holds_all_its_versions_and_where_they_came_from():
    revised = CON.execute("select job_id from jobs group by job_id having count(*) = 3 order by job_id limit 1").fetchall()[0][0]
    opened = open_job(CON, revised)
    assert opened.jobs["revision"].to_list() == ["A", "B", "AA"]
    assert set(opened.bodies["revision"]) == {"A", "B", "AA"}
    assert opened.jobs["file"].unique().to_list() == ["jobs.csv"]
    assert opened.bodies["hand_in"].unique().to_list() == ["by-hand"]
    line = opened.jobs["line"][0]
    assert CON.execute("select job_id from jobs where line = ? ", [line]).fetchall()[0][0] == revised
    assert (
        opened.families.height
        == CON.execute("select count(*) from current_bodies where job_id = ? and counted", [revised]).fetchall()[0][0]
    )


def test_no_customer_is_in_an_opened_job():
    opened = open_job(CON, "R00001")
    assert "customer_ref" not in opened.jobs.columns


def test_an_unknown_job_is_a_wrong_call():
    with pytest.raises(WrongCall, match="no job 'nowhere'"):
        open_job(CON, "nowhere")
