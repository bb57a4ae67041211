"""The least that Streamlit can show: a title, one chart, one table. The floor of the first picture."""

import altair as alt
import pandas as pd
import streamlit as st

st.title("Bare")
rows = pd.DataFrame({"month": range(24), "count": [number % 7 for number in range(24)]})
st.altair_chart(alt.Chart(rows).mark_bar().encode(x="month:O", y="count:Q"))
st.dataframe(rows)
