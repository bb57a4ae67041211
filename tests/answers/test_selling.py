"""Every number of *What sells* and *Layout families*, against plain loops over the records, for any filters."""

from __future__ import annotations

from collections import Counter
from datetime import date
from statistics import median

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal
from random_edition import random_edition
from small_edition import edition

from pipeline.answers import families, selling
from pipeline.answers.filters import Filters
from pipeline.answers.kept_margins import with_bodies
from pipeline.errors import TarebookError
from pipeline.settings import Settings

USUAL = Settings()
CON = random_edition(41)
RECORDS = CON.sql(
    """
    select b.job_id, b.body, b.kind, b.size_class, b.cab, b.vehicle_id, b.upgrade_id, b.branch, b.status, b.length_mm,
        coalesce(b.weighed_kg, b.cad_kg) as kg, j.ordered_on, j.delivered_on, j.quoted_on, j.price, j.lost_why, m.family,
        (select list(distinct f.item_id) from current_fitout f where f.job_id = b.job_id and f.body = b.body) as items
    from current_bodies b join current_jobs j using (job_id) left join family_of_body m on m.job_id = b.job_id and m.body = b.body
    where coalesce(b.origin, 'new') not in ('refit', 'other-maker')
    """
).pl()


def some_of(*values):
    return st.lists(st.sampled_from(values), unique=True, max_size=2).map(tuple)


FILTERS = st.builds(
    Filters,
    since=st.none() | st.dates(date(2023, 1, 1), date(2025, 1, 1)),
    until=st.none() | st.dates(date(2025, 1, 1), date(2026, 12, 31)),
    kinds=some_of("canopy", "tray", "box"),
    size_classes=some_of("midsize", "fullsize"),
    cabs=some_of("single", "dual"),
    vehicles=some_of("V-DUAL", "V-SINGLE", "V-BIG", "gone"),
    upgrades=some_of("UP"),
    branches=some_of("north", "south", "coast"),
    families=some_of(1, 2, 3),
)
FEW = settings(max_examples=12, deadline=None)


def through(filters: Filters, day: str) -> list[dict]:
    """The records that the filters let through, by a loop that knows nothing of SQL."""
    kept = []
    for row in RECORDS.iter_rows(named=True):
        sold_on = (row["ordered_on"] or row["delivered_on"]) if row["status"] in ("ordered", "delivered") else None
        on = {"sold": sold_on, "quoted": row["quoted_on"], "dated": row["delivered_on"] or row["ordered_on"] or row["quoted_on"]}[day]
        if (filters.since and (on is None or on < filters.since)) or (filters.until and (on is None or on > filters.until)):
            continue
        asked = {"kinds": "kind", "size_classes": "size_class", "cabs": "cab", "vehicles": "vehicle_id", "upgrades": "upgrade_id"}
        asked |= {"branches": "branch", "families": "family"}
        if all(not getattr(filters, name) or row[column] in getattr(filters, name) for name, column in asked.items()):
            kept.append({**row, "sold_on": sold_on})
    return kept


def sold_through(filters: Filters) -> list[dict]:
    return [row for row in through(filters, "sold") if row["status"] in ("ordered", "delivered")]


@FEW
@given(FILTERS)
def test_totals_for_any_filters(filters):
    sold = sold_through(filters)
    prices = {row["job_id"]: row["price"] for row in sold if row["price"] is not None}
    found = selling.totals(CON, USUAL, filters)
    assert (found.bodies, found.jobs, found.jobs_priced) == (len(sold), len({row["job_id"] for row in sold}), len(prices))
    assert (found.revenue or 0) == pytest.approx(sum(prices.values()))
    assert found.words.startswith(f"{len(sold)} ")


@FEW
@given(FILTERS)
def test_trends_for_any_filters(filters):
    sold = [row for row in sold_through(filters) if row["sold_on"]]
    of, n = Counter(), Counter()
    for row in sold:
        quarter = f"{row['sold_on'].year}-Q{(row['sold_on'].month + 2) // 3}"
        low = int(row["length_mm"] // 250 * 250)
        of[quarter] += 1
        values = [
            ("length", f"{low}-{low + 249}"),
            ("vehicle", row["vehicle_id"]),
            ("upgrade", row["upgrade_id"]),
            ("family", row["family"]),
        ]
        n.update((quarter, kind, str(value)) for kind, value in [*values, *(("item", item) for item in row["items"] or ())] if value)
    found = selling.trends(CON, USUAL, filters).filter(pl.col("n") > 0)
    assert dict(zip(found.select("quarter", "kind", "value").rows(), found["n"], strict=True)) == n
    assert dict(zip(found["quarter"], found["of"], strict=True)) == of


@FEW
@given(FILTERS)
def test_what_pays_for_any_filters(filters):
    """A job counts once under each value of its bodies, whole; beside `median` of the standard library."""
    whole = {row["job_id"]: row for row in CON.sql("select * from current_jobs").to_arrow_table().to_pylist()}
    under: dict[tuple[str, str], set[str]] = {}
    kg: dict[str, list[float | None]] = {}
    for row in sold_through(filters):
        kg.setdefault(row["job_id"], []).append(row["kg"])
        low = int(row["length_mm"] // 250 * 250)
        values = [("vehicle", row["vehicle_id"]), ("length", f"{low}-{low + 249}"), ("family", row["family"])]
        for kind, value in [*values, *(("item", item) for item in row["items"] or ())]:
            if value is not None:
                under.setdefault((kind, str(value)), set()).add(row["job_id"])
    found = {(row["kind"], row["value"]): row for row in selling.what_pays(CON, USUAL, filters).iter_rows(named=True)}
    assert {key: row["jobs"] for key, row in found.items()} == {key: len(jobs) for key, jobs in under.items()}
    for key, jobs in under.items():
        of = [whole[job] | {"kg": sum(kg[job]) if None not in kg[job] else None} for job in sorted(jobs)]
        left = [row | {"left": row["price"] - row["cost"]} for row in of if row["price"] is not None and row["cost"] is not None]
        row = found[key]
        assert (row["price"], row["jobs_priced"]) == (middle(of, "price"), sum(one["price"] is not None for one in of))
        assert row["revenue"] == (pytest.approx(sum(one["price"] or 0 for one in of)) if row["jobs_priced"] else None)
        assert (row["labour_h"], row["jobs_with_hours"]) == (middle(of, "labour_h"), sum(one["labour_h"] is not None for one in of))
        assert (row["left_over"], row["jobs_with_cost"]) == (middle(left, "left"), len(left))
        assert row["left_over_an_hour"] == pytest.approx(middle(left, "left", "labour_h"))
        assert row["booked_to_quoted"] == pytest.approx(middle(of, "labour_h", "quoted_h"))
        assert row["labour_h_per_kg"] == pytest.approx(middle(of, "labour_h", "kg"))
        assert row["price_per_kg"] == pytest.approx(middle(of, "price", "kg"))


def middle(rows: list[dict], above: str, below: str = "") -> float | None:
    known = [row for row in rows if row[above] is not None and (not below or row[below] is not None)]
    return median(row[above] / (row[below] if below else 1) for row in known) if known else None


@FEW
@given(FILTERS)
def test_families_for_any_filters(filters):
    sold = sold_through(filters)
    found = families.families(CON, USUAL, filters)
    assert dict(found.select("family", "bodies").iter_rows()) == Counter(row["family"] for row in sold)
    for row in found.iter_rows(named=True):
        own = [each for each in sold if each["family"] == row["family"]]
        lengths, masses = pl.Series([each["length_mm"] for each in own]), pl.Series([each["kg"] for each in own if each["kg"] is not None])
        assert row["share"] == pytest.approx(len(own) / len(sold))
        assert row["length_low_mm"] == pytest.approx(lengths.quantile(0.1, "linear"))
        assert row["length_high_mm"] == pytest.approx(lengths.quantile(0.9, "linear"))
        if len(masses):
            assert row["mass_low_kg"] == pytest.approx(masses.quantile(0.1, "linear"))
            assert row["mass_high_kg"] == pytest.approx(masses.quantile(0.9, "linear"))
        else:
            assert row["mass_low_kg"] is None


@FEW
@given(FILTERS)
def test_conversion_for_any_filters(filters):
    chosen = through(filters, "quoted")
    jobs = {row["job_id"]: row["status"] for row in chosen}
    states = Counter(
        {"ordered": "ordered", "delivered": "ordered", "quoted": "open_quotes"}.get(status, "lost") for status in jobs.values()
    )
    found = selling.conversion(CON, USUAL, filters)
    if not chosen:
        assert found.is_empty()
        return
    row = found.filter(pl.col("grouping") == "all").row(0, named=True)
    assert row["quotes"] == len(jobs)
    assert {name: row[name] for name in ("ordered", "lost", "open_quotes") if row[name]} == dict(states)
    kinds = dict(found.filter(pl.col("grouping") == "kind").select("value", "quotes").iter_rows())
    assert kinds == Counter(row["kind"] for row in chosen)


@FEW
@given(FILTERS)
def test_pairs_for_any_filters(filters):
    delivered = [set(row["items"] or ()) for row in through(filters, "dated") if row["status"] == "delivered"]
    together = Counter((a, b) for held in delivered for a in held for b in held if a != b)
    found = selling.pairs(CON, USUAL, filters)
    assert dict(zip(found.select("item_a", "item_b").rows(), found["bodies"], strict=True)) == together
    for row in found.head(20).iter_rows(named=True):
        a, b = (sum(row[name] in held for held in delivered) for name in ("item_a", "item_b"))
        assert row["support"] == pytest.approx(row["bodies"] / len(delivered))
        assert row["confidence"] == pytest.approx(row["bodies"] / a)
        assert row["lift"] == pytest.approx(row["bodies"] / a / (b / len(delivered)))


@FEW
@given(FILTERS)
def test_reasons_for_any_filters(filters):
    lost = {row["job_id"]: row["lost_why"] or "not told" for row in through(filters, "quoted") if row["status"] == "lost"}
    found = selling.lost_reasons(CON, USUAL, filters).filter(pl.col("grouping") == "all")
    assert dict(found.select("reason", "n").iter_rows()) == Counter(lost.values())


def test_months_add_up_to_the_totals():
    months, totals = selling.months(CON, USUAL), selling.totals(CON, USUAL)
    undated = sum(row["sold_on"] is None for row in sold_through(Filters()))
    assert months["bodies"].sum() + undated == totals.bodies


def test_a_month_that_the_period_cuts_is_not_compared():
    until = date(2026, 3, 15)
    last = selling.year_on_year(CON, USUAL, Filters(until=until)).filter(pl.col("year") == 2026)
    months = selling.months(CON, USUAL).filter((pl.col("year") == 2026) & (pl.col("month") <= 2))
    assert last.select("months", "bodies").row(0) == (2, months["bodies"].sum())


def test_what_changed_does_not_forget_the_time_before_the_period():
    since = selling.window(CON, USUAL).now_from
    assert selling.what_changed(CON, USUAL, Filters(since=since)).equals(selling.what_changed(CON, USUAL))


def test_a_click_on_a_value_narrows_the_filters():
    assert selling.narrowed(Filters(kinds=("tray",)), "family", "7") == Filters(kinds=("tray",), families=(7,))
    assert selling.narrowed(Filters(), "vehicle", "V-BIG") == Filters(vehicles=("V-BIG",))


def test_choices_are_what_the_edition_holds():
    choices = selling.filter_choices(CON)
    assert choices["branches"] == ["coast", "north", "south"]
    assert choices["kinds"] == ["box", "canopy", "tray"]
    assert choices["upgrades"] == ["UP"]


ANSWERS = [
    *("totals", "trends", "pairs", "triples", "what_changed", "window", "months", "seasons", "year_on_year", "conversion"),
    *("waiting_curve", "lost_reasons", "quiet_quotes", "revised_items", "revised_sizes", "mass_by_year", "mass_drivers"),
    *("what_pays", "months_sold"),
]


@pytest.mark.parametrize("answer", ANSWERS)
def test_an_empty_store_and_one_job_answer_everything_before_the_first_fit(answer):
    """Neither edition has tables of families: nothing was fitted yet."""
    alone = {"job_id": "A", "status": "ordered", "quoted_on": date(2026, 1, 1), "ordered_on": date(2026, 1, 5), "price": 100.0}
    for con in (edition(), edition(jobs=[alone], bodies=[{"job_id": "A", "body": "tray"}])):
        getattr(selling, answer)(con, USUAL)


def test_families_of_an_edition_without_any():
    con = edition()
    assert families.families(con, USUAL).columns == list(families.EXPORT)
    assert families.family_changes(con).is_empty()
    assert families.number_of_families(con).is_empty()


def test_items_of_a_family_are_those_of_a_plain_count():
    rows = [set(row["items"] or ()) for row in RECORDS.iter_rows(named=True) if row["family"] == 1]
    kind = next(row["kind"] for row in RECORDS.iter_rows(named=True) if row["family"] == 1)
    every = [set(row["items"] or ()) for row in RECORDS.iter_rows(named=True) if row["kind"] == kind]
    found = families.family_items(CON, 1)
    assert dict(found.select("item_id", "bodies").iter_rows()) == Counter(item for held in rows for item in held)
    for row in found.iter_rows(named=True):
        usual = sum(row["item_id"] in held for held in every) / len(every)
        assert row["lift"] == pytest.approx(row["share"] / usual)


@pytest.mark.parametrize(
    "filters",
    [
        Filters(),
        Filters(kinds=("canopy",)),
        Filters(since=date(2024, 3, 1), until=date(2025, 6, 30)),
        Filters(vehicles=("V-DUAL",), branches=("north",)),
    ],
    ids=("all", "kind", "period", "vehicle and branch"),
)
def test_margins_of_a_family_are_those_of_its_jobs(filters):
    jobs = sorted({row["job_id"] for row in sold_through(Filters())})
    vehicle, branch = (dict(CON.cursor().execute(f"select job_id, {name} from body_facts").fetchall()) for name in ("vehicle_id", "branch"))
    kind = {row["job_id"]: row["kind"] for row in RECORDS.iter_rows(named=True)}
    told = [(job, "travel", float(at), vehicle[job], branch[job], kind[job]) for at, job in enumerate(jobs)]
    margins = pl.DataFrame(told, schema=["job_id", "load", "margin_kg", "vehicle_id", "branch", "kind"], orient="row")
    con = CON.cursor()
    con.register("margins_told", with_bodies(con, margins.to_arrow()))
    found = families.family_margins(con, USUAL, "margins_told", filters)
    for (family,), part in found.group_by("family"):
        one = families.family_margins(con, USUAL, "margins_told", filters, family)
        assert_frame_equal(one, part.sort("load"))
    of = dict(margins.select("job_id", "margin_kg").iter_rows())
    chosen = sold_through(filters)
    assert set(found["family"]) == {row["family"] for row in chosen if row["family"] is not None}
    for row in found.iter_rows(named=True):
        own = pl.Series([of[job] for job in {each["job_id"] for each in chosen if each["family"] == row["family"]}])
        assert (row["jobs"], row["margin_kg"]) == (len(own), own.median())
        assert row["margin_low_kg"] == pytest.approx(own.quantile(0.1, "linear"))
        assert row["margin_high_kg"] == pytest.approx(own.quantile(0.9, "linear"))


def test_every_answer_of_a_wrong_address_is_refused_before_it_reaches_the_store():
    with pytest.raises(TarebookError):
        Filters.from_query({"families": "1; drop table jobs"})
