"""What sells: which layouts, items, lengths and vehicles, what really changed, how quotes fare, and what pays."""

import polars as pl
import streamlit as st

from dashboard import live
from dashboard.here import Here, here
from dashboard.parts import pictures, tables
from dashboard.parts.jobs import bodies_behind
from dashboard.parts.rows import rows_of
from dashboard.parts.sources import source
from dashboard.questions import calls, curve
from pipeline.answers import selling
from pipeline.answers.finder import ItemAt, Search
from pipeline.pictures import charts

KINDS = {"family": "Layout families", "item": "Items", "length": "Lengths", "vehicle": "Vehicles", "upgrade": "Upgrades"}
MONEY = ("revenue", "revenue_before", "price", "price_per_kg", "price_change", "jobs_priced")
COST = ("left_over", "left_over_an_hour", "jobs_with_cost")


def summary(now: Here) -> None:
    total = live.ask(selling.totals, now.filters)
    said = f"**{total.words[:1].upper()}{total.words[1:]}** in {total.jobs:,} {'job' if total.jobs == 1 else 'jobs'}."
    if now.may("see-prices") and total.revenue is not None:
        said += f" They brought {total.revenue:,.0f} {now.settings.workshop.currency}".rstrip() + f" (known of {total.jobs_priced:,} jobs)."
    if total.labour_h is not None:
        said += f" {total.labour_h:,.0f} hours were booked (known of {total.jobs_with_hours:,} jobs)."
    st.markdown(said)


def changed(now: Here) -> None:
    found = live.ask(selling.what_changed, now.filters)
    window = live.ask(selling.window, now.filters)
    if window is None or found.is_empty():
        st.info("Nothing was sold with these filters, so nothing can be compared.")
        return
    st.markdown(
        f"Sales from {window.now_from:%-d %B %Y} on, beside those of the {now.settings.trends.window_months} months before. Dots are more than chance; where nothing is, "
        "nothing is shown to have changed."
    )
    chosen = pictures.chart(charts.changes(found.head(14), now.style(pick=True)), "changes")
    source(
        now,
        "changes",
        "Every family, item, length, vehicle and upgrade is compared; so many comparisons would show a few changes by chance alone, "
        "and those are held down.",
        "Bodies sold, each once, by the day of the order.",
    )
    real = found.filter(pl.col("changed"))
    st.markdown("\n".join(f"- {tables.escaped(words)}" for words in real["words"].head(8)) or "Nothing changed by more than chance.")
    tables.table(
        rows_of(found),
        "Every comparison, the best supported first",
        "changes",
        now,
        columns=("label", "n_before", "of_before", "n_now", "of_now", "words"),
    )
    _behind(now, found, chosen, "label", "changes-behind")


def over_time(now: Here) -> None:
    found = live.ask(selling.trends, now.filters)
    kind = st.segmented_control(
        "Shares of", list(KINDS), format_func=KINDS.get, key="shares_of", default="family", required=True, bind="query-params"
    )
    called = live.ask(calls)
    part = found.filter(pl.col("kind") == kind)
    labelled = part.with_columns(pl.Series("label", [called.get(value, value) for value in part["value"]], dtype=pl.String))
    newest = labelled.group_by("value", "label").agg(pl.col("n").sum()).sort("n", "value", descending=[True, False])
    names = dict(newest.select("value", "label").iter_rows())
    values = st.multiselect(
        "Lines", list(names), default=list(names)[:4], format_func=names.get, max_selections=6, key=f"lines-{kind}-{len(names)}"
    )
    shown = labelled.filter(pl.col("value").is_in(values)).rename({"n": "count", "value": "id", "label": "value"})
    pictures.chart(charts.shares(shown, now.style()), f"shares-{kind}")
    source(now, "shares", "Of all bodies sold in a quarter, the share that is of this family, has this item, and so on. The band says how far chance alone "
           "could have moved it: with few sales it is wide.", "Bodies sold, each once, by the day of the order.")  # fmt: skip
    tables.table(rows_of(labelled.drop("kind")), "Shares by quarter", f"shares-{kind}", now)
    st.subheader("How many in all", anchor=False)
    chosen = pictures.chart(
        charts.counts(newest.head(20).rename({"value": "id", "label": "value", "n": "count"}), now.style(pick=True)), f"counts-{kind}"
    )
    _behind(now, newest.with_columns(kind=pl.lit(kind)), chosen, "value", f"counts-behind-{kind}", match="label")
    st.subheader("Year on year", anchor=False)
    years = live.ask(selling.year_on_year, now.filters)
    tables.table(
        rows_of(_without_money(now, years)),
        "Each year beside the same months of the one before",
        "year-on-year",
        now,
        empty="Not two years of sales yet.",
    )


def quotes(now: Here) -> None:
    found = live.ask(selling.conversion, now.filters)
    line = live.ask(curve, now.filters)
    pictures.chart(charts.conversion(line, now.style()), "conversion")
    source(now, "conversion", "Of all quotes, the share that had been ordered so many days after the quote. A quote that is still open counts only for the days "
           "that it has been open: it is neither won nor lost.", "Last revision of each job, by the day of the quote.")  # fmt: skip
    grouping = st.selectbox(
        "Grouped by", sorted(set(found["grouping"])) if not found.is_empty() else ["all"], key="grouping", bind="query-params"
    )
    called = live.ask(calls)
    tables.table(
        rows_of(found.filter(pl.col("grouping") == grouping).drop("grouping"), called, ("value",)),
        f"Quotes and orders by {grouping}",
        "conversion",
        now,
    )
    st.subheader("Why quotes are lost", anchor=False)
    lost = live.ask(selling.lost_reasons, now.filters).filter(pl.col("grouping") == grouping).drop("grouping")
    tables.table(rows_of(lost, called, ("value",)), "Reasons of lost quotes", "lost", now, empty="No reason was written down.")
    st.subheader("Quotes gone quiet", anchor=False)
    quiet = live.ask(selling.quiet_quotes, now.filters).sort("age_days")
    tables.table(
        rows_of(quiet, called, ("vehicle_id", "family")),
        "Open quotes older than their kind usually takes to be ordered, the newest first",
        "quiet",
        now,
        empty="No open quote is older than its kind usually takes.",
        columns=("job_id", "branch", "vehicle_id", "kind", "quoted_on", "words"),
    )
    st.subheader("What changes between revisions", anchor=False)
    tables.table(
        rows_of(live.ask(selling.revised_items, now.filters)),
        "Items that come and go between revisions",
        "revised",
        now,
        empty="No quote was revised.",
    )


def together(now: Here) -> None:
    called = live.ask(calls)
    found = live.ask(selling.pairs, now.filters).filter(pl.col("bodies") >= now.settings.trends.pair_bodies)
    items = sorted(set(found["item_a"]), key=lambda one: called.get(one, one))
    item = st.selectbox(
        "What goes with",
        items,
        index=None,
        format_func=lambda one: called.get(one, one),
        placeholder="any item",
        key="with_item",
        bind="query-params",
    )
    shown = found.filter(pl.col("item_a") == item) if item else found
    shown = shown.sort("lift", "bodies", descending=[True, True])
    tables.table(
        rows_of(shown, called, ("item_a", "item_b")),
        "Items that stand together",
        "pairs",
        now,
        empty="No two items stand together often enough.",
    )
    source(now, "pairs", "How often two items stand in the same body, and how many times as often as if they had nothing to do with each other.",
           "All bodies handed over.")  # fmt: skip


def pays(now: Here) -> None:
    if not now.may("see-prices"):
        st.info("Prices are not for this role.")
        return
    found = live.ask(selling.what_pays, now.filters)
    kinds = sorted(set(found["kind"])) or ["family"]
    kind = st.segmented_control("By", kinds, default=kinds[0], required=True, key="pays_by", bind="query-params")
    shown = found.filter(pl.col("kind") == kind).drop("kind", "value")
    if not now.may("see-costs"):
        shown = shown.drop(*COST, strict=False)
    tables.table(rows_of(shown), f"What pays, by {kind}", "pays", now, empty="No price is written down.")
    source(
        now,
        "pays",
        "Medians of what was asked, what was left over and how long it took, over the jobs where that is written down.",
        "Jobs sold.",
    )


def masses(now: Here) -> None:
    tables.table(
        rows_of(live.ask(selling.mass_by_year, now.filters)),
        "Finished mass by length and year",
        "mass-by-year",
        now,
        empty="No body was weighed or drawn.",
    )
    st.subheader("What makes bodies heavier or lighter", anchor=False)
    tables.table(
        rows_of(live.ask(selling.mass_drivers, now.filters)),
        "Items that move the mean mass",
        "mass-drivers",
        now,
        empty="Nothing to compare with yet.",
    )
    source(
        now,
        "drivers",
        "How much an item adds to the mean body today, less what it added in the months before.",
        "Bodies sold, masses by scale, ticket or drawing.",
    )


def _behind(now: Here, found: pl.DataFrame, chosen: dict, field: str, name: str, match: str = "label") -> None:
    """The bodies behind what was chosen in a chart."""
    picked = [entry.get(field) for entry in chosen.get("picked", [])] if chosen else []
    if not picked:
        st.caption("Choose something in the picture to see the bodies behind it.")
        return
    rows = found.filter(pl.col(match) == picked[-1]).to_dicts()
    if rows:
        st.subheader(f"Bodies behind {tables.escaped(str(picked[-1]))}", anchor=False)
        bodies_behind(now, _search(now, rows[0]["kind"], rows[0]["value"]), name)


def _search(now: Here, kind: str, value: str) -> Search:
    if kind == "item":
        return Search(now.filters, items=(ItemAt(value),))
    if kind == "length":
        low, _, high = value.partition("-")
        return Search(now.filters, length_from_mm=float(low), length_to_mm=float(high or low))
    return Search(selling.narrowed(now.filters, kind, value))


def _without_money(now: Here, frame: pl.DataFrame) -> pl.DataFrame:
    return frame if now.may("see-prices") else frame.drop(*MONEY, strict=False)


VIEWS = {
    "What changed": changed,
    "Over time": over_time,
    "Quotes and orders": quotes,
    "What goes together": together,
    "What pays": pays,
    "Mass": masses,
}
now = here()
summary(now)
for tab, view in zip(st.tabs(list(VIEWS), key="view", on_change="rerun", bind="query-params"), VIEWS.values(), strict=True):
    if tab.open:
        with tab:
            st.fragment(view)(now)
