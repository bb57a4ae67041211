"""An invented workshop whose truth is known, for the tests of several rooms.

    shop = make_workshop(seed=1, bodies=400, split="time", drift=True)
    shop.history.bodies, shop.drafts.fitout     # Columns frames, in the shape that rooms hand to each other
    shop.truth.drafts["mu_kg"]                  # row by row the noiseless mass of shop.drafts.bodies
    write_hand_in(shop, folder)                 # the same history as CSV files

The switches are the fields of `Effects`. Same arguments, same workshop.
"""

from __future__ import annotations

from .effects import INDUCTION, Change, Effects
from .files import write_drafts, write_hand_in
from .records import Frames, Truth, Workshop, make_workshop

__all__ = ["INDUCTION", "Change", "Effects", "Frames", "Truth", "Workshop", "make_workshop", "write_drafts", "write_hand_in"]
