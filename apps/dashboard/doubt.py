"""What would help, and the band of what is not known: for whoever tells of them (see aside)."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from washsim import helps, pictures, side_by_side, solve, unknowns
from washsim.band import Band, solve_band
from washsim.scenario import Scenario

NO_BAND: dict[str, Any] = {"minutes": [], "low": [], "high": []}


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """The band's edges for the chart, g/m2, and how sure the outcome is, in words."""

    edges: dict[str, Any]
    words: str


def help_line(scenario: Scenario, system: str) -> str:
    """What would help most next, in words; a handful of runs."""
    result = solve.solve(scenario)
    return helps.sentence(result, helps.helps(result, system), system)


def doubt(scenario: Scenario) -> Doubt:
    """The scenario washed for many draws of what nobody has measured."""
    band = solve_band(scenario)
    return Doubt(edges=edges(band), words=sure(band))


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """Of schedules side by side: the edges of each, and rows of how sure the outcomes are."""

    edges: tuple[dict[str, Any], ...]
    rows: list[dict[str, Any]]


def doubts(scenarios: tuple[Scenario, ...]) -> Doubts:
    """Each washed for the same draws of what nobody has measured."""
    draws = unknowns.draw_together(scenarios)
    bands = [solve_band(*pair) for pair in zip(scenarios, draws, strict=True)]
    rows = [asdict(row) for row in side_by_side.doubts(bands)]
    return Doubts(edges=tuple(edges(band) for band in bands), rows=rows)


def edges(band: Band) -> dict[str, Any]:
    """The band's lower and upper edge where it has one, as the browser is sent them."""
    curve = pictures.curves(band.nominal, band)
    low, high = curve.worst_band_g_m2
    known = np.isfinite(low) & np.isfinite(high)
    found = {"minutes": curve.minutes[known], "low": low[known], "high": high[known]}
    return {name: values.astype("float32") for name, values in found.items()}


def sure(band: Band) -> str:
    """The share of the draws that end under the target, in words."""
    met = round(100 * band.chance)
    draws = f"of {band.sample.members} draws of what nobody has measured"
    if band.chance in (0.0, 1.0):
        return f"{'all' if band.chance else 'none'} {draws} end under the target"
    return f"{met} in 100 {draws} end under the target"
