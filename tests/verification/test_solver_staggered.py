"""Sheets that come one by one through washsim.solve.solve, against a third solver.

tests.references.multi_sheet: an even grid and Radau at 1e-9. Schedules are written out by hand.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from tests.references import multi_sheet
from tests.verification import rig
from tests.verification.paper import (
    CARRY,
    FILLING,
    FILM,
    FIX_FILM,
    FREE,
    HALF_LIFE,
    LAYERS,
    SHEET,
    tray,
)
from washsim.recipes import Bath, Hold, Running, Transfer
from washsim.solve import solve
from washsim.vessels import Vessel

source = pytest.mark.source


def bench(intervals: tuple[int, ...], sheets: int, tubs: list[multi_sheet.Tub]) -> Any:
    """Sheets of LAYERS; tub 0 is the fixer."""
    fixer = multi_sheet.Tub(
        volume=math.inf,
        diffusivity=FREE,
        film=FIX_FILM,
        concentration=rig.FIXER,
        quicken=HALF_LIFE / FILLING,
    )
    prints = [
        multi_sheet.Print(layers=LAYERS, intervals=intervals, area=SHEET) for _ in range(sheets)
    ]
    return multi_sheet.Bench(prints, [fixer, *tubs])


def tub(volume: float, flow: float = 0.0) -> multi_sheet.Tub:
    return multi_sheet.Tub(volume=volume, diffusivity=FREE, film=FILM, flow=flow)


Deed = tuple[float, Callable[[], None]]


def carried_out(one: multi_sheet.Bench, deeds: list[Deed], end: float) -> np.ndarray:
    """kg/m2 of each sheet at the end; deeds at one time happen in the order of the list."""
    now = 0.0
    for at, deed in [*sorted(deeds, key=lambda deed: deed[0]), (end, lambda: None)]:
        if at > now:
            one.run(at - now)
            now = at
        deed()
    return multi_sheet.residuals(one.prints)


def fixed(one: multi_sheet.Bench, sheet: int, start: float) -> list[Deed]:
    """Two minutes in the fixer, then into the air with the film that stays after 10 s."""
    return [
        (start, lambda: one.place(sheet, 0)),
        (start + 120.0, lambda: one.lift(sheet, CARRY * SHEET)),
    ]


def arrivals_in_running_water(intervals: tuple[int, ...]) -> np.ndarray:
    one = bench(intervals, 4, [tub(3e-3, 0.7e-3 / 60)])
    deeds: list[Deed] = []
    for i in range(4):
        deeds += fixed(one, i, 180.0 * i)
        deeds.append((180.0 * i + 130.0, lambda i=i: one.place(i, 1)))
    return carried_out(one, deeds, 3 * 180.0 + 130.0 + 1200.0)


def hold_then_baths(intervals: tuple[int, ...]) -> np.ndarray:
    one = bench(intervals, 4, [tub(3.5e-3)])
    deeds: list[Deed] = []
    for i in range(4):
        deeds += fixed(one, i, 180.0 * i)
        if i == 2:
            # renewed when half are in, as the third leaves the fixer
            deeds.append((180.0 * i + 120.0, lambda: one.refill(1, 3e-3, 0.5e-3)))
        deeds.append((180.0 * i + 130.0, lambda i=i: one.place(i, 1)))
    last_in = 3 * 180.0 + 130.0
    for k in range(2):
        deeds.append((last_in + 300.0 + 400.0 * k, lambda: one.refill(1, 3e-3, 0.5e-3)))
    return carried_out(one, deeds, last_in + 300.0 + 800.0)


def through_two_trays(intervals: tuple[int, ...]) -> np.ndarray:
    """A sheet every 180 s, 180 s a tray; the dirty tray is renewed and put last every 2 sheets.

    When the third sheet comes (480 s), the second lies in the dirty tray: that tray is dumped and
    filled, and, being the last now, it is also where the second sheet goes: out and in again.
    """
    one = bench(intervals, 4, [tub(1.5e-3), tub(1.5e-3)])
    deeds = [deed for i in range(4) for deed in fixed(one, i, 180.0 * i)]
    stays = {
        0: [(120, 1), (300, 2)],
        1: [(300, 1), (480, 1)],
        2: [(480, 2), (660, 1)],
        3: [(660, 2), (840, 1)],
    }
    ends = {0: 480, 1: 660, 2: 840, 3: 1020}
    for sheet, places in stays.items():
        for at, where in places:
            deeds.append((at + 10.0, lambda i=sheet, t=where: one.place(i, t)))
        for at in [at for at, _ in places[1:]] + [ends[sheet]]:
            deeds.append((float(at), lambda i=sheet: one.lift(i, CARRY * SHEET)))
    # after the lifting of that same second
    deeds.append((480.0, lambda: one.refill(1, 1.5e-3, 0.0)))
    return carried_out(one, deeds, 1020.0)


STAGGERED: dict[str, tuple[Callable[..., np.ndarray], list[Any], Vessel]] = {
    "running": (
        arrivals_in_running_water,
        [Running(vessel="tray", duration=1200.0)],
        tray(volume=3e-3, flow=1e-3 / 60, exchange_efficiency=0.7),
    ),
    "hold, then two baths": (
        hold_then_baths,
        [
            Hold(vessel="tray", changes=1, duration=300.0),
            Bath(vessel="tray", baths=2, duration=400.0),
        ],
        tray(volume=3e-3, puddle=0.5e-3),
    ),
    "two trays, renewed every two sheets": (
        through_two_trays,
        [Transfer(vessel="tray", trays=2, duration=180.0, sheets_per_fill=2)],
        tray(volume=1.5e-3),
    ),
}


@source("even grid in space, SciPy's Radau in time, many sheets (tests.references.multi_sheet)")
@pytest.mark.parametrize("name", STAGGERED)
def test_sheets_that_come_one_by_one(name: str) -> None:
    """Four sheets, three minutes apart: each of them, for both node families."""
    reference, steps, vessel = STAGGERED[name]
    late = {"count": 4, "interval": 180.0, "carry": CARRY, "drain": 10.0}
    even, lobatto = (
        solve(rig.scenario(LAYERS, steps, [vessel], nodes=n, fixing={"duration": 120.0}, **late))
        for n in ("even", "lobatto")
    )
    coarse, fine = reference((5, 5, 20)), reference((10, 10, 40))
    # N and 2N intervals extrapolated: (dx k)^4 of a base of 20
    assert lobatto.final_residual == pytest.approx(fine + (fine - coarse) / 3, rel=3e-6, abs=0.0)
    # the even nodes themselves: second order, 80 intervals in the base
    assert even.final_residual == pytest.approx(lobatto.final_residual, rel=1e-4, abs=0.0)
