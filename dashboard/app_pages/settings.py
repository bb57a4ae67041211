"""Settings: what is set, where, and what is wrong with it."""

import streamlit as st

from dashboard import live
from dashboard.parts import tables
from pipeline.settings import list_settings

path = live.store().settings_file
st.markdown(
    f"Settings stand in `{path.name}` of the store's folder, `{path.parent}`. A key that is not there has its default. "
    "A change counts from the next click on."
)
words = (
    (st.text_input("Look for", key="setting_words", max_chars=60, placeholder="a word of the key or of what it does") or "")
    .casefold()
    .strip()
)
section = None
for one in list_settings(path):
    if words and words not in f"{one.key} {one.doc}".casefold():
        continue
    head = one.key.partition(".")[0]
    if head != section:
        section = head
        st.subheader(head, anchor=False)
    with st.container(border=True):
        st.markdown(
            f"**`{one.key}`** = `{one.value!r}`"
            + ("" if one.value == one.default else f", set in `{path.name}`; default `{one.default!r}`")
        )
        st.caption(tables.escaped(one.doc))
if section is None:
    st.caption("No setting has these words.")
