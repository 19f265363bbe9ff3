"""Wash aid: sulfite, a second species, spreads through the paper and quickens the release.

It moves by the same equations as fixer, with its own diffusivity and nothing held, and is not
slowed by what it does. How much it quickens is a factor with a wide band (film data).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from washsim import tables
from washsim import timeline as happening
from washsim.engine import acts, march
from washsim.engine.space import Array, Slab
from washsim.materials import Paper, at_temperature, quickening
from washsim.recipes import Aid
from washsim.result import Run
from washsim.scenario import Scenario
from washsim.translate import Species, build_slab, engine_lots, translate
from washsim.units import celsius, minute
from washsim.unknowns import NOMINAL, Sample

_SPANS = ((5 * minute, 10.0), (20 * minute, 30.0), (math.inf, 120.0))
"""Sulfite is looked at every 10 s up to 5 min after a sheet meets it, and so on; s."""


def diffusivity(temperature: float) -> float:
    """Of sulfite in free water, m2/s, temperature K."""
    known = tables.datum("liquids.sulfite.free_diffusivity_25").si
    return at_temperature(known, celsius(25), temperature)


def strength(scenario: Scenario, step: int) -> float:
    """Sulfite in an aid bath as the first sheet enters, over that of a fresh bath.

    Every m2 of paper that went through carried its liquid in and as much of the bath out.
    """
    # the puddle of a rinsed tray is poured in no step: -1
    spec = scenario.steps[step - 1] if step > 0 else None
    if not isinstance(spec, Aid):
        return 0.0
    return math.exp(-scenario.carried_liquid * spec.used)


def effect(sulfite: Array) -> Array:
    """0 to 1: how much of the full quickening a strength in the pores (1: fresh bath) brings."""
    half = tables.datum("liquids.sulfite.half_effect").value
    sulfite = np.maximum(sulfite, 0.0)
    return sulfite * (1 + half) / (sulfite + half)


def releases(
    scenario: Scenario,
    timeline: happening.Timeline,
    paper: Paper,
    sheet: Slab,
    sample: Sample = NOMINAL,
) -> list[acts.Release]:
    """The extra release that sulfite brings to each lot, as events in order of time.

    None where no step is an aid or the paper (sheet: on its nodes) holds nothing.
    """
    met = _first_met(scenario, timeline)
    if not met or not len(sheet.where):
        return []
    bare = replace(paper, layers=tuple(replace(x, retention=0.0) for x in paper.layers))
    slab = build_slab(bare, sheet.space.family, sheet.space.intervals, sample)
    species = Species(
        fixer=0.0,
        tap=0.0,
        poured=lambda step: strength(scenario, step),
        in_fixer=diffusivity(scenario.fixing.temperature),
        in_water=diffusivity,
        fills=lambda temperature: 1.0,
        lets_go=lambda kind, temperature: 1.0,
    )
    lots = engine_lots(scenario, timeline, sample.members)
    state = march.March([slab], lots, len(timeline.basins), sample.members)
    segments = [
        segment
        for event in timeline.events
        for segment in state.run([translate(scenario, timeline, bare, species, event, sample)])
    ]
    run = Run(scenario, timeline, bare, slab, state, segments, [], {})
    rows = np.eye(slab.size)[sheet.where][None]
    temperature = scenario.water.temperature
    # the half-life in sulfite is its own, whatever the half-life in water
    faster = quickening("sulfite", temperature) * sample.of("release") / sample.of("aid")
    faster = np.maximum(faster - scenario.water.quickening(temperature), 0.0)[:, None, None]
    found = []
    for lot, start in met.items():
        edges = _edges(start, timeline.end)
        middles, spans = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
        extra = faster * effect(run.see_all(lot, middles, rows)) * spans[:, None]
        found += [
            acts.Release(np.full(sample.members, at), lot, extra[:, i])
            for i, at in enumerate(middles)
        ]
    return sorted(found, key=lambda event: float(event.at[0]))


def _first_met(scenario: Scenario, timeline: happening.Timeline) -> dict[int, float]:
    """Lot -> s at which it first came into an aid bath."""
    baths = {
        basin
        for stage in timeline.stages[1:]
        if isinstance(scenario.steps[stage.step - 1], Aid)
        for basin in stage.basins
    }
    met: dict[int, float] = {}
    for event in timeline.events:
        if isinstance(event, happening.Place) and event.vessel in baths:
            met.setdefault(event.lot, event.at)
    return met


def _edges(start: float, end: float) -> Array:
    """Times between which the quickening counts as constant."""
    edges = [start]
    while edges[-1] < end:
        step = next(step for until, step in _SPANS if edges[-1] - start < until)
        edges.append(min(edges[-1] + step, end))
    return np.array(edges)
