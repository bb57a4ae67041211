"""Masses at places on a vehicle, the limits they meet, and the changes that give margin back. Pure functions on arrays."""
