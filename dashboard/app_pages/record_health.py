"""Record health: what was handed in, what was kept, what was not and why, what is missing since when."""

from collections.abc import Sequence

import streamlit as st

from dashboard import abouts, address, live
from dashboard.health.settle import settle_form
from dashboard.here import Here, here
from dashboard.parts import pictures, tables
from dashboard.parts.sources import About
from pipeline.answers import health
from pipeline.answers.doubts import doubts as doubts_of_model
from pipeline.answers.files import Rows
from pipeline.answers.health import LedgerFilter
from pipeline.pictures import charts


def accounts(now: Here) -> None:
    st.header("What became of every row", anchor=False)
    found = live.ask(health.accounts)
    total = {column: sum(record[column] for record in found.records()) for column in ("read", "kept", "suspect", "rejected", "superseded")}
    st.markdown(
        f"**{total['read']:,}** rows were read: **{total['kept']:,}** kept, **{total['suspect']:,}** kept but marked for a look, "
        f"**{total['rejected']:,}** rejected, **{total['superseded']:,}** replaced by newer ones."
    )
    tables.table(
        live.ask(health.hand_ins),
        "Hand-ins with what became of their rows",
        "hand-ins",
        now,
        empty="No hand-in yet.",
        about=abouts.ACCOUNTS,
    )
    with st.expander("File by file"):
        tables.table(found, "What became of the rows of each file", "accounts", now, abouts.ACCOUNTS)


def ledger(now: Here) -> None:
    st.header("Ledger", anchor=False)
    st.markdown(
        "Rows that could not be kept, each with its place and the reason. Mend the file and hand it in again: the rows come in then."
    )
    choices = live.ask(health.ledger_choices)
    with st.container(horizontal=True):
        chosen = {
            key: address.several(label, f"ledger_{key}", {one: one for one in choices[key]}, placeholder="all")
            for key, label in (("hand_ins", "Hand-in"), ("tables", "Table"), ("rules", "Reason"))
        }
        words = address.text("Words in the row", "ledger_words", max_chars=100)
    only = LedgerFilter(**{key: tuple(value) for key, value in chosen.items()}, words=words)
    found = live.ask(health.ledger, only)
    tables.table(
        found,
        "Rejected rows with file, line, column, reason and value",
        "ledger",
        now,
        abouts.LEDGER,
        empty="Nothing stands rejected with these filters.",
        columns=("hand_in", "file", "sheet", "line", "cell", "column", "rule", "value"),
    )


def suspects(now: Here) -> None:
    st.header("Records to look at", anchor=False)
    st.markdown("Kept, but something about them is odd. They stay in every count; those that would mislead stay out of the mass model.")
    found = live.ask(health.suspects)
    if not found.rows:
        st.caption("Nothing is marked for a look.")
        return
    _to_settle(now, found, "Records marked for a look, with the rule and why", "suspects", abouts.SUSPECTS)


def doubts(now: Here) -> None:
    st.header("What the mass model doubts", anchor=False)
    st.markdown(
        "Readings far from what their parts add up to, the furthest first; then bodies whose list seems short, the one that costs the "
        "model most first. A reading counts the less in the fit the further it is off, until somebody has looked."
    )
    found = live.ask(doubts_of_model)
    if not found.rows:
        st.caption("Nothing, or no mass model was fitted yet.")
        return
    shown = ("key", "why", "column", "value_kg", "expected_kg", "probably_kg", "excess_kg")
    _to_settle(now, found, "Readings far off and lists that seem short, with the probable cause", "doubts", abouts.DOUBTS, shown)


def _to_settle(now: Here, found: Rows, alt: str, name: str, about: About, columns: Sequence[str] = ()) -> None:
    """A list of records of which one can be chosen and settled."""
    place = tables.choose(found, alt, name, now, about, columns)
    if place is None:
        st.caption("Choose a row to settle it.")
    elif now.may("settle"):
        settle_form(found.records()[place])


def gaps(now: Here) -> None:
    st.header("What is written down, and since when", anchor=False)
    table = address.one("Table", "gaps_of", {"bodies": "bodies", "jobs": "jobs"}, "bodies", st.segmented_control, required=True)
    found = live.ask(health.completeness, table)
    picture = charts.completeness(found.records(), now.style())
    pictures.chart(now, picture, f"completeness-{table}", abouts.GAPS, found)


now = here()
accounts(now)
st.fragment(ledger)(now)
st.fragment(suspects)(now)
st.fragment(doubts)(now)
st.fragment(gaps)(now)
