"""The demo scenario, told in code: an invented workshop, its vehicles, its six years, and its untidy files."""
