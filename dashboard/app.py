"""What `streamlit run` starts: the frame, and in it the page that was asked for."""

from dashboard.frame import run

run()
