"""Families of layouts that are known, and their identity over editions."""

from __future__ import annotations

from collections import Counter
from datetime import date

import polars as pl
import pytest
from known_layouts import ITEMS, Known, known
from sklearn.metrics import adjusted_rand_score
from small_edition import edition, with_families

from pipeline.layouts.families import Families, build_families, read_families
from pipeline.layouts.identity import match
from pipeline.settings_layouts import LayoutSettings

USUAL = LayoutSettings()


def edition_of(*parts: Known):
    return edition(
        items=ITEMS,
        jobs=[row for part in parts for row in part.jobs],
        bodies=[row for part in parts for row in part.bodies],
        fitout=[row for part in parts for row in part.fitout],
    )


def family_by_job(found: Families) -> dict[str, int]:
    return dict(found.family_of_body.select("job_id", "family").iter_rows())


def agreement(found: Families, *parts: Known) -> float:
    family, truth = family_by_job(found), {job: layout for part in parts for job, layout in part.truth.items()}
    return adjusted_rand_score(list(truth.values()), [family[job] for job in truth])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_known_layouts_are_recovered_from_2000_bodies_with_a_tenth_disturbed(seed):
    shop = known(2000, 0.10, seed)
    found = build_families(edition_of(shop), None, USUAL)
    assert found.families.height == 6
    assert agreement(found, shop) >= 0.9
    assert 0.4 < found.family_of_body["mirrored"].mean() < 0.6


def test_a_sample_of_layouts_is_enough_when_there_are_too_many():
    shop = known(2000, 0.10, 4)
    settings = LayoutSettings(most_signatures=120)
    assert agreement(build_families(edition_of(shop), None, settings), shop) >= 0.9


def test_mirror_images_are_families_of_their_own_when_kept_apart():
    found = build_families(edition_of(known(600, 0.0, 5)), None, LayoutSettings(mirrors_together=False))
    # each of the six layouts has something on one side, so that each has a mirror image of its own
    assert found.families.height == 12
    assert not found.family_of_body["mirrored"].any()


def test_same_records_give_the_same_families():
    con = edition_of(known(400, 0.2, 6))
    first, second = build_families(con, None, USUAL), build_families(con, None, USUAL)
    assert first.families.equals(second.families)
    assert first.family_of_body.equals(second.family_of_body)


def test_building_again_with_its_own_families_changes_nothing():
    """A rebuild starts from the live edition's families."""
    con = edition_of(known(500, 0.2, 13))
    first = build_families(con, None, USUAL)
    again = build_families(con, first, USUAL)
    assert again.families.equals(first.families)
    assert again.family_of_body.equals(first.family_of_body)


def test_numbers_stay_over_twelve_monthly_editions():
    parts = [known(500, 0.10, 7, first=0)]
    found = build_families(edition_of(*parts), None, USUAL)
    layout_of = {
        family: Counter(parts[0].truth[job] for job, f in family_by_job(found).items() if f == family).most_common(1)[0][0]
        for family in found.families["family"]
    }
    for month in range(1, 13):
        parts.append(known(60, 0.10, 100 + month, first=1000 * month, month=date(2026, month, 1)))
        found = build_families(edition_of(*parts), found, USUAL)
        assert sorted(found.families.filter("live")["family"]) == sorted(layout_of), f"month {month}"
        assert set(found.changes["change"]) == {"kept"}
        truth = {job: layout for part in parts for job, layout in part.truth.items()}
        right = sum(layout_of[family] == truth[job] for job, family in family_by_job(found).items())
        assert right >= 0.97 * len(truth)


def test_a_layout_that_comes_up_gets_a_new_number_and_the_old_ones_stay():
    before = known(600, 0.05, 8, weights=(0.25, 0.25, 0.25, 0.25, 0.0, 0.0))
    first = build_families(edition_of(before), None, USUAL)
    after = known(300, 0.05, 9, weights=(0.0, 0.0, 0.0, 0.0, 1.0, 0.0), first=5000)
    second = build_families(edition_of(before, after), first, USUAL)
    assert set(first.families["family"]) < set(second.families["family"])
    new = second.changes.filter(pl.col("change") == "new")["family"].to_list()
    assert new == [5]
    assert all(family_by_job(second)[job] == 5 for job in list(after.truth)[:50])
    names = dict(second.families.select("family", "name").iter_rows())
    assert {names[family] for family in first.families["family"]} == set(first.families["name"])


def test_a_number_is_never_given_again():
    shop = known(300, 0.05, 10, weights=(0.5, 0.5, 0, 0, 0, 0))
    first = build_families(edition_of(shop), None, USUAL)
    other = known(300, 0.05, 11, weights=(0, 0, 0.5, 0.5, 0, 0), first=9000)
    second = build_families(edition_of(other), first, USUAL)
    assert sorted(second.families.filter("live")["family"]) == [3, 4]
    assert sorted(second.families.filter(~pl.col("live"))["family"]) == [1, 2]
    assert sorted(second.changes.filter(pl.col("change") == "gone")["family"]) == [1, 2]


def bodies(*groups: tuple[int, int]) -> pl.DataFrame:
    """`(group, count)` pairs laid out over jobs 0, 1, 2 … in order."""
    numbers = [group for group, count in groups for _ in range(count)]
    return pl.DataFrame({"job_id": [f"J{at}" for at in range(len(numbers))], "body": "canopy", "grp": numbers})


def told(groups: pl.DataFrame, earlier: pl.DataFrame) -> tuple[dict[int, int], list[tuple]]:
    matching = match(groups, earlier.rename({"grp": "family"}), 20, USUAL)
    return matching.number_of, sorted(matching.changes.select("change", "family", "other", "bodies").iter_rows(), key=str)


def test_a_split_is_told_and_the_larger_part_keeps_the_number():
    number_of, changes = told(bodies((0, 60), (1, 40)), bodies((7, 100)))
    assert number_of == {0: 7, 1: 21}
    assert ("split", 7, 7, 60) in changes
    assert ("split", 7, 21, 40) in changes
    assert ("new", 21, None, 40) in changes


def test_a_merge_is_told():
    number_of, changes = told(bodies((0, 100)), bodies((7, 60), (8, 40)))
    assert number_of == {0: 7}
    assert ("merge", 7, 8, 40) in changes
    assert ("gone", 8, None, 40) in changes


def test_a_few_stragglers_are_neither_split_nor_merge():
    _, changes = told(bodies((0, 95), (1, 5), (1, 100)), bodies((7, 100), (8, 100)))
    assert {change for change, *_ in changes} == {"kept"}


def test_an_edition_without_bodies_has_empty_tables():
    con = edition()
    build_families(con, None, USUAL)
    found = read_families(con)
    assert (found.families.height, found.family_of_body.height, found.changes.height) == (0, 0, 0)


def test_one_body_is_one_family():
    shop = known(1, 0.0, 1)
    found = build_families(edition_of(shop), None, USUAL)
    assert found.families.select("family", "bodies", "typical_job_id").rows() == [(1, 1, "K000000")]
    assert found.families["name"][0].startswith("canopy")


def test_refits_and_other_makers_bodies_are_in_no_family():
    shop = known(40, 0.0, 2)
    shop.bodies[0]["origin"], shop.bodies[1]["origin"] = "refit", "other-maker"
    assert build_families(edition_of(shop), None, USUAL).family_of_body.height == 38


def test_kinds_of_body_are_never_in_one_family():
    shop = known(200, 0.0, 3)
    for row in (*shop.bodies[::2], *(line for line in shop.fitout if int(line["job_id"][1:]) % 2 == 0)):
        row["body"] = "tray"
    con = with_families(edition_of(shop))
    mixed = con.execute(
        "select count(*) from (select family from family_of_body join current_bodies using (job_id, body)"
        " group by family having count(distinct kind) > 1)"
    ).fetchall()
    assert mixed == [(0,)]


def test_names_say_what_sets_a_family_apart_and_differ():
    found = build_families(edition_of(known(800, 0.05, 12)), None, USUAL)
    names = found.families["name"].to_list()
    assert len(set(names)) == len(names)
    typical = dict(found.families.select("typical_job_id", "name").iter_rows())
    shelves = [name for name in typical.values() if "shelf" in name and "hatch" in name]
    assert shelves, names
