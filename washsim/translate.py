"""The printer's things in the engine's arrays: papers, lots, events of an evening."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from washsim import timeline as happening
from washsim.currents import films, pool_exchange, under_the_sheet
from washsim.engine import acts
from washsim.engine.interval import Conditions
from washsim.engine.space import Array, Slab, slab, space
from washsim.liquids import filling, film_coefficient, penetration, quickening
from washsim.papers import Paper
from washsim.scenario import Scenario
from washsim.unknowns import NOMINAL, Sample
from washsim.vessels import Vessel


@dataclass(frozen=True, slots=True, kw_only=True)
class Species:
    """Something dissolved: where it comes from and how it moves; concentrations kg/m3.

    fixer, tap: concentration in the fixing bath and in running water; poured(step) in what is
    poured; in_fixer, in_water(K): free diffusivity, m2/s; fills(K), lets_go(kind, K): quickening of
    held solute in fixer and in water, kind "" being the scenario's own; heavy: it can stir water.
    """

    fixer: float
    tap: float
    poured: Callable[[int], float]
    in_fixer: float
    in_water: Callable[[float], float]
    fills: Callable[[float], float]
    lets_go: Callable[[str, float], float]
    heavy: bool = False


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
        heavy=True,
    )


def engine_lots(
    scenario: Scenario, timeline: happening.Timeline, members: int = 1
) -> list[tuple[int, Array, Array]]:
    """Kind of slab, area (M,) and start concentration (M,) of each lot: wet and free of solute."""
    area = scenario.sheet.area
    clear = np.zeros(members)
    return [(0, np.full(members, lot.count * area), clear) for lot in timeline.lots]


def build_slab(
    paper: Paper, family: str, intervals: tuple[int, ...], sample: Sample = NOMINAL
) -> Slab:
    """The paper on nodes, a member for each of the sample's."""

    def row(name: str) -> Array:
        return np.stack(
            [getattr(x, name) * sample.of(f"{x.name}.{name}") for x in paper.layers], axis=1
        )

    fills_up = np.array([[1 / x.saturation if x.saturation else 0.0 for x in paper.layers]])
    # with places that fill up sooner the same number of them holds more at a trace
    sooner = 1 / sample.of("saturation")[:, None]
    return slab(
        space(family, intervals),
        thickness=row("thickness"),
        porosity=row("porosity"),
        hindrance=row("hindrance"),
        retardation=row("retardation"),
        retention=row("retention") * sample.of("held_pool")[:, None] * sooner,
        release_rate=np.log(2) / (row("release_half_life") * sample.of("release")[:, None]),
        bend=fills_up * sooner,
    )


def translate(
    scenario: Scenario,
    timeline: happening.Timeline,
    paper: Paper,
    species: Species,
    event: happening.Event,
    sample: Sample = NOMINAL,
) -> acts.Event:
    """One event of the timeline in the engine's arrays, a member for each of the sample's."""
    one = np.ones(sample.members)
    at = event.at * one
    match event:
        case happening.Place(lot=lot, vessel=vessel):
            spec = timeline.basins[vessel].vessel
            front, back = (1.0, 1.0) if spec is None else spec.faces
            faces = (front, 0.0 if paper.sealed_back else back)
            return acts.Place(at, lot, vessel, faces)
        case happening.Lift(lot=lot, film=film):
            area = timeline.lots[lot].count * scenario.sheet.area
            return acts.Lift(at, lot, film * area * sample.of("carry_over"))
        case happening.Cover(lot=lot, front=front, back=back):
            faces = (front, 0.0 if paper.sealed_back else back)
            return acts.Expose(at, lot, faces)
        case happening.Dump(vessel=vessel, puddle=puddle):
            return acts.Dump(at, vessel, puddle * one)
        case happening.Fill(vessel=vessel, volume=volume, step=step):
            return acts.Fill(at, vessel, volume * one, species.poured(step) * one)
        case happening.Flow():
            spec = timeline.basins[event.vessel].vessel
            conditions = _conditions(scenario, species, spec, event, sample)
            return acts.Set(at, event.vessel, conditions)


def _conditions(
    scenario: Scenario,
    species: Species,
    spec: Vessel | None,
    event: happening.Flow,
    sample: Sample,
) -> Conditions:
    """What a basin does to its contents from this event on."""
    one, temperature = np.ones(sample.members), event.temperature
    if spec is None:
        fixing = scenario.fixing
        film = film_coefficient(fixing.stirring, temperature) * sample.of(f"film.{fixing.stirring}")
        return Conditions(
            free_diffusivity=species.in_fixer * sample.of("fixer_diffusivity"),
            # the half-time of filling is its own, whatever the half-life of what then is held
            quickening=species.fills(temperature) * sample.of("release") / sample.of("filling"),
            film=np.stack([film, film], axis=1),
            inflow=0 * one,
            supply=species.fixer * sample.of("stock"),
            dead_share=0 * one,
            dead_rate=0 * one,
            boundless=True,
        )
    free = species.in_water(temperature)
    film = spec.film_coefficient(free, temperature) * one
    if spec.film is None:
        film *= sample.of(f"film.{spec.stirring}")
    if spec.shuffle is not None:
        film = np.minimum(film, penetration(spec.shuffle, free))
    exchanged = np.minimum(sample.of("exchange"), 1 / spec.exchange_efficiency)
    at = Conditions(
        free_diffusivity=free * one,
        quickening=species.lets_go(event.water, temperature) * one,
        film=np.stack([film, film], axis=1),
        inflow=spec.renewal(event.rate) * exchanged,
        supply=species.tap * one,
        dead_share=spec.dead_fraction * one,
        dead_rate=1.0 / (spec.dead_exchange * sample.of("dead_exchange")),
        fed_by=event.fed_by,
    )
    sheet = scenario.sheet
    if spec.lying == "floor":
        moved = spec.stirring != "still"
        depth, rate = pool_exchange(free, sheet.width, sheet.height, moved)
        # a heap that has more beneath it than the tray holds is no longer lying on the floor
        share = np.minimum(0.9, depth * sample.of("pool_depth") * scenario.paper_area / spec.volume)
        beneath = under_the_sheet(free) / sample.of("pool_depth")
        at = replace(
            at,
            film=np.stack([film, beneath], axis=1),
            dead_share=share,
            dead_rate=rate / sample.of("pool_rocked"),
            pooled=True,
        )
    if spec.stirring == "still" and spec.film is None and species.heavy:
        salt, doubt = scenario.fixing.salt, sample.of("film.still")[:, None, None]
        law = films(spec.lying, salt, sheet.width, sheet.height, temperature, event.rate > 0)
        at = replace(at, currents=lambda difference, still: doubt * law(difference, still))
    return at
