"""What sells: which layouts, items, lengths and vehicles, what really changed, how quotes fare, and what pays."""

import polars as pl
import streamlit as st

from dashboard import abouts, address, live
from dashboard.here import Here, here
from dashboard.parts import pictures, tables
from dashboard.parts.filter_line import filter_line
from dashboard.parts.jobs import bodies_behind
from dashboard.parts.rows import rows_of
from dashboard.questions import calls, curve_points, has_families, mass_drivers, quiet_quotes, what_changed
from pipeline.answers import selling
from pipeline.answers.finder import ItemAt, Search
from pipeline.pictures import charts
from pipeline.trends.mass import PAYS_BY
from pipeline.trends.waiting import GROUPINGS

KINDS = {"family": "Layout families", "item": "Items", "length": "Lengths", "vehicle": "Vehicles", "upgrade": "Upgrades"}
MONEY = ("revenue", "revenue_before")
COST = ("left_over", "left_over_an_hour", "jobs_with_cost")


def summary(now: Here) -> None:
    total = live.ask(selling.totals, now.filters)
    sold = tables.escaped(total.words)
    filter_line(now, "what-sells", f"**{sold}** in {total.jobs:,} {'job' if total.jobs == 1 else 'jobs'}.", abouts.SOLD)
    said = []
    if now.may("see-prices") and total.revenue is not None:
        money = f"{total.revenue:,.0f} {now.settings.workshop.currency}".rstrip()
        said.append(f"They brought {money} (known of {total.jobs_priced:,} jobs).")
    if total.labour_h is not None:
        said.append(f"{total.labour_h:,.0f} hours were booked (known of {total.jobs_with_hours:,} jobs).")
    if said:
        st.markdown(" ".join(said))


def changed(now: Here) -> None:
    found = live.ask(what_changed, now.filters)
    window = live.ask(selling.window, now.filters)
    if window is None or found.is_empty():
        st.info("Too little was sold with these filters to lay one year beside the one before.")
        return
    months = now.settings.trends.window_months
    st.markdown(f"Sales since {tables.said('on', window.now_from)}, beside those of the {months} months before.")
    chosen = pictures.chart(now, charts.changes(found.head(14), now.style(pick=True)), "changes", abouts.CHANGES)
    real = found.filter(pl.col("changed"))
    st.markdown("\n".join(f"- {tables.escaped(words)}" for words in real["words"].head(8)) or "Nothing changed by more than chance.")
    shown = ("label", "n_before", "of_before", "n_now", "of_now", "words")
    tables.table(rows_of(found), "Every comparison, the best supported first", "changes-table", now, abouts.CHANGES, columns=shown)
    behind(now, found, chosen, "changes-behind")


def over_time(now: Here) -> None:
    kind = address.one("Shares of", "shares_of", KINDS, "family", st.segmented_control, required=True)
    found = live.ask(selling.trends, now.filters, kind)
    if found.is_empty():
        families = kind == "family" and not live.ask(has_families)
        st.info(
            "Families are gathered by the fit: `tarebook fit`, or after a hand-in on *Start*." if families else "None with these filters."
        )
        return
    called = live.ask(calls)
    labels = pl.Series("label", [called.get(value, value) for value in found["value"]], dtype=pl.String)
    part = found.with_columns(labels)
    largest = part.group_by("kind", "value", "label").agg(pl.col("n").sum()).sort("n", "value", descending=[True, False])
    names = dict(largest.select("value", "label").iter_rows())
    values = st.multiselect(
        "Lines",
        list(names),
        list(names)[:4],
        format_func=names.__getitem__,
        max_selections=6,
        select_all=False,
        key=f"lines-{kind}-{len(names)}",
    )
    lines = part.filter(pl.col("value").is_in(values)).select("quarter", pl.col("label").alias("value"), "share", "low", "high", "of")
    rows = rows_of(part.drop("kind", "value").select("label", pl.exclude("label")))
    pictures.chart(now, charts.shares(lines, now.style()), f"shares-{kind}", abouts.SHARES, rows)
    st.subheader("How many in all", anchor=False)
    counted = largest.head(20).select(pl.col("label").alias("value"), pl.col("n").alias("count"))
    chosen = pictures.chart(now, charts.counts(counted, now.style(pick=True)), f"counts-{kind}", abouts.SHARES)
    behind(now, largest, chosen, f"counts-behind-{kind}")
    st.subheader("Year on year", anchor=False)
    years = live.ask(selling.year_on_year, now.filters)
    years = years if now.may("see-prices") else years.drop(*MONEY, strict=False)
    tables.table(
        rows_of(years),
        "Each year beside the same months of the one before",
        "year-on-year",
        now,
        abouts.SOLD,
        empty="Not two years of sales yet.",
    )


def quotes(now: Here) -> None:
    shares = curve_points(live.ask(selling.quotes, now.filters, GROUPINGS[0]).curve)
    if not shares:
        st.info("There is no quote with a date with these filters.")
        return
    called = live.ask(calls)
    pictures.chart(now, charts.conversion(shares, now.style()), "conversion", abouts.CONVERSION)
    grouping = address.one("Grouped by", "grouping", {one: one for one in GROUPINGS}, GROUPINGS[0])
    told = live.ask(selling.quotes, now.filters, grouping)
    part = told.conversion.drop("grouping")
    shown = ("value", "quotes", "ordered", "lost", "open_quotes", "share", "order_days", "handover_days")
    tables.table(
        rows_of(part, called, ("value",)), f"Quotes and orders by {grouping}", "conversion-table", now, abouts.CONVERSION, columns=shown
    )
    st.subheader("Why quotes are lost", anchor=False)
    lost = told.lost.drop("grouping")
    reasons = ("value", "reason", "n", "of", "share")
    silent = ("job_id", "branch", "vehicle_id", "kind", "quoted_on", "words")
    revisions = ("label", "put_in", "taken_out", "revisions")
    tables.table(
        rows_of(lost, called, ("value",)),
        "Reasons of lost quotes",
        "lost",
        now,
        abouts.LOST,
        empty="No reason was written down.",
        columns=reasons,
    )
    st.subheader("Quotes gone quiet", anchor=False)
    quiet = rows_of(live.ask(quiet_quotes, now.filters).sort("age_days"), called, ("vehicle_id", "family"))
    tables.table(
        quiet, "Open quotes older than their kind takes to be ordered", "quiet", now, abouts.QUIET, empty="None is.", columns=silent
    )
    st.subheader("What changes between revisions", anchor=False)
    revised = rows_of(live.ask(selling.revised_items, now.filters))
    tables.table(
        revised,
        "Items that come and go between revisions",
        "revised",
        now,
        abouts.REVISED,
        empty="No quote was revised.",
        columns=revisions,
    )


def together(now: Here) -> None:
    called = live.ask(calls)
    found = live.ask(selling.pairs, now.filters).filter(pl.col("bodies") >= now.settings.trends.pair_bodies)
    items = sorted(set(found["item_a"]), key=lambda one: called.get(one, one))
    item = address.one("What goes with", "with_item", {one: called.get(one, one) for one in items}, placeholder="any item")
    part = (found.filter(pl.col("item_a") == item) if item else found).sort("lift", "bodies", "item_a", descending=[True, True, False])
    rows = rows_of(part, called, ("item_a", "item_b"))
    tables.table(rows, "Items that stand together", "pairs", now, abouts.PAIRS, empty="No two items stand together often enough.")


def pays(now: Here) -> None:
    if not now.may("see-prices"):
        st.info("Prices are not for this role.")
        return
    kinds = [kind for kind in PAYS_BY if kind != "family" or live.ask(has_families)]
    kind = address.one("By", "pays_by", {one: one for one in kinds}, kinds[0], st.segmented_control, required=True)
    found = live.ask(selling.what_pays, now.filters, kind)
    if found.is_empty():
        st.info("No job was sold with these filters.")
        return
    part = found.drop("kind", "value")
    part = part if now.may("see-costs") else part.drop(*COST, strict=False)
    tables.table(rows_of(part), f"What pays, by {kind}", "pays", now, abouts.PAYS)


def masses(now: Here) -> None:
    by_year = rows_of(live.ask(selling.mass_by_year, now.filters))
    tables.table(by_year, "Finished mass by length and year", "mass-by-year", now, abouts.MASSES, empty="No body was weighed or drawn.")
    st.subheader("What makes bodies heavier or lighter", anchor=False)
    drivers = rows_of(live.ask(mass_drivers, now.filters))
    shown = ("label", "each_before", "each_now", "item_kg", "adds_kg")
    tables.table(
        drivers, "Items that move the mean mass", "drivers", now, abouts.DRIVERS, empty="Nothing to compare with yet.", columns=shown
    )


def behind(now: Here, found: pl.DataFrame, chosen: dict, name: str) -> None:
    """The bodies behind what was chosen in a chart."""
    picked = [entry.get("label") or entry.get("value") for entry in chosen.get("picked") or []]
    rows = found.filter(pl.col("label") == picked[-1]).to_dicts() if picked else []
    if not rows:
        st.caption("Choose something in the picture to see the bodies behind it.")
        return
    st.subheader(f"Bodies behind {tables.escaped(rows[0]['label'])}", anchor=False)
    bodies_behind(now, search_for(now, rows[0]["kind"], rows[0]["value"]), name)


def search_for(now: Here, kind: str, value: str) -> Search:
    if kind == "item":
        return Search(now.filters, items=(ItemAt(value),))
    if kind == "length":
        low, _, high = value.partition("-")
        return Search(now.filters, length_from_mm=float(low), length_to_mm=float(high or low))
    return Search(selling.narrowed(now.filters, kind, value))


VIEWS = {
    "changed": ("What changed", changed),
    "time": ("Over time", over_time),
    "quotes": ("Quotes and orders", quotes),
    "together": ("What goes together", together),
    "pays": ("What pays", pays),
    "mass": ("Mass", masses),
}
now = here()
summary(now)
for name, tab in address.tabs("view", {name: label for name, (label, _) in VIEWS.items()}).items():
    if tab.open:
        with tab:
            st.fragment(VIEWS[name][1])(now)
