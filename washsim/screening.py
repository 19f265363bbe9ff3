"""Every shape that the sink allows, at every filling and dwell of a grid, for one or two draws.

These stand for the wanted chance, so what passes for them is worth washing for all draws.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from washsim import timings
from washsim.candidates import GRAIN, Shape, to_jug
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
NEAR = 0.02
"""Relative difference between fillings that is not halved any more."""


class Screening:
    """What has been tried: `nearest`, (kg/m2, the schedule) that came nearest to the target.

    limit: kg/m2 to get under; batches of sheets; nodes to solve on.
    """

    def __init__(self, wish: Wish, limit: float, batches: int, nodes: Nodes) -> None:
        self.wish, self.limit, self.batches, self.nodes = wish, limit, batches, nodes
        self.nearest: tuple[float, Scenario] | None = None
        self.fillings: dict[Shape, set[float]] = {}

    def tried(
        self, every: list[Shape], stand_ins: list[Sample], done: Callable[[float], None]
    ) -> list[list[Candidate]]:
        """For each stand-in, shape and number of fillings, the shortest dwell at which it passes.

        done: told the share that is done.
        """
        found: list[list[Candidate]] = [[] for _ in stand_ins]
        for i, shape in enumerate(every):
            if shape.filled:
                self.fillings.setdefault(shape.emptied, set()).add(shape.filling)
            for pool, member in zip(found, stand_ins, strict=True):
                pool += self._shortest(shape, member)
            done((i + 1) / len(every))
        return found

    def _shortest(self, shape: Shape, member: Sample) -> list[Candidate]:
        brief = shape.brief
        least = shape.at(brief).timeline
        start, spare = least.stages[1].start, self.spare(least)
        if spare < 0:
            return []
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
        self._note(shape, dwells, worst)
        found = []
        for n in np.flatnonzero(np.min(worst, axis=0) <= self.limit):
            dwell, seconds = self._passing(shape, int(n) + 1, dwells, worst[:, n], ends[:, n])
            water = least.fresh_water + shape.more_water(dwell - brief, int(n))
            found.append(
                Candidate(
                    shape=shape, dwell=dwell, fillings=int(n) + 1, seconds=seconds, volume=water
                )
            )
        return found

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

    def smaller(self, best: list[Candidate]) -> list[Shape]:
        """The shapes of these candidates, filled halfway to the next smaller filling tried."""
        found: dict[Shape, None] = {}
        for one in best:
            if not one.shape.filled:
                continue
            known, full = self.fillings[one.shape.emptied], one.shape.filling
            below = max((volume for volume in known if volume < full), default=full)
            halfway = to_jug(0.5 * (full + below))
            if full - below > NEAR * full and halfway not in known:
                found[one.shape.with_filling(halfway)] = None
        return list(found)

    def _note(self, shape: Shape, dwells: Array, worst: Array) -> None:
        """Keep the schedule that came nearest to the target."""
        at, n = np.unravel_index(np.argmin(worst), worst.shape)
        if self.nearest is None or worst[at, n] < self.nearest[0]:
            self.nearest = float(worst[at, n]), shape.at(float(dwells[at]), int(n) + 1)


def _thinned(dwells: Array, most: int) -> Array:
    """At most so many of them, close together where they are short."""
    if len(dwells) <= most:
        return dwells
    return dwells[np.unique(np.geomspace(1, len(dwells), most).astype(int) - 1)]
