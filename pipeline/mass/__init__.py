"""The mass model: finished mass and centre of mass of a body that nobody has drawn yet, out of a workshop's own records."""
