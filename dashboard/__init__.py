"""The dashboard: a frame that all pages share, a page a file, and nothing that computes."""
