"""Invented workshops as the mass model takes them, made once a session."""

from __future__ import annotations

from functools import cache

import numpy as np
from workshop import Workshop, make_workshop

from pipeline.mass.evidence import History
from pipeline.mass.fit import Fitted, fit_fully
from pipeline.settings_loads import VehicleSettings
from pipeline.settings_mass import MassSettings

SETTINGS = MassSettings()
USUAL = VehicleSettings()
HISTORY_FRAMES = ("bodies", "fitout", "items", "vehicles", "upgrades", "jobs", "on_vehicle", "weighings")


def history_of(shop: Workshop) -> History:
    return History(**{name: getattr(shop.history, name) for name in HISTORY_FRAMES})


@cache
def shop_and_fit(seed: int, bodies: int, **switches: object) -> tuple[Workshop, Fitted]:
    shop = make_workshop(seed, bodies, **switches)
    return shop, fit_fully(history_of(shop), SETTINGS)


def gross_rows(shop: Workshop, fitted: Fitted) -> np.ndarray:
    """Rows of the fit whose mass on record is grossly wrong."""
    gross = shop.truth.history["gross"].astype(bool)
    return (fitted.spoken.body >= 0) & gross[np.maximum(fitted.spoken.body, 0)]
