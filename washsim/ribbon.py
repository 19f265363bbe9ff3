"""The evening as a ribbon: where each sheet is at each time and what is left in it; no drawing."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from washsim import moves
from washsim.engine.space import Array
from washsim.result import Result
from washsim.timeline import Lift, Place, Timeline

KINDS = {
    "fixing": "in the fixer",
    "rinse": "rinse",
    "aid": "wash aid",
    "bath": "standing bath",
    "running": "running water",
    "hold": "waiting",
    "transfer": "row of trays",
    "air": "draining",
    "done": "done",
}
"""What a sheet can be doing, and what the page calls it."""


@dataclass(frozen=True, slots=True)
class Stay:
    """A lot in one place: kind, a word of KINDS; letter of the tray, "" in the air; minutes."""

    kind: str
    letter: str
    start: float
    stop: float


@dataclass(frozen=True, slots=True)
class Ribbon:
    """One bar a sheet against the clock. T times, R lots."""

    minutes: Array
    """(T,) since the first sheet entered the fixer."""
    sheets: tuple[str, ...]
    """Name of each sheet, from 1; a late one says so."""
    lot_of_sheet: tuple[int, ...]
    """Which row of the arrays each sheet's bar shows."""
    residual_g_m2: Array
    """(R, T); NaN before a lot has entered the fixer."""
    stays: tuple[tuple[Stay, ...], ...]
    """For each lot, without a gap from its fixing to the end of the evening."""
    renewals: tuple[tuple[float, str], ...]
    """(minute, letter) of each dump and refill."""
    target_g_m2: float


def ribbon(result: Result, count: int = 240) -> Ribbon:
    """The ribbon of a result with so many evenly spread times, and those of every move."""
    timeline = result.run.timeline
    letters = moves.letters(timeline)
    stays = tuple(_stays(timeline, letters, lot) for lot in range(len(timeline.lots)))
    turns = [stay.start * 60 for own in stays for stay in own]
    times = np.union1d(np.linspace(0.0, timeline.end, count), turns)
    residual = np.array([1e3 * result.at(lot, times) for lot in range(len(timeline.lots))])
    for row, own in zip(residual, stays, strict=True):
        row[times < own[0].start * 60] = np.nan
    found = moves.moves(result.scenario, timeline)
    return Ribbon(
        minutes=times / 60,
        sheets=tuple(
            f"{number} late" if timeline.lots[lot].late else str(number)
            for number, lot in enumerate(result.lot_of_sheet, start=1)
        ),
        lot_of_sheet=result.lot_of_sheet,
        # rounding may leave a residual a hair below zero before anything is taken in
        residual_g_m2=np.maximum(residual, 0.0),
        stays=stays,
        renewals=tuple(
            (one.at / 60, letters[one.target])
            for one in found
            if one.kind == "renew" and one.target is not None
        ),
        target_g_m2=1e3 * result.scenario.target.limit,
    )


def _stays(timeline: Timeline, letters: tuple[str, ...], lot: int) -> tuple[Stay, ...]:
    """What a lot does from its fixing to the end; a stay that serves several steps is cut."""
    found: list[Stay] = []
    inside: tuple[int, float] | None = None
    lifted: float | None = None
    for event in timeline.events:
        if isinstance(event, Place) and event.lot == lot:
            if lifted is not None and event.at > lifted:
                found.append(Stay("air", "", lifted / 60, event.at / 60))
            inside, lifted = (event.vessel, event.at), None
        elif isinstance(event, Lift) and event.lot == lot and inside is not None:
            found += _served(timeline, letters[inside[0]], inside[0], inside[1], event.at)
            inside, lifted = None, event.at
    assert lifted is not None, "every lot is lifted in the end"
    if lifted < timeline.end:
        found.append(Stay("done", "", lifted / 60, timeline.end / 60))
    return tuple(found)


def _served(timeline: Timeline, letter: str, basin: int, start: float, stop: float) -> list[Stay]:
    """A stay in a basin, cut where one step hands it over to the next."""
    stages = [one for one in timeline.stages if basin in one.basins]
    # a late sheet's own bowl, or its fixing, belongs to no stage of the others
    alone = "fixing" if timeline.basins[basin].vessel is None else "rinse"
    cuts = [start, *(s.start for s in stages if start < s.start < stop), stop]
    found = []
    for begin, end in pairwise(cuts):
        middle = 0.5 * (begin + end)
        kinds = [s.label for s in stages if s.start - 1e-6 <= middle <= s.stop + 1e-6]
        found.append(Stay(kinds[-1] if kinds else alone, letter, begin / 60, end / 60))
    return found
