"""Layout families: bodies with alike layouts, their typical builds, and how they fare."""

import polars as pl
import streamlit as st

from dashboard import live
from dashboard.here import Here, here
from dashboard.parts import pictures, tables
from dashboard.parts.builds import job_drawing
from dashboard.parts.jobs import bodies_behind, job_link
from dashboard.parts.rows import rows_of
from dashboard.parts.sources import source
from dashboard.questions import family_changes, family_items, family_names, number_of_families
from pipeline.answers import families
from pipeline.answers.finder import Search
from pipeline.answers.selling import narrowed
from pipeline.pictures import charts

THUMBS = 12


def overview(now: Here) -> None:
    found = live.ask(families.family_page, now.filters)
    if found.is_empty():
        st.info("No body was sold with these filters.")
        return
    st.markdown(
        f"**{found['bodies'].sum():,} bodies** sold, in {len(found)} families of alike layouts. A family keeps its number from edition to edition."
    )
    pictures.chart(
        charts.counts(found.select(value="name", count="bodies").head(20), now.style(), question="Which layouts are most common?"),
        "families",
    )
    source(now, "families", "Layouts are compared by which groups of items stand on which side and place. Alike ones are gathered around a typical build; a layout and its "
           "mirror image count as one.", "Every body that was sold, once.")  # fmt: skip
    shown = found.select(
        "family",
        "name",
        "kind",
        "bodies",
        "share",
        "length_low_mm",
        "length_high_mm",
        "mass_low_kg",
        "mass_high_kg",
        "measured",
        "typical_job_id",
    )
    tables.table(rows_of(shown), "Layout families; lengths and masses are those of 8 in 10 bodies", "families", now)
    thumbs(now, found.head(THUMBS).to_dicts())


def thumbs(now: Here, found: list[dict]) -> None:
    st.subheader("Typical builds", anchor=False)
    with st.grid(min_column_width=200):
        for row in found:
            with st.container(border=True):
                st.markdown(f"**{row['family']}** {tables.escaped(row['name'])}")
                picture = job_drawing(now, row["typical_job_id"], row["typical_body"], "thumb")
                if picture:
                    st.image(picture.svg, alt=picture.alt, width=160)
                st.caption(f"{row['bodies']:,} bodies, about {now.units.kg(row['mass_kg'])} at {now.units.mm(row['length_mm'])}")


def one_family(now: Here) -> None:
    st.header("One family", anchor=False)
    called = live.ask(family_names)
    if not called:
        st.caption("Families are made by the fit; none was made yet.")
        return
    family = st.selectbox("Family", list(called), format_func=lambda one: f"{one}: {called[one]}", key="family", bind="query-params")
    rows = live.ask(families.family_page, now.filters).filter(pl.col("family") == family).to_dicts()
    items = live.ask(family_items, family)
    left, right = st.columns([6, 5], gap="large")
    with left:
        if rows:
            picture = job_drawing(now, rows[0]["typical_job_id"], rows[0]["typical_body"], "page")
            if picture:
                pictures.drawing(picture, f"family-{family}")
            job_link(rows[0]["typical_job_id"])
        else:
            st.caption("Nothing of this family was sold with these filters.")
    with right:
        common = items.head(12)
        st.markdown("**What is usually in it**")
        tables.table(rows_of(common.select("label", "share", "lift")), "Items of the family", f"family-{family}-items", now)
    vehicles = live.ask(families.family_vehicles, now.filters).filter(pl.col("family") == family).drop("family", "vehicle_id")
    tables.table(
        rows_of(vehicles), "Vehicles that carry this family", f"family-{family}-vehicles", now, empty="None was sold with these filters."
    )
    st.subheader("Its bodies", anchor=False)
    bodies_behind(now, Search(narrowed(now.filters, "family", str(family))), f"family-{family}-bodies")


def history(now: Here) -> None:
    st.header("What became of the families", anchor=False)
    tables.table(
        rows_of(live.ask(family_changes)),
        "Families that are new, gone, split or merged at this edition",
        "family-changes",
        now,
        empty="Nothing changed at this edition.",
        columns=("change", "family", "other", "words"),
    )
    with st.expander("How many families, and how well they stand apart"):
        tables.table(rows_of(live.ask(number_of_families)), "Families by kind of body", "family-numbers", now)
        source(
            now,
            "silhouette",
            "The silhouette compares how near a body is to its own family with how near it is to the next one: 1 is clear-cut, 0 is anybody's guess.",
        )


now = here()
st.fragment(overview)(now)
st.fragment(one_family)(now)
st.fragment(history)(now)
