"""One shape at every number of fillings and dwell of a grid, for one draw.

It stands for the wanted chance, so what passes for it is worth washing for all draws.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from washsim import timings
from washsim.candidates import GRAIN, Shape
from washsim.engine.space import Array
from washsim.plans import Candidate, Wish
from washsim.scenario import Scenario
from washsim.solve import Nodes
from washsim.timeline import Timeline
from washsim.unknowns import Sample

DWELLS = 120
"""Dwells tried at most for one shape."""
DWELLS_ALONE = 12
"""The same where each needs modes of its own."""


Nearest = tuple[float, Scenario]
"""kg/m2 of the worst sheet, and the schedule that came so near to the target."""


@dataclass(frozen=True)
class Screening:
    """What is asked of a shape: the wish, kg/m2 to get under, batches; nodes to solve on."""

    wish: Wish
    limit: float
    batches: int
    nodes: Nodes

    def shortest(self, shape: Shape, member: Sample) -> tuple[list[Candidate], Nearest | None]:
        """For each number of fillings, the shortest dwell at which it passes; and the nearest."""
        brief = shape.brief
        least = shape.at(brief).timeline
        start, spare = least.stages[1].start, self.spare(least)
        if spare < 0:
            return [], None
        most = min(shape.fillings, 1 + int(spare / brief))
        dwells = np.arange(brief, brief + spare + 1e-6, GRAIN)
        alone = timings.marched_apart(shape.scenario)
        dwells = _thinned(dwells, DWELLS_ALONE if alone else DWELLS)
        knobs: tuple[str, ...] = (shape.knob,)
        if shape.fixed:
            knobs, dwells = (), dwells[:1]
        followed = self._followed(shape, most, knobs, dwells[:, None][:, : len(knobs)], member)
        ends = followed.ends - start
        worst = np.where(ends <= self.wish.seconds + 1e-6, followed.worst, np.inf)
        found = []
        for n in np.flatnonzero(np.min(worst, axis=0) <= self.limit):
            dwell, seconds = self._passing(shape, int(n) + 1, dwells, worst[:, n], ends[:, n])
            water = least.fresh_water + shape.more_water(dwell - brief, int(n))
            found.append(
                Candidate(
                    shape=shape, dwell=dwell, fillings=int(n) + 1, seconds=seconds, volume=water
                )
            )
        at, fillings = np.unravel_index(np.argmin(worst), worst.shape)
        nearest = shape.at(float(dwells[at]), int(fillings) + 1)
        return found, (float(worst[at, fillings]), nearest)

    def spare(self, least: Timeline) -> float:
        """s that each batch may take longer than in the shortest schedule of a shape."""
        whole = least.stages[-1].stop - least.stages[1].start
        return (self.wish.seconds - whole) / self.batches

    def _followed(
        self, shape: Shape, most: int, knobs: tuple[str, ...], values: Array, member: Sample
    ) -> timings.Followed:
        """The shape at these dwells with 1 to `most` fillings."""
        if self.batches == 1:
            scenario = shape.at(shape.brief, most)
            return timings.follow(scenario, knobs, values, self.nodes, member)
        # what the first batch leaves behind hangs on how many fillings it took
        each = [
            timings.follow(shape.at(shape.brief, n), knobs, values, self.nodes, member)
            for n in range(1, most + 1)
        ]
        return timings.Followed(
            np.stack([one.ends[:, -1] for one in each], axis=1),
            np.stack([one.worst[:, -1] for one in each], axis=1),
        )

    def _passing(
        self, shape: Shape, fillings: int, dwells: Array, worst: Array, ends: Array
    ) -> tuple[float, float]:
        """Dwell and whole time, s, that just pass; between dwells by the log of the residual."""
        at = int(np.argmax(worst <= self.limit))
        dwell, seconds = float(dwells[at]), float(ends[at])
        if at > 0 and not shape.fixed:
            above, below = np.log(worst[at - 1] / self.limit), np.log(self.limit / worst[at])
            dwell -= float(below / (above + below)) * (dwell - float(dwells[at - 1]))
            total = GRAIN * np.ceil(fillings * dwell / GRAIN - 1e-9)
            seconds -= self.batches * (fillings * float(dwells[at]) - float(total))
            dwell = max(GRAIN * round(dwell / GRAIN), shape.brief)
        return dwell, seconds


def _thinned(dwells: Array, most: int) -> Array:
    """At most so many of them, close together where they are short."""
    if len(dwells) <= most:
        return dwells
    return dwells[np.unique(np.geomspace(1, len(dwells), most).astype(int) - 1)]
