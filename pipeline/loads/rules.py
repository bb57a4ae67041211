"""Rules of dimension and class by country, each with its name, date and source. A country without a row gets no verdict."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Rule:
    """One rule of one country.

    Attributes:
        limit: which limit it is for: overhang, width, height or heavy.
        most: fixed rating, mm or kg; infinite where only the share counts.
        wheelbase_share: rating as a share of the wheelbase; the lesser of both stands.
        confirm: why it has to be confirmed locally; empty: read in a text for these vehicles.
    """

    country: str
    limit: str
    name: str
    date: str
    source: str
    most: float = float("inf")
    wheelbase_share: float = float("inf")
    confirm: str = ""

    def rating(self, wheelbase_mm: np.ndarray) -> np.ndarray:
        """The rating for vehicles of that wheelbase; (n,). NaN where it needs a wheelbase that is not known."""
        if np.isinf(self.wheelbase_share):
            return np.full(len(wheelbase_mm), self.most)
        return np.minimum(self.most, self.wheelbase_share * wheelbase_mm)

    def said(self) -> str:
        """The rule in one phrase: name, country, date, source, and whether to confirm it."""
        told = f"{self.name}, {self.country}, {self.date} ({self.source})"
        return f"{told}; confirm locally: {self.confirm}" if self.confirm else told


RULES = (
    Rule(
        "AU", "overhang", "rear overhang at most 3.7 m and 60 % of the wheelbase", "as read 2026",
        "National Heavy Vehicle Regulator, general mass and dimension limits", 3700.0, 0.6, "the text is for vehicles over 4.5 t",
    ),
    Rule("AU", "width", "width at most 2.5 m", "2012", "New South Wales, VSI 5 rev 5", 2500.0),
    Rule("AU", "height", "height at most 4.3 m", "2012", "New South Wales, VSI 5 rev 5", 4300.0),
    Rule(
        "AU", "heavy", "a heavy vehicle has a GVM over 4500 kg", "as read 2026",
        "Government of South Australia, light vehicle mass re-rating", 4500.0,
    ),
    Rule("ZA", "overhang", "rear overhang at most 60 % of the wheelbase", "2000", "NRTR reg 226(2)", wheelbase_share=0.6),
    Rule("ZA", "width", "width at most 2.5 m", "2000", "NRTR reg 223", 2500.0),
    Rule("ZA", "heavy", "a code B licence covers a GVM up to 3500 kg", "no date", "from memory", 3500.0, confirm="no text was found"),
    Rule(
        "EU", "width", "width at most 2.55 m", "2012", "Reg. (EU) 1230/2012, Annex I Part C", 2550.0,
        confirm="the text is for categories N2 and N3, and has a successor",
    ),
    Rule(
        "EU", "height", "height at most 4.0 m", "2012", "Reg. (EU) 1230/2012, Annex I Part C", 4000.0,
        confirm="the text is for categories N2 and N3, and has a successor",
    ),
    Rule("EU", "heavy", "a category B licence covers a GVM up to 3500 kg", "no date", "from memory", 3500.0, confirm="no text was found"),
)  # fmt: skip

COUNTRIES = tuple(sorted({rule.country for rule in RULES}))


def rule_for(country: str, limit: str) -> Rule | None:
    """The rule of a country for a limit, None where none is encoded."""
    return next((rule for rule in RULES if rule.country == country and rule.limit == limit), None)
