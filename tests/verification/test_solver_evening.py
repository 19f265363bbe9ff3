"""Whole evenings of one batch through washsim.solve.solve, against finite volumes.

tests.references.finite_volume: N and 2N cells extrapolated, LSODA at 1e-9. Both read the same
layers; the schedules are written out by hand for each.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.references import cases, finite_volume, layered
from tests.references.finite_volume import Phase
from tests.references.finite_volume import Vessel as Water
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
from washsim.recipes import Bath, Rinse, Running
from washsim.solve import solve
from washsim.vessels import Vessel

source = pytest.mark.source
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


def wash(minutes: float, water: Water, *, half_life: float = HALF_LIFE, **more: Any) -> Phase:
    usual = {"film_front": FILM, "film_back": FILM, "diffusivity": FREE}
    return Phase(duration=60 * minutes, bath=water, layers=released(half_life), **(usual | more))


FIX = Phase(
    duration=300.0, bath=rig.FIXER, diffusivity=FREE, film_front=FIX_FILM, film_back=FIX_FILM
)
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
