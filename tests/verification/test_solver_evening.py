"""Whole evenings through washsim.solve.solve, against two independent solvers.

Finite volumes (tests.references.finite_volume, N and 2N cells extrapolated, LSODA at 1e-9) for one
history, and an even-grid, stiff integration of many sheets (tests.references.multi_sheet, Radau at
1e-9) for sheets that come one by one. Both read the same layers; schedules are written out by hand.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from tests.references import cases, finite_volume, layered, multi_sheet
from tests.references.finite_volume import Phase
from tests.references.finite_volume import Vessel as Water
from tests.verification import rig
from washsim.materials import Vessel
from washsim.recipes import Bath, Hold, Rinse, Running, Transfer
from washsim.solve import solve

source = pytest.mark.source
FREE, FILM = 1e-9, 3e-6  # m2/s, m/s
FIXER, FIX_FILM = 100.0, 2.5e-6  # kg/m3, m/s ("rocking")
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
SMOOTH = 1e-7
"""Relative: 160 cells in the base extrapolated leave (dx k)^4 / 360 = 5e-9 of the slow modes, LSODA
1e-9 a step, some tens of which add up; Lobatto nodes less than either once minutes have passed."""


def released(half_life: float) -> tuple[layered.Layer, ...]:
    """The layers where held fixer comes and goes with this half-life."""
    rate = math.log(2) / half_life
    return tuple(
        layered.Layer(
            thickness=x.thickness,
            porosity=x.porosity,
            hindrance=x.hindrance,
            retardation=x.retardation,
            held=x.held,
            release=rate,
        )
        for x in LAYERS
    )


def tray(**more: Any) -> Vessel:
    return Vessel(**({"name": "tray", "volume": 4e-3, "film": FREE / FILM} | more))


def wash(minutes: float, water: Water, *, half_life: float = HALF_LIFE, **more: Any) -> Phase:
    usual = {"film_front": FILM, "film_back": FILM, "diffusivity": FREE}
    return Phase(duration=60 * minutes, bath=water, layers=released(half_life), **(usual | more))


FIX = Phase(duration=300.0, bath=FIXER, diffusivity=FREE, film_front=FIX_FILM, film_back=FIX_FILM)
CARRY = 50e-6
RUNNING = Water(volume=20e-3, flow=4e-3 / 60, efficiency=0.6)
SICK = Water(volume=20e-3, flow=4e-3 / 60, efficiency=0.6, dead=0.3, dead_time=600.0)
FOUR, PUDDLE = Water(volume=4e-3), Water(volume=4e-3, puddle=0.3e-3)
SOILED = Water(volume=20e-3, flow=4e-3 / 60, inflow=0.01)
COLD = FREE / cases.viscosity_time_factor(280.15)

EVENINGS: dict[str, tuple[list[Any], list[Vessel], dict[str, Any], list[Phase]]] = {
    "changes on a puddle": (
        [Bath(vessel="tray", baths=3, duration=600.0)],
        [tray(puddle=0.3e-3)],
        {"carry": CARRY},
        [wash(10, PUDDLE, carry=CARRY), wash(10, PUDDLE), wash(10, PUDDLE)],
    ),
    "running, part of it used": (
        [Running(vessel="tray", duration=3600.0)],
        [tray(volume=20e-3, flow=4e-3 / 60, exchange_efficiency=0.6)],
        {"carry": CARRY},
        [wash(60, RUNNING, carry=CARRY)],
    ),
    "running past a dead corner": (
        [Running(vessel="tray", duration=3600.0)],
        [
            tray(
                volume=20e-3,
                flow=4e-3 / 60,
                exchange_efficiency=0.6,
                dead_fraction=0.3,
                dead_exchange=600.0,
            )
        ],
        {},
        [wash(60, SICK)],
    ),
    "back on the floor": (
        [Bath(vessel="tray", baths=3, duration=600.0)],
        [tray(open_faces="front")],
        {"carry": CARRY},
        [wash(10, FOUR, film_back=0.0, carry=CARRY)] + 2 * [wash(10, FOUR, film_back=0.0)],
    ),
    "rinse, sea water, running": (
        [
            Rinse(vessel="bowl", duration=120.0),
            Rinse(vessel="sea", duration=300.0, water="sea"),
            Running(vessel="tray", duration=1800.0),
        ],
        [
            tray(name="bowl", volume=2e-3),
            tray(name="sea", volume=3e-3),
            tray(volume=20e-3, flow=4e-3 / 60, exchange_efficiency=0.6),
        ],
        {"carry": CARRY},
        [
            wash(2, Water(volume=2e-3, tray="bowl"), carry=CARRY),
            # 5 min in sea water where soft tap has 30
            wash(5, Water(volume=3e-3, tray="sea"), carry=CARRY, half_life=HALF_LIFE / 6),
            wash(30, RUNNING, carry=CARRY),
        ],
    ),
    "tap water with fixer in it": (
        [Running(vessel="tray", duration=3600.0)],
        [tray(volume=20e-3, flow=4e-3 / 60)],
        {"carry": CARRY, "soiled": 0.01},
        [wash(60, SOILED, carry=CARRY)],
    ),
}


def extrapolated(phases: list[Phase]) -> tuple[float, float]:
    """kg/m2 after the fixing and at the end."""
    sheet = finite_volume.FiniteVolumeSheet(layers=released(FILLING), cells=(10, 10, 80))
    runs = [
        finite_volume.run(mesh, [FIX, *phases], area=14 * SHEET, every=60.0)
        for mesh in (sheet, sheet.refined())
    ]
    ends = [(run.residual[run.starts[1] - 1], run.residual[-1]) for run in runs]
    load, end = (finite_volume.richardson(*pair) for pair in zip(*ends, strict=True))
    return load, end


@source("finite volumes in space, ODEPACK's LSODA in time (tests.references.finite_volume)")
@pytest.mark.parametrize("name", EVENINGS)
def test_an_evening_of_one_batch(name: str) -> None:
    steps, vessels, handling, phases = EVENINGS[name]
    result = solve(rig.scenario(LAYERS, steps, vessels, count=14, **handling))
    load, end = extrapolated(phases)
    assert result.load[0] == pytest.approx(load, rel=SMOOTH, abs=0.0)
    assert result.worst_residual == pytest.approx(end, rel=SMOOTH, abs=0.0)


@source("finite volumes; IAPWS viscosity by the `chemicals` library for the cold water")
def test_a_cold_evening() -> None:
    """7 C in the wash slows pores, film and release alike by T over viscosity."""
    steps = [Running(vessel="tray", duration=3600.0, temperature=280.15)]
    vessels = [tray(volume=20e-3, flow=4e-3 / 60)]
    result = solve(rig.scenario(LAYERS, steps, vessels, count=14))
    slow = FREE / COLD
    phase = wash(
        60,
        Water(volume=20e-3, flow=4e-3 / 60),
        diffusivity=COLD,
        film_front=FILM / slow,
        film_back=FILM / slow,
        half_life=HALF_LIFE * slow,
    )
    # the product's viscosity series is good to 3e-5, and the wash is 8 e-foldings deep
    assert result.worst_residual == pytest.approx(extrapolated([phase])[1], rel=3e-4, abs=0.0)


def bench(intervals: tuple[int, ...], sheets: int, tubs: list[multi_sheet.Tub]) -> Any:
    """Sheets of LAYERS; tub 0 is the fixer."""
    fixer = multi_sheet.Tub(
        volume=math.inf,
        diffusivity=FREE,
        film=FIX_FILM,
        concentration=FIXER,
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
    filled, and, being the last now, it is also where the second sheet goes: it stays there.
    """
    one = bench(intervals, 4, [tub(1.5e-3), tub(1.5e-3)])
    deeds = [deed for i in range(4) for deed in fixed(one, i, 180.0 * i)]
    deeds.append((480.0, lambda: one.refill(1, 1.5e-3, 0.0)))
    stays = {
        0: [(120, 1), (300, 2)],
        1: [(300, 1)],
        2: [(480, 2), (660, 1)],
        3: [(660, 2), (840, 1)],
    }
    ends = {0: 480, 1: 660, 2: 840, 3: 1020}
    for sheet, places in stays.items():
        for at, tray in places:
            deeds.append((at + 10.0, lambda i=sheet, t=tray: one.place(i, t)))
        for at in [at for at, _ in places[1:]] + [ends[sheet]]:
            deeds.append((float(at), lambda i=sheet: one.lift(i, CARRY * SHEET)))
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
