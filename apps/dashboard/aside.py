"""What takes longer than a slider may wait: what would help, and the band of what is not known.

Worked out once the visitor has let go of the controls, one at a time for all visitors, so that it
never holds up more than one core.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from washsim import helps, pictures, solve
from washsim.band import Band, solve_band
from washsim.scenario import Scenario

QUEUE = ThreadPoolExecutor(1)
"""Where it is worked out."""
NO_BAND: dict[str, Any] = {"minutes": [], "low": [], "high": []}


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """The band's edges for the chart, g/m2, and how sure the outcome is, in words."""

    edges: dict[str, Any]
    words: str


@lru_cache(maxsize=256)
def help_line(scenario: Scenario, system: str) -> str:
    """What would help most next, in words; a handful of runs."""
    result = solve.solve(scenario)
    return helps.sentence(result, helps.helps(result, system), system)


@lru_cache(maxsize=64)
def doubt(scenario: Scenario) -> Doubt:
    """The scenario washed for many draws of what nobody has measured."""
    band = solve_band(scenario)
    curve = pictures.curves(band.nominal, band)
    low, high = curve.worst_band_g_m2
    known = np.isfinite(low) & np.isfinite(high)
    edges = {"minutes": curve.minutes[known], "low": low[known], "high": high[known]}
    return Doubt(
        edges={name: values.astype("float32") for name, values in edges.items()},
        words=sure(band),
    )


def sure(band: Band) -> str:
    """The share of the draws that end under the target, in words."""
    met = round(100 * band.chance)
    draws = f"of {band.sample.members} draws of what nobody has measured"
    if band.chance in (0.0, 1.0):
        return f"{'all' if band.chance else 'none'} {draws} end under the target"
    return f"{met} in 100 {draws} end under the target"
