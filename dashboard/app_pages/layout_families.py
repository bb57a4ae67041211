"""Layout families: bodies with alike layouts, their typical builds, and how they fare."""

import polars as pl
import streamlit as st

from dashboard import abouts, address, called, live
from dashboard.here import Here, here
from dashboard.parts import pictures, tables
from dashboard.parts.builds import job_drawing
from dashboard.parts.filter_line import filter_line
from dashboard.parts.jobs import bodies_behind, job_link
from dashboard.parts.rows import rows_of
from dashboard.questions import family_changes, family_items, family_margins, family_names, has_families, number_of_families
from pipeline.answers import families, selling
from pipeline.answers.finder import Search
from pipeline.pictures import charts
from pipeline.pictures.drawing import GROUPS

THUMBS = 12
SHOWN = ("family", "name", "bodies", "share", "length_low_mm", "length_high_mm", "mass_low_kg", "mass_high_kg", "measured")


@st.fragment
def overview(now: Here) -> None:
    found = live.ask(families.family_page, now.filters)
    if found.is_empty():
        st.info("No body was sold with these filters.")
        return
    st.markdown(f"They fall into {len(found)} families of alike layouts. A family keeps its number from edition to edition.")
    counted = found.select(value="name", count="bodies").head(20)
    pictures.chart(now, charts.counts(counted, now.style(), question="Which layouts are most common?"), "families", abouts.FAMILIES)
    tables.table(
        rows_of(found), "Layout families; lengths and masses hold 8 in 10 bodies", "layout-families", now, abouts.FAMILIES, columns=SHOWN
    )
    st.subheader("Typical builds", anchor=False)
    pictures.key_to(GROUPS)
    with st.grid(min_column_width=200):
        for row in found.head(THUMBS).to_dicts():
            card(now, row)


def card(now: Here, row: dict) -> None:
    with st.container(border=True):
        st.markdown(f"**{row['family']}** {tables.escaped(row['name'])}")
        picture = job_drawing(now, row["typical_job_id"], row["typical_body"], "thumb")
        if picture:
            st.image(picture.svg, alt=picture.alt, width=160)
        st.caption(f"{row['bodies']:,} bodies, about {now.units.kg(row['mass_kg'])} at {now.units.mm(row['length_mm'])}")


@st.fragment
def one_family(now: Here) -> None:
    st.header("One family", anchor=False)
    names = live.ask(family_names)
    options = {number: called.family(number, name) for number, name in names.items()}
    family = address.one("Family", "family", options, default=next(iter(names)))
    rows = live.ask(families.family_page, now.filters).filter(pl.col("family") == family).to_dicts()
    left, right = st.columns([6, 5], gap="large")
    with left:
        typical(now, family, rows)
    with right:
        st.markdown("**What is usually in it**")
        common = live.ask(family_items, family).head(12).select("label", "share", "lift")
        tables.table(rows_of(common), "Items of the family", f"family-{family}-items", now, abouts.FAMILY_ITEMS)
    vehicles = live.ask(families.family_vehicles, now.filters).filter(pl.col("family") == family).select("label", "bodies")
    margins = live.ask(family_margins, now.filters, family).drop("family")
    left, right = st.columns(2, gap="large")
    with left:
        st.markdown("**Vehicles that carry it**")
        tables.table(
            rows_of(vehicles),
            "Vehicles that carry this family",
            f"family-{family}-vehicles",
            now,
            abouts.FAMILIES,
            empty="None with these filters.",
        )
    with right:
        st.markdown("**Margin to GVM, 8 in 10 jobs**")
        tables.table(rows_of(margins), "Margins of this family", f"family-{family}-margins", now, abouts.MARGINS, empty="Not known.")
    st.subheader("Its bodies", anchor=False)
    bodies_behind(now, Search(selling.narrowed(now.filters, "family", str(family))), f"family-{family}-bodies")


def typical(now: Here, family: int, rows: list[dict]) -> None:
    if not rows:
        st.caption("Nothing of this family was sold with these filters.")
        return
    picture = job_drawing(now, rows[0]["typical_job_id"], rows[0]["typical_body"], "page")
    if picture:
        pictures.drawing(picture, f"family-{family}")
    job_link(rows[0]["typical_job_id"])


def history(now: Here) -> None:
    st.header("What became of the families", anchor=False)
    shown = ("change", "family", "other", "words")
    changes = rows_of(live.ask(family_changes))
    tables.table(
        changes,
        "Families that are new, gone, split or merged",
        "family-changes",
        now,
        abouts.FAMILY_CHANGES,
        empty="Nothing at this edition.",
        columns=shown,
    )
    with st.expander("How many families, and how well they stand apart"):
        numbers = rows_of(live.ask(number_of_families))
        tables.table(numbers, "Families by kind of body", "family-numbers", now, abouts.SILHOUETTE)


now = here()
if not live.ask(has_families):
    st.info("Families are gathered by the fit: `tarebook fit`, or after a hand-in on *Start*.")
else:
    sold = live.ask(selling.totals, now.filters).words
    filter_line(now, "layout-families", f"**{tables.escaped(sold)}**.", abouts.SOLD)
    overview(now)
    if live.ask(family_names):
        one_family(now)
        history(now)
