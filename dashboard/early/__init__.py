"""The working place of early mass: a form, and the answer beside it."""
