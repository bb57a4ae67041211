"""Model check: how far the estimates can be trusted, and where not, in words that need no statistics."""

import streamlit as st

from dashboard import live
from dashboard.here import here
from dashboard.model import evidence, promises, report

now = here()
model = live.model(now.edition)
if model is None:
    st.info("There is no mass model yet. It is fitted by `tarebook fit`, or after a hand-in on *Start*.")
else:
    promises(now, model)
    evidence(now, model)
    report(now)
