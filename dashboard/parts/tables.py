"""Rows on a page, and exactly those rows to take along."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from functools import partial
from typing import Any

import pandas as pd
import polars as pl
import streamlit as st
from pandas.io.formats.style import Styler

from dashboard import who
from dashboard.here import Here
from dashboard.parts.columns import heading
from dashboard.parts.sources import About, source
from dashboard.words import escaped
from pipeline.answers.access import may
from pipeline.answers.exports import taken_along
from pipeline.answers.files import Rows

SMALL = 40
"""Rows up to which a table is plain HTML: whoever listens to a page hears it, and it prints whole."""
_SHARES = ("share", "support", "confidence", "p_over", "coverage", "coverage_90", "mape", "low", "high")
"""Endings of columns that hold a share."""
_SHORT = ("job_id", "ticket", "_on", "quarter")
"""Endings of columns whose text must not break."""
_WITH_UNIT = re.compile(r"(\d) (?=(?:mm|m|kg|l|lb|in|Ah|A|W|kW)\b)")
"""A figure and its unit, which stay together."""
_KINDS = {
    ".csv": "text/csv",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".parquet": "application/vnd.apache.parquet",
}


def table(
    rows: Rows,
    alt: str,
    name: str,
    here: Here,
    about: About,
    empty: str = "No rows.",
    columns: Sequence[str] = (),
    take: bool = True,
) -> None:
    """Show rows: few as a plain table, many as a grid that scrolls and sorts; below, the rows as files and where they come from.

    Args:
        alt: what the table is, for whoever cannot see it.
        name: of the file that it is taken along as, and of its place on the page.
        empty: what to say where there is nothing to show.
        columns: those to be shown, in order; none: all. What is taken along holds all of them.
    """
    if not rows.rows:
        st.caption(empty)
        return
    shown, names = _shown(rows, columns, here)
    if len(rows.rows) <= SMALL:
        st.table(_as_told(shown, names, name), alt=alt, border="horizontal", hide_index=True)
    else:
        st.dataframe(
            as_frame(shown, names, here), alt=alt, key=f"grid-{name}", hide_index=True, column_config=_config(names), placeholder=""
        )
    _below(rows, name, here, about, take)


def _below(rows: Rows, name: str, here: Here, about: About, take: bool) -> None:
    with st.container(horizontal=True, gap="small"):
        if take:
            take_along(rows, name, here)
        source(here, name, about)


def choose(rows: Rows, alt: str, name: str, here: Here, about: About, columns: Sequence[str] = (), take: bool = True) -> int | None:
    """As `table`, for rows of which one can be chosen: few with a list below them, many in a grid; its position, or None."""
    place = _choice(rows, alt, name, here, columns)
    _below(rows, name, here, about, take)
    return place


def _choice(rows: Rows, alt: str, name: str, here: Here, columns: Sequence[str]) -> int | None:
    shown, names = _shown(rows, columns, here)
    if len(rows.rows) <= SMALL:
        st.table(_as_told(shown, names, name), alt=alt, border="horizontal", hide_index=True)
        called = [" · ".join(str(row[shown.columns.index(column)]) for column in names[:2]) for row in shown.rows]
        places = range(len(called))
        return st.selectbox(
            "Open one of these", places, index=None, format_func=called.__getitem__, key=f"one-{name}", placeholder="choose a row"
        )
    event = st.dataframe(
        as_frame(shown, names, here), alt=alt, key=f"choose-{name}", hide_index=True, column_config=_config(names), placeholder="",
        on_select="rerun", selection_mode="single-row",
    )  # fmt: skip
    chosen = event["selection"]["rows"]
    return chosen[0] if chosen and chosen[0] < len(rows.rows) else None


def _shown(rows: Rows, columns: Sequence[str], here: Here) -> tuple[Rows, list[str]]:
    """The rows in the page's units, and the names of the columns to be shown."""
    shown = here.units.rows(rows)
    renamed = dict(zip(rows.columns, shown.columns, strict=True))
    return shown, [renamed[column] for column in columns or rows.columns if column in renamed]


def take_along(rows: Rows, name: str, here: Here) -> None:
    """Buttons that hand over these rows as files."""
    take_along_later(lambda: rows, len(rows.rows), name, here)


def take_along_later(make: Callable[[], Rows], count: int, name: str, here: Here) -> None:
    """As `take_along`, for rows that are fetched only when somebody wants them."""
    take_files(lambda: here.units.rows(make()).with_edition(here.edition.number), count, name)


def take_files(make: Callable[[], Rows], count: int, name: str) -> None:
    """Buttons that hand over rows as they are made."""
    if not may(who.role(), "take-along"):
        return
    asking = who.asking()
    with st.popover(f"Take along {count:,} {'row' if count == 1 else 'rows'}", type="tertiary", key=f"take-{name}"):
        for ending, kind in _KINDS.items():
            st.download_button(
                ending[1:].upper() if ending != ".parquet" else "Parquet", partial(_bytes, make, ending, asking),
                f"{name}{ending}", kind,
                key=f"take-{name}{ending}", on_click="ignore", width="stretch",
            )  # fmt: skip


def _bytes(make: Callable[[], Rows], ending: str, asking: who.Asking) -> bytes:
    return taken_along(make(), ending, asking.role)


def facts(pairs: Mapping[str, str], alt: str) -> None:
    """A short list of things and what they are."""
    st.table(dict(pairs), border="horizontal", alt=alt)


def as_frame(rows: Rows, names: Sequence[str], here: Here) -> pl.DataFrame:
    """Rows as a frame for a grid, these columns only; shares in hundredths, masses and lengths as exact as people read them."""
    places = [rows.columns.index(name) for name in names]
    frame = pl.DataFrame(
        {name: pl.Series(name, [row[place] for row in rows.rows], strict=False) for name, place in zip(names, places, strict=True)}
    )
    numbers = [name for name in names if frame[name].dtype.is_numeric()]
    digits = 0 if here.units.system == "metric" else 1
    shares = (pl.col(name) * 100 for name in numbers if _is_share(name))
    return frame.with_columns(*shares, *(pl.col(name).round(digits) for name in numbers if _is_measure(name)))


def _config(names: Sequence[str]) -> dict[str, Any]:
    config: dict[str, Any] = {}
    for name in names:
        label = heading(name)
        if _is_measure(name):
            config[name] = st.column_config.NumberColumn(label, format="localized")
        elif _is_share(name):
            config[name] = st.column_config.NumberColumn(label, format="%.0f %%")
        elif name.endswith("_on"):
            config[name] = st.column_config.DateColumn(label, format="D MMM YYYY")
        else:
            config[name] = st.column_config.Column(label)
    return config


def _is_measure(name: str) -> bool:
    return name.endswith(("_kg", "_lb", "_mm", "_in")) and name != "hand_in"


def _is_share(name: str) -> bool:
    return name.endswith(_SHARES)


def _as_told(rows: Rows, names: Sequence[str], place: str) -> Styler:
    """Rows as people read them; numbers stay numbers underneath, so that they stand right-aligned below each other."""
    columns: dict[str, list[Any]] = {}
    told: dict[str, Any] = {}
    for name in names:
        values = [row[rows.columns.index(name)] for row in rows.rows]
        if all(value is None or (isinstance(value, int | float) and not isinstance(value, bool)) for value in values):
            columns[heading(name)] = [math.nan if value is None else float(value) for value in values]
            told[heading(name)] = partial(said, name)
        else:
            columns[heading(name)] = [said(name, value) for value in values]
    short = [heading(name) for name in names if name.endswith(_SHORT)]
    styled = Styler(pd.DataFrame(columns), uuid="".join(filter(str.isalnum, place))).format(told)
    # a variable, since the page draws a cell's text in an element of its own (page.css)
    return styled.set_properties(subset=short, **{"--tarebook-wrap": "nowrap"})


def said(name: str, value: Any) -> str:
    """A value as people read it, by the name of its column.

    >>> said("share", 0.314), said("length_mm", 1650.0), said("sold_on", None), said("n", 1234)
    ('31 %', '1,650', '–', '1,234')
    """
    if value is None or value != value:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime | date):
        return f"{value.day} {value:%b %Y}"
    if name in ("year", "month"):
        return f"{value:g}"
    if isinstance(value, int | float):
        if name.endswith(_SHARES):
            small = 0 < value < 0.005
            return f"{100 * value:.1f} %" if name == "mape" else "under 1 %" if small else f"{100 * value:.0f} %"
        digits = 0 if isinstance(value, int) or float(value).is_integer() or abs(value) >= 20 else 1
        return f"{value:,.{digits}f}".replace("-", "\N{MINUS SIGN}")
    # text out of files is text: no heading, link or picture is made of it
    return _WITH_UNIT.sub("\\1\N{NO-BREAK SPACE}", escaped(str(value)))
