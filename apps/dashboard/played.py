"""Runs as plain data for the pages that play or print them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from washsim import advice, pictures, tables
from washsim.engine.space import Array
from washsim.figures import shown
from washsim.result import Result

FRAMES, POINTS = 80, 44
"""Of one cross-section: frames and points through the thickness; about 30 kB a run as text."""
FIXED = 5.0
"""Minutes of the fixing, at most, that a chart shows."""
LOWEST, HIGHEST = 1e-5, 100.0
"""g/m2, ends of the residual axis: below no test sees, above no sheet of these runs holds."""
PLENTY = 2000.0
"""Litres from which a run means water that stays as good as fresh, not a wash to be copied."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """A run and the sheet of it that is looked at."""

    letter: str
    title: str
    result: Result
    sheet: int | None = None
    """Its number; None the one that ends worst."""

    @property
    def lot(self) -> int:
        if self.sheet is None:
            return self.result.worst_lot
        return self.result.lot_of_sheet[self.sheet - 1]


def plain(one: Played) -> dict[str, Any]:
    """Curve and cross-section of a run's sheet, by minutes since it left the fixer."""
    result, lot = one.result, one.lot
    segments = result.run.of_lot[lot]
    start, stop = float(segments[0].start[0]), float(segments[-1].stop[0])
    out = result.run.left_fixer[lot]
    times = np.union1d(np.linspace(start, out, 20), np.linspace(out, stop, 240))
    film = pictures.frames(result, lot, FRAMES, POINTS)
    kept = film.minutes <= stop / 60 + 1e-9
    return {
        "letter": one.letter,
        "title": one.title,
        "sheet": one.sheet,
        "fixed": (out - start) / 60,
        "end": (stop - out) / 60,
        "minutes": _short((times - out) / 60),
        "residual": _short(np.maximum(1e3 * result.at(lot, times), 0.0)),
        "film": {
            "minutes": _short(film.minutes[kept] - out / 60),
            "mobile": _short(film.mobile_g_l[kept].ravel()),
            "held": _short(film.held_g_l[kept].ravel()),
            "water": _short(film.water_g_l[kept]),
            "place": [place for place, keep in zip(film.place, kept, strict=True) if keep],
            "limits": [limit for limit, keep in zip(film.limits, kept, strict=True) if keep],
        },
        "layers": [{"name": n, "start": a, "stop": b} for n, a, b in film.layers],
        "depth": _short(film.depth_um),
        "sealed": result.run.paper.sealed_back,
    }


def _short(values: Array) -> list[float]:
    """Four digits are more than any pixel shows."""
    return [float(f"{value:.4g}") for value in values]


def levels(result: Result) -> dict[str, Any]:
    """What is drawn across a chart, g/m2: the target, and where a spot test begins to show."""
    ends = ("visible_low", "visible_high")
    visible = [tables.datum(f"limits.spot_test.{end}").value for end in ends]
    return {"target": float(f"{1e3 * result.scenario.target.limit:.4g}"), "visible": visible}


def axis(runs: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Ends of the chart: minutes, and g/m2 in whole tenfolds."""
    least = min(run["residual"][-1] for run in runs)
    low = 10 ** math.floor(math.log10(max(least, LOWEST)))
    stop = max(run["end"] for run in runs)
    return {"start": before(runs), "stop": stop, "low": low, "high": HIGHEST}


def before(runs: Sequence[dict[str, Any]]) -> float:
    """Minutes at which a chart begins: the last of the fixing is shown, washing begins at 0."""
    return -min(FIXED, *(run["fixed"] for run in runs))


def limited(runs: Sequence[Played]) -> list[tuple[str, str]]:
    """(letter, what held its worst sheet up half-way to its end)."""
    found = []
    for one in runs:
        lot = one.result.worst_lot
        out = one.result.run.left_fixer[lot]
        end = float(one.result.run.of_lot[lot][-1].stop[0])
        found.append((one.letter, advice.limits_now(one.result, lot, 0.5 * (out + end))))
    return found


def table(runs: Sequence[Played]) -> list[dict[str, str]]:
    """A row for each run: what it took up, what is left, how long, how many litres."""
    rows = []
    for one in runs:
        minutes, litres = one.result.minutes_to_target, 1e3 * one.result.litres_total
        rows.append(
            {
                "letter": one.letter,
                "title": one.title,
                "load": shown(1e3 * max(one.result.load)),
                "left": shown(1e3 * one.result.worst_residual),
                "minutes": shown(math.inf if minutes is None else minutes),
                "litres": shown(litres) if litres < PLENTY else "plenty",
            }
        )
    return rows
