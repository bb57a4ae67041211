"""Settings: what is set, where, and what is wrong with it."""

from functools import partial
from itertools import groupby
from typing import Any

import polars as pl
import streamlit as st

from dashboard import address, live
from dashboard.parts import tables
from pipeline.answers.what_is_set import setting_rows, told
from pipeline.settings import list_settings


def _shown(value: Any) -> str:
    """A value with places where a long one may break."""
    return tables.escaped(told(value).replace(",", ", "))


path = live.store().settings_file
st.markdown(
    f"Settings stand in `{path.name}` of the folder `{path.parent}`. A key that is not there has its default. "
    "A change counts from the next click on; a wrong one is told on every page, and nothing is shown until it is mended."
)
words = address.text("Look for", "setting_words", max_chars=60, placeholder="a word of the key or of what it does").casefold()
found = [one for one in list_settings(path) if words in f"{one.key} {one.doc}".casefold()]
if found:
    tables.take_files(partial(setting_rows, found), len(found), "settings")
else:
    st.caption("No setting has these words.")
for section, settings in groupby(found, key=lambda one: one.key.partition(".")[0]):
    st.subheader(section, anchor=False)
    rows = [
        {
            "setting": f"`{one.key.partition('.')[2]}`",
            "value": _shown(one.value),
            "comes from": "default" if one.source == "default" else f"`{path.name}` (default: {_shown(one.default)})",
            "what it does": tables.escaped(one.doc),
        }
        for one in settings
    ]
    st.table(pl.DataFrame(rows), alt=f"Settings of {section}", border="horizontal", hide_index=True)
