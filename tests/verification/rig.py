"""The engine and the scenario, set up for checks in a line or two.

Papers are given as tests.references.layered.Layer, so that product and reference read the same
numbers. Amounts per area are kg/m2, concentrations kg/m3, SI throughout; one member.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from tests.references import layered
from washsim import papers, vessels
from washsim.engine import acts, interval, march, space
from washsim.fixers import Fixing
from washsim.papers import Sheet
from washsim.scenario import Scenario, Settings
from washsim.vessels import Handling, Water

Array = np.ndarray
FIXER = 100.0
"""kg/m3 of thiosulfate ion in the fixer of scenarios."""


def row(*values: float) -> Array:
    """One member's value, or one row per member."""
    return np.array(values, dtype=float)


def slab(layers: Sequence[layered.Layer], family: str, intervals: Sequence[int]) -> space.Slab:
    """Layers on the engine's nodes."""

    def each(value: Any) -> Array:
        return np.array([[value(layer) for layer in layers]], dtype=float)

    return space.slab(
        space.space(family, tuple(intervals)),
        thickness=each(lambda layer: layer.thickness),
        porosity=each(lambda layer: layer.porosity),
        hindrance=each(lambda layer: layer.hindrance),
        retardation=each(lambda layer: layer.retardation),
        retention=each(lambda layer: layer.held),
        release_rate=each(lambda layer: layer.release),
    )


def conditions(
    diffusivity: float,
    film: float,
    *,
    boundless: bool = False,
    supply: float = 0.0,
    inflow: float = 0.0,
    dead_share: float = 0.0,
    dead_rate: float = 0.0,
    quickening: float = 1.0,
) -> interval.Conditions:
    """What a tank does, one member; film m/s on both faces."""
    return interval.Conditions(
        free_diffusivity=row(diffusivity),
        quickening=row(quickening),
        film=np.array([[film, film]]),
        inflow=row(inflow),
        supply=row(supply),
        dead_share=row(dead_share),
        dead_rate=row(dead_rate),
        boundless=boundless,
    )


def fixed_then_washed(
    kind: space.Slab,
    washing: interval.Conditions,
    seconds: Sequence[float],
    *,
    fixing: interval.Conditions,
    fix_seconds: float,
    area: float = 1.0,
    volume: float = 0.0,
    open_faces: tuple[float, float] = (1.0, 1.0),
) -> tuple[Array, march.March]:
    """Amounts (T, 2) kg/m2, mobile and held, at seconds (T,) after the fixing, by one march."""
    state = march.March([kind], [(0, row(area), row(0.0))], 2, 1)
    end = fix_seconds + max(seconds)
    events: list[acts.Event] = [
        acts.Set(row(0.0), 0, fixing),
        acts.Place(row(0.0), 0, 0),
        acts.Lift(row(fix_seconds), 0, row(0.0)),
        acts.Set(row(fix_seconds), 1, washing),
        acts.Fill(row(fix_seconds), 1, row(volume), row(0.0)),
        acts.Place(row(fix_seconds), 0, 1, open_faces),
        acts.Lift(row(end), 0, row(0.0)),
    ]
    *_, wash = state.run(events)
    n = kind.space.size
    observe = np.zeros((1, 2, kind.size))
    observe[:, 0, :n], observe[:, 1, n:] = kind.mobile, kind.held
    return wash.slab_at(0, np.array([seconds], dtype=float), observe)[0], state


def paper(layers: Sequence[layered.Layer]) -> tuple[papers.Layer, ...]:
    """The same layers as a scenario takes them; a release of zero leaves its half-life alone."""
    return tuple(
        papers.Layer(
            name=f"layer {number}",
            thickness=layer.thickness,
            porosity=layer.porosity,
            hindrance=layer.hindrance,
            retardation=layer.retardation,
            retention=layer.held,
            **({"release_half_life": math.log(2) / layer.release} if layer.release else {}),
        )
        for number, layer in enumerate(layers, start=1)
    )


def scenario(
    layers: Sequence[layered.Layer],
    steps: Sequence[Any],
    vessels: Sequence[vessels.Vessel],
    *,
    nodes: str = "auto",
    carry: float = 0.0,
    drain: float = 0.0,
    diffusivity: float = 1e-9,
    soiled: float = 0.0,
    fixing: dict[str, Any] | None = None,
    outputs: int = 50,
    **sheet: Any,
) -> Scenario:
    """Own paper fixed in 100 kg/m3; carry m3/m2; diffusivity that of fixer and water at 20 C.

    soiled: kg/m3 of fixer in the fresh water.
    """
    bath = {"thiosulfate": FIXER, "duration": 300.0, "diffusivity": diffusivity}
    return Scenario(
        sheet=Sheet(paper="own", explanation="own", layers=paper(layers), **sheet),
        fixing=Fixing(**(bath | (fixing or {}))),
        water=Water(diffusivity=diffusivity, thiosulfate=soiled),
        handling=Handling(carry_over=carry, drain=drain),
        vessels=tuple(vessels),
        steps=tuple(steps),
        settings=Settings(nodes=nodes, outputs=outputs),
    )


def rates(
    kind: space.Slab,
    at: interval.Conditions,
    *,
    volume: float | None = None,
    area: float = 1.0,
    open_faces: tuple[float, float] = (1.0, 1.0),
) -> Array:
    """Rising decay rates, 1/s, of a slab in clean water or of slabs (m2) and their water (m3)."""
    film = at.film * np.array(open_faces)
    if volume is None:
        return interval.modes(kind.capacity, interval.slab_fluxes(kind, at, film)[:, :, :-1]).rates[
            0
        ]
    system = interval.tank_system([(kind, film, row(area))], at, row(volume), None)
    return interval.modes(*system).rates[0]
