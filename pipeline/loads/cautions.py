"""The cautions that stand beside every margin: on screens, in commands and on paper."""

from __future__ import annotations

CAUTIONS = (
    "An estimate: not a certification, compliance plate or legal advice. The vehicle's plate and handbook govern.",
    "Weigh the finished vehicle on a certified weighbridge: total, each axle, left and right.",
    "The basis of a mass stands on every figure: tare (10 l of fuel), kerb (full tank), running order (EU: 90 % of fuel and a driver).",
    "Tyre, rim, coupling and ball ratings are separate limits; the lowest wins.",
    "A re-rating, or going over a maker's limit, is for the authority and a licensed engineering signatory.",
    "Over 4500 kg GVM heavy-vehicle rules apply.",
    "For a level, standing vehicle only: no suspension, weight-distributing hitch, dynamics or rollover.",
    "A rule is shown with its name, country and date; there is no verdict for a country that is not encoded.",
    "The interval and the number of alike jobs are shown; outside of history the program says so.",
)
