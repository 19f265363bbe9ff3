"""One paper, fixer and tray for whole evenings, as references and scenarios both read them."""

from __future__ import annotations

import math
from typing import Any

from tests.references import cases, layered
from washsim.vessels import Vessel

FREE, FILM = 1e-9, 3e-6  # m2/s, m/s
FIX_FILM = 2.5e-6  # m/s, "rocking"
SHEET = cases.SHEET_AREA
HALF_LIFE = 600.0  # s, of held fixer in soft tap water
FILLING = 180.0  # s, the tables' half-time in which held fixer fills
LAYERS = tuple(
    layered.Layer(
        thickness=h, porosity=e, hindrance=f, retardation=r, held=k, release=math.log(2) / HALF_LIFE
    )
    for h, e, f, r, k in (
        (25e-6, 0.85, 0.5, 1.5, 0.0),
        (20e-6, 0.35, 0.10, 1.0, 0.2),
        (250e-6, 0.58, 0.08, 1.0, 0.05),
    )
)
CARRY = 50e-6  # m3/m2, water on a lifted sheet


def tray(**more: Any) -> Vessel:
    return Vessel(**({"name": "tray", "volume": 4e-3, "film": FREE / FILM} | more))
