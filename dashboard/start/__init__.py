"""Parts of the start page."""
