"""One march of a scenario, and what can be seen of it at any time. SI; fixer in kg."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from washsim.engine.march import March
from washsim.engine.segment import Segment
from washsim.engine.space import Array, Slab
from washsim.papers import Paper
from washsim.scenario import Scenario
from washsim.timeline import Timeline


@dataclass(frozen=True, slots=True)
class Drained:
    """Water that went down the drain at once: when, from which step, m3, kg of fixer in it."""

    at: float
    step: int
    volume: float
    amount: float


@dataclass(frozen=True)
class Run:
    """One discretisation's march through a timeline."""

    scenario: Scenario
    timeline: Timeline
    paper: Paper
    slab: Slab
    state: March
    segments: list[Segment]
    drained: list[Drained]
    steps: dict[int, int]
    """The step each basin last served."""

    @cached_property
    def times(self) -> Array:
        """(T,) s, evenly spread over the evening."""
        return np.linspace(0.0, self.timeline.end, self.scenario.settings.outputs)

    @cached_property
    def of_lot(self) -> list[list[Segment]]:
        """The segments of each lot, in order."""
        return [
            [s for s in self.segments if lot in s.parts] for lot in range(len(self.timeline.lots))
        ]

    def see(self, lot: int, times: Array, observe: Array) -> Array:
        """(T, o) of a lot's slab state at times (T,), seen by rows observe (o, u); one member."""
        return self.see_all(lot, times, observe[None])[0]

    def see_all(self, lot: int, times: Array, observe: Array) -> Array:
        """(M, T, o) of every member, seen by rows observe (M, o, u).

        Members share the times asked for, not the pieces that films or waters in a row are cut to.
        """
        last = self.state.lots[lot].state[:, None, :] @ observe.swapaxes(1, 2)
        seen = np.zeros((len(self.slab.mobile), len(times), observe.shape[1]))
        for segment in self.of_lot[lot]:
            start, stop = segment.start[:, None], segment.stop[:, None]
            inside = (times >= start) & (times <= stop)
            some = inside.any(axis=0)
            if np.any(some):
                seconds = np.clip(times[some] - start, 0.0, stop - start)
                here = segment.slab_at(lot, seconds, observe)
                seen[:, some] = np.where(inside[:, some, None], here, seen[:, some])
        after = times > self.of_lot[lot][-1].stop[:, None]
        return np.where(after[..., None], last, seen)

    def amounts(self, times: Array) -> Array:
        """(M, lots, T) kg/m2 in the sheets of every lot, mobile and held, at times (T,)."""
        row, lots = self.slab.capacity, self.state.lots
        seen = np.zeros((len(self.slab.mobile), len(lots), len(times)))
        for segment in self.segments:
            start, stop = segment.start[:, None], segment.stop[:, None]
            inside = (times >= start) & (times <= stop)
            some = inside.any(axis=0)
            if np.any(some):
                seconds = np.clip(times[some] - start, 0.0, stop - start)
                for lot, here in segment.amounts_at(seconds, row).items():
                    seen[:, lot, some] = np.where(inside[:, some], here, seen[:, lot, some])
        for number, ended in enumerate(lots):
            last = np.sum(ended.state * row, axis=1)[:, None]
            after = times > self.of_lot[number][-1].stop[:, None]
            seen[:, number] = np.where(after, last, seen[:, number])
        return seen

    def segment_at(self, lot: int, time: float) -> Segment:
        """The segment a lot is in at a time; the nearest when it is in none."""
        for segment in self.of_lot[lot]:
            if time <= segment.stop[0]:
                return segment
        return self.of_lot[lot][-1]

    @cached_property
    def left_fixer(self) -> tuple[float, ...]:
        """s at which each lot was lifted from the (last) fixing bath."""
        bath = self.scenario.fixing.baths - 1
        return tuple(
            next(float(s.stop[0]) for s in segments if s.tank == bath) for segments in self.of_lot
        )

    @cached_property
    def wet(self) -> tuple[tuple[float, float], ...]:
        """(from, to) s between which the sheets of each lot are wet, drying not counted."""
        return tuple((float(s[0].start[0]), float(s[-1].stop[0])) for s in self.of_lot)

    @property
    def residual(self) -> Array:
        """(lots, T) kg/m2, whole thickness, mobile and held, without the film of water on it."""
        return self._outputs[0]

    @property
    def lowest(self) -> float:
        """Lowest concentration at any node and output, over that of the fixer."""
        return self._outputs[1] / self.scenario.fixing.concentration

    @cached_property
    def _outputs(self) -> tuple[Array, float]:
        """What both ask of all states at the outputs, which take long to make."""
        residual, lowest = [], np.inf
        for lot in range(len(self.of_lot)):
            states = self.see(lot, self.times, np.eye(self.slab.size))
            residual.append(states @ self.slab.capacity[0])
            lowest = min(lowest, float(states.min()))
        return np.array(residual), lowest
