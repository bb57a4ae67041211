"""Layouts: what stands where in a body, which bodies are alike, and the families they make."""
