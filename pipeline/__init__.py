"""Tarebook's pipeline: past build records in, masses, margins and layouts out. Runs without Streamlit."""

__version__ = "0.1.0"
