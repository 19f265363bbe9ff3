"""Wash aid: sulfite, a second species, spreads through the paper and quickens the release.

It moves by the same equations as fixer, with its own diffusivity and nothing held, and is not
slowed by what it does. How much it quickens is a factor with a wide band (film data).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from washsim import tables
from washsim import timeline as happening
from washsim.engine import acts, march
from washsim.engine.segment import Segment
from washsim.engine.space import Array, Slab
from washsim.liquids import at_temperature, quickening
from washsim.recipes import Aid
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


class Sulfite:
    """Sulfite on its way through an evening, event by event, beside the fixer.

    Spans in which its effect counts as constant end wherever an event touches the tank, so their
    lengths, and all else, may differ from member to member.
    """

    def __init__(
        self,
        scenario: Scenario,
        timeline: happening.Timeline,
        sheet: Slab,
        sample: Sample = NOMINAL,
    ) -> None:
        """sheet: the paper on its nodes."""
        paper = scenario.sheet.material
        self.scenario, self.timeline, self.sample = scenario, timeline, sample
        self.paper = replace(paper, layers=tuple(replace(x, retention=0.0) for x in paper.layers))
        slab = build_slab(self.paper, sheet.space.family, sheet.space.intervals, sample)
        self.species = Species(
            fixer=0.0,
            tap=0.0,
            poured=lambda step: strength(scenario, step),
            in_fixer=diffusivity(scenario.fixing.temperature),
            in_water=diffusivity,
            fills=lambda temperature: 1.0,
            lets_go=lambda kind, temperature: 1.0,
        )
        lots = engine_lots(scenario, timeline, sample.members)
        self.state = march.March([slab], lots, len(timeline.basins), sample.members)
        self.rows = np.eye(slab.size)[sheet.where][None]
        temperature = scenario.water.temperature
        # the half-life in sulfite is its own, whatever the half-life in water
        faster = quickening("sulfite", temperature) * sample.of("release") / sample.of("aid")
        faster = np.maximum(faster - scenario.water.quickening(temperature), 0.0)
        self.faster = faster[:, None, None]
        self.baths = _baths(scenario, timeline)
        self.met: dict[int, float] = {}

    def until(self, event: happening.Event, at: Array) -> list[acts.Release]:
        """The extra release, in order, that sulfite brings up to an event at (M,) s."""
        happens = translate(
            self.scenario, self.timeline, self.paper, self.species, event, self.sample
        )
        segments = list(self.state.run([replace(happens, at=at)]))
        found = [one for segment in segments for one in self._brought(segment)]
        # tanks in a row keep one clock
        found.sort(key=lambda one: float(one.at[0]))
        if isinstance(event, happening.Place) and event.vessel in self.baths:
            self.met.setdefault(event.lot, float(np.max(at)))
        return found

    def _brought(self, segment: Segment) -> Iterator[acts.Release]:
        """What it brings to each lot in a tank, or in the air; they share their spans."""
        lots = [lot for lot in segment.parts if lot in self.met]
        if not lots:
            return
        start, stop = np.broadcast_arrays(segment.start, segment.stop)
        seconds = stop - start
        longest = int(np.argmax(seconds))
        since = float(start[longest]) - max(self.met[lot] for lot in lots)
        edges = _edges(max(since, 0.0), float(seconds[longest]))
        middles, parts = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
        into = seconds[:, None] * middles
        extra = [
            self.faster
            * effect(segment.slab_at(lot, into, self.rows))
            * (seconds[:, None] * parts)[:, :, None]
            for lot in lots
        ]
        for i in range(len(middles)):
            for lot, brought in zip(lots, extra, strict=True):
                yield acts.Release(start + into[:, i], lot, brought[:, i])


def _baths(scenario: Scenario, timeline: happening.Timeline) -> set[int]:
    """Basins of the steps that are aids."""
    return {
        basin
        for stage in timeline.stages[1:]
        if isinstance(scenario.steps[stage.step - 1], Aid)
        for basin in stage.basins
    }


def beside(
    scenario: Scenario,
    timeline: happening.Timeline,
    sheet: Slab,
    sample: Sample = NOMINAL,
) -> Sulfite | None:
    """Sulfite on its way; None where no step is an aid or the paper holds nothing to quicken."""
    if not len(sheet.where) or not any(isinstance(step, Aid) for step in scenario.steps):
        return None
    return Sulfite(scenario, timeline, sheet, sample)


def _edges(since: float, length: float) -> Array:
    """Where spans end, as parts of a segment this long, s; it begins since s after the meeting."""
    edges = [0.0]
    while edges[-1] < length:
        step = next(step for until, step in _SPANS if since + edges[-1] < until)
        edges.append(min(edges[-1] + step, length))
    return np.array(edges) / max(length, 1e-30)
