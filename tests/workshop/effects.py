"""The switches of an invented workshop: what its truth does, and what its records leave out."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Change:
    """A planted change: of all canopies `before`, then `after` (shares) carry the item from `on` on."""

    item_id: str
    before: float
    after: float
    on: np.datetime64


NEWEST = np.datetime64("2026-10-31")
INDUCTION = Change("galley-induction", 0.14, 0.36, np.datetime64("2025-11-01"))


@dataclass(frozen=True)
class Effects:
    """Keyword switches of `make_workshop`; the defaults make a plain, well-kept workshop.

    The effects that no model is told are there in every workshop: a partition shares its fixings with drawers and
    pantry, a sink with a tank needs plumbing, inverter and battery need cable, full bodies are braced, edges and
    long bodies bend the line, drawings leave out wiring and sealant.
    """

    drafts: int | None = None
    """Bodies held out as drafts; None: a quarter of the history, 120 at least."""
    split: str = "random"
    """`random`: drafts of the same years; `time`: drafts of the last year, history before it."""
    weighed: float = 0.55
    drawn: float = 0.30
    """Shares of built bodies with a mass on the scale alone, out of the drawing alone."""
    drawn_too: float = 0.06
    """Share that is both weighed and drawn."""
    centred: float = 0.55
    """Share of bodies with a mass whose centre of mass was measured too."""
    gross: float = 0.015
    """Share of weighed bodies with a gross error (tray along, pounds as kilograms, a slipped digit)."""
    rare: bool = False
    """Most items in one body of fifty or less."""
    drift: bool = False
    """Power gets lighter by 5 % a year, kitchens heavier by 3 %, small parts creep up."""
    catalogue_error: float = 0.08
    """Relative sd of datasheet masses about the truth."""
    catalogue: bool = True
    """False: the items' list carries no masses."""
    unlisted: float = 0.0
    """Share of fit-out lines that nobody wrote down, in history and drafts alike."""
    checked: float = 0.0
    """Share of bodies whose list was checked (`list_whole`): nothing is missing there."""
    elsewhere: bool = False
    """Another workshop's coefficients: same catalogue, heavier habits."""
    tickets: float = 0.0
    """Share of the weighed bodies' jobs with whole-vehicle tickets in place of body masses."""
    pairs: float = 0.12
    """Share of jobs with a tray and a canopy on one vehicle."""
    repeats: float = 0.0
    """Share of jobs built again from an earlier drawing (one reading of cad_kg for the group)."""
    families: int = 0
    """Number of planted layout families; 0: items come one by one."""
    layout_noise: float = 0.10
    """Share of a family's lines that are left out, and as many strangers put in."""
    mirrored: float = 0.3
    """Share of family bodies built the other way round."""
    rising: float = 1.0
    """How many times as often the last family is built in the last year (1: no change)."""
    lost: float = 0.0
    """Share of quotes that are lost; with it come open quotes, and quotes gone quiet for good."""
    quiet: float = 0.35
    """Share of the lost quotes that nobody ever marked as lost."""
    changes: tuple[Change, ...] = field(default_factory=tuple)
    """Planted changes of items' shares, for example `(INDUCTION,)`."""
    newest: np.datetime64 = NEWEST
