"""A schedule that promises well, washed by all draws: its last dwell and its chance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from washsim.band import ACCURACY, ends, observe
from washsim.candidates import GRAIN, Shape
from washsim.engine.solving import Known
from washsim.engine.space import Array
from washsim.plans import Candidate, Plan, Wish
from washsim.run import Run
from washsim.scenario import Scenario
from washsim.solve import Nodes
from washsim.units import minute, rounded
from washsim.unknowns import Sample

FEW = 128
"""Draws that tell about how long a schedule takes, and which of them stand for the chance."""
EVENED = 3
"""How often at most dwells are evened out."""


@dataclass(frozen=True)
class Settling:
    """One search's: its draws, and the nodes they are solved on; key tells it from others."""

    scenario: Scenario
    wish: Wish
    sample: Sample
    nodes: Nodes
    key: int

    @cached_property
    def few(self) -> Sample:
        """Some of the draws."""
        return self.sample.part(slice(0, FEW))

    @property
    def limit(self) -> float:
        """kg/m2 that the worst sheet must get under."""
        return self.scenario.target.limit / self.wish.margin

    def own(self) -> Plan:
        """The user's own schedule as a plan."""
        loose = self.scenario.but({"settings.accuracy": ACCURACY})
        return self._made(self.scenario, self._worst(loose))

    def reckoned(self, scenario: Scenario) -> Plan:
        """The plan of a schedule as it stands."""
        return self._made(scenario, self._worst(scenario))

    def settled(self, one: Candidate) -> Plan:
        """The candidate's plan for all draws; its last dwell is the least that keeps the chance."""
        if one.shape.fixed:
            return self.reckoned(one.shape.at(one.dwell))
        one = self._evened(one)
        last, worst = self._last(one, self.sample)
        scenario = one.shape.at(one.dwell, one.fillings, last)
        for more in range(EVENED if scenario.sheet.batches > 1 else 0):
            # another last dwell makes another water for the batch that follows
            scenario = one.shape.at(one.dwell, one.fillings, last + more * GRAIN)
            worst = self._worst(scenario)
            if np.mean(worst <= self.limit) >= self.wish.chance:
                break
        return self._made(scenario, worst)

    def stand_in(self, one: Candidate) -> int:
        """Number of the draw that stands for the chance where the candidate first keeps it."""
        if one.shape.fixed:
            return self._ranked(self._observe(one.shape.at(one.dwell), ends, self.few).max(axis=1))
        _, worst = self._last(self._evened(one), self.few)
        return self._ranked(worst)

    def first_stand_in(self, shape: Shape, spare: float) -> Sample:
        """From a shape that spends spare s more, when enough of the draws are first under."""
        count = min(6, shape.fillings)
        scenario = shape.at((shape.brief + spare) / count, count)
        end = scenario.timeline.stages[-1].stop
        times = np.linspace(end - spare, end, 60)
        seen = self._observe(scenario, lambda run: run.amounts(times).max(axis=1), self.few)
        enough = np.mean(seen <= self.limit, axis=0) >= self.wish.chance
        at = int(np.argmax(enough)) if enough.any() else -1
        return self.one(self._ranked(seen[:, at]))

    def one(self, at: int) -> Sample:
        """A sample of one of the few."""
        return self.few.part(slice(at, at + 1))

    def _observe(self, scenario: Scenario, see: Callable[[Run], Array], draws: Sample) -> Array:
        """(M, ...) what `see` finds; draws: the whole sample, or a first chunk of it."""
        return observe(scenario, draws, see, self.nodes, known=_modes(self.key))

    def _ranked(self, worst: Array) -> int:
        """Number of the draw that has the rank of the wanted chance among a few, worst (M,)."""
        rank = int(np.ceil(self.wish.chance * len(worst))) - 1
        return int(np.argsort(worst)[rank])

    def _worst(self, scenario: Scenario) -> Array:
        """(M,) kg/m2 of the worst sheet at the end."""
        return self._observe(scenario, ends, self.sample).max(axis=1)

    def _made(self, scenario: Scenario, worst: Array) -> Plan:
        """The plan of a schedule whose worst sheets (M,) are known."""
        timeline = scenario.timeline
        seconds = timeline.stages[-1].stop - timeline.stages[1].start
        if scenario is not self.scenario:
            prints = sum(lot.count for lot in timeline.lots)
            title = f"Plan: {prints} print{'s'[: prints - 1]} in {rounded(seconds / minute)} min"
            scenario = replace(scenario, title=title, settings=self.scenario.settings)
        return Plan(
            scenario=scenario,
            seconds=seconds,
            volume=timeline.fresh_water,
            chance=float(np.mean(worst <= self.limit)),
            residual=float(np.quantile(worst, self.wish.chance, method="higher")),
        )

    def _evened(self, one: Candidate) -> Candidate:
        """The same with dwells evened out where the last would come out far from the others."""
        for _ in range(EVENED):
            last, _ = self._last(one, self.few)
            even = GRAIN * round(((one.fillings - 1) * one.dwell + last) / one.fillings / GRAIN)
            if even < one.shape.brief or abs(last - one.dwell) <= 0.25 * one.dwell:
                break
            one = replace(one, dwell=even)
        return one

    def _last(self, one: Candidate, draws: Sample) -> tuple[float, Array]:
        """Last dwell, s, with the chance kept, or the longest looked at; and (M,) worst sheets."""
        longest = 2 * one.dwell + 10 * GRAIN
        scenario = one.shape.at(one.dwell, one.fillings, longest)
        dwells = np.arange(one.shape.brief, longest + 1e-6, GRAIN)
        times = scenario.timeline.stages[-1].stop - longest + dwells
        seen = self._observe(scenario, lambda run: run.amounts(times).max(axis=1), draws)
        enough = np.mean(seen <= self.limit, axis=0) >= self.wish.chance
        at = int(np.argmax(enough)) if enough.any() else -1
        return float(dwells[at]), seen[:, at]


@lru_cache(maxsize=1)
def _modes(key: int) -> dict[int, Known]:
    """Modes of each chunk of one search, kept by every process that takes part in it."""
    return {}
