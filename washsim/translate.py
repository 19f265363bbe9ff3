"""The printer's things in the engine's arrays, one member: papers, lots, events of an evening."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from washsim import timeline as happening
from washsim.engine import march
from washsim.engine.interval import Conditions
from washsim.engine.space import Array, Slab, slab, space
from washsim.materials import Paper, Vessel, filling, film_coefficient, quickening
from washsim.scenario import Scenario


@dataclass(frozen=True, slots=True, kw_only=True)
class Species:
    """Something dissolved: where it comes from and how it moves; concentrations kg/m3.

    fixer, tap: concentration in the fixing bath and in running water; poured(step) in what is
    poured; in_fixer, in_water(K): free diffusivity, m2/s; fills(K), lets_go(kind, K): quickening of
    held solute in fixer and in water, kind "" being the scenario's own.
    """

    fixer: float
    tap: float
    poured: Callable[[int], float]
    in_fixer: float
    in_water: Callable[[float], float]
    fills: Callable[[float], float]
    lets_go: Callable[[str, float], float]


def thiosulfate(scenario: Scenario, paper: Paper) -> Species:
    """Fixer, as the scenario has it."""
    holding = [layer.release_half_life for layer in paper.layers if layer.retention > 0]
    slowest = max(holding, default=1.0)
    return Species(
        fixer=scenario.fixing.concentration,
        tap=scenario.water.thiosulfate,
        poured=lambda step: scenario.water.thiosulfate,
        in_fixer=scenario.fixing.free_diffusivity,
        in_water=scenario.water.free_diffusivity,
        fills=lambda temperature: filling(temperature, slowest),
        lets_go=lambda kind, temperature: (
            quickening(kind, temperature) if kind else scenario.water.quickening(temperature)
        ),
    )


def engine_lots(scenario: Scenario, timeline: happening.Timeline) -> list[tuple[int, Array, Array]]:
    """Kind of slab, area (1,) and start concentration (1,) of each lot: wet and free of solute."""
    area = scenario.sheet.area
    return [(0, np.array([lot.count * area]), np.zeros(1)) for lot in timeline.lots]


def build_slab(paper: Paper, family: str, intervals: tuple[int, ...]) -> Slab:
    """The paper on nodes, one member."""
    layers = paper.layers

    def row(name: str) -> Array:
        return np.array([[getattr(layer, name) for layer in layers]])

    return slab(
        space(family, intervals),
        thickness=row("thickness"),
        porosity=row("porosity"),
        hindrance=row("hindrance"),
        retardation=row("retardation"),
        retention=row("retention"),
        release_rate=np.log(2) / row("release_half_life"),
    )


def translate(
    scenario: Scenario,
    timeline: happening.Timeline,
    paper: Paper,
    species: Species,
    event: happening.Event,
) -> march.Event:
    """One event of the timeline in the engine's arrays."""
    at = np.array([event.at])
    match event:
        case happening.Place(lot=lot, vessel=vessel):
            spec = timeline.basins[vessel].vessel
            front, back = (1.0, 1.0) if spec is None else spec.faces
            faces = (front, 0.0 if paper.sealed_back else back)
            return march.Place(at, lot, vessel, faces)
        case happening.Lift(lot=lot, film=film):
            area = timeline.lots[lot].count * scenario.sheet.area
            return march.Lift(at, lot, np.array([film * area]))
        case happening.Cover(lot=lot, front=front, back=back):
            faces = (front, 0.0 if paper.sealed_back else back)
            return march.Expose(at, lot, faces)
        case happening.Dump(vessel=vessel, puddle=puddle):
            return march.Dump(at, vessel, np.array([puddle]))
        case happening.Fill(vessel=vessel, volume=volume, step=step):
            poured = np.array([species.poured(step)])
            return march.Fill(at, vessel, np.array([volume]), poured)
        case happening.Flow():
            spec = timeline.basins[event.vessel].vessel
            return march.Set(at, event.vessel, _conditions(scenario, species, spec, event))


def _conditions(
    scenario: Scenario, species: Species, spec: Vessel | None, event: happening.Flow
) -> Conditions:
    """What a basin does to its contents from this event on."""
    temperature = event.temperature
    if spec is None:
        release = species.fills(temperature)
        free = species.in_fixer
        film = film_coefficient(scenario.fixing.stirring, temperature)
        supply, inflow, dead_share, dead_rate = species.fixer, 0.0, 0.0, 0.0
    else:
        release = species.lets_go(event.water, temperature)
        free = species.in_water(temperature)
        film = spec.film_coefficient(free, temperature)
        supply, inflow = species.tap, spec.renewal(event.rate)
        dead_share, dead_rate = spec.dead_fraction, 1.0 / spec.dead_exchange
    return Conditions(
        free_diffusivity=np.array([free]),
        quickening=np.array([release]),
        film=np.array([[film, film]]),
        inflow=np.array([inflow]),
        supply=np.array([supply]),
        dead_share=np.array([dead_share]),
        dead_rate=np.array([dead_rate]),
        boundless=spec is None,
    )
