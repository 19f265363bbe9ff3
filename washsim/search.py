"""The search of the planner: every shape on a few draws, the best of them on all.

A few draws stand for the wanted chance: those that have its rank among all draws at the moment
when that share of them is first under the target. Every shape is tried at every filling and dwell
of a grid on these; the best are washed by all draws, which set their last dwell.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

import numpy as np

from washsim.band import ACCURACY, ends, nodes_for, observe
from washsim.candidates import GRAIN, Shape, shapes
from washsim.engine.solving import Known
from washsim.engine.space import Array
from washsim.moves import clashes, moves
from washsim.plans import Candidate, Front, Plan, Wish, best_of, promising, spread
from washsim.run import Run
from washsim.scenario import Scenario
from washsim.screening import Screening
from washsim.solve import ladder
from washsim.units import minute, rounded
from washsim.unknowns import NOMINAL, Sample

FEW = 64
"""Draws that tell about how long a schedule takes, and which of them stand for the chance."""
POINTS = 8
"""Candidates that are washed by all draws at most, shared among the stand-ins."""
TRIES = 3
"""Candidates looked at, each with more water than the last, where one keeps neither time nor
chance for all draws."""
HALVED = 8
"""Of each pool, the candidates whose filling is halved in a round."""
HALVINGS = 8
"""Rounds at most in which fillings halfway to the next smaller one are looked at."""
EVENED = 3
"""How often at most dwells are evened out."""

Progress = Callable[[float], None]


class Search:
    """One search: its draws, the draws that stand for the chance, the share done."""

    def __init__(self, scenario: Scenario, wish: Wish, sample: Sample, progress: Progress) -> None:
        self.scenario, self.wish, self.sample = scenario, wish, sample
        self.share, self.tell = 0.0, progress
        self.limit = scenario.target.limit / wish.margin
        self.batches = scenario.sheet.batches
        # a band is a factor of several wide, so the coarsest nodes that agree to a hundredth do
        self.loose = scenario.but({"settings.accuracy": ACCURACY})
        rungs = ladder(scenario.settings.nodes, scenario.sheet.material, rough=True)
        self.nodes, _ = nodes_for(self.loose, sample, rungs)
        self.modes: dict[int, Known] = {}
        self.overlaps: dict[Candidate, bool] = {}
        self.known: dict[Candidate, Plan] = {}
        self.few = sample.part(slice(0, FEW))
        self.screening = Screening(wish, self.limit, self.batches, self.nodes)

    def front(self) -> Front:
        """One draw that stands for the chance, then two, then all draws for the best."""
        own = self._made(self.scenario, self._worst(self.loose))
        every = [
            size
            for shape in shapes(self.loose, self.wish.aid, self.wish.rinse)
            for size in shape.sizes()
        ]
        (pool,) = self._tried(every, [self._first_stand_in(every)], 0.05, 0.25)
        plans = best_of(made for made in self._best(pool) if self._kept(made))
        closest = None if plans else self._closest()
        if closest is not None and self._kept(closest):
            plans, closest = [closest], None
        return Front(
            wish=self.wish,
            own=own,
            plans=tuple(plans),
            closest=closest,
            soonest=None,
            hands=any(self.overlaps.values()),
            sample=self.sample,
        )

    def _best(self, pool: list[Candidate]) -> Iterator[Plan]:
        """The best of a first pool, by draws that stand for the chance at both of its ends.

        Each draw has a pool of its own: who is hard to wash in much water is not in little.
        """
        ranked = dict.fromkeys(self._stand_in(one) for one in self._spread(pool, 2))
        stand_ins = [self._one(at) for at in ranked]
        pools = self._tried(promising(pool), stand_ins, 0.3, 0.4)
        for i in range(HALVINGS):
            best = [one for pool in pools for one in self._spread(pool, HALVED)]
            done, halved = 0.4 + 0.2 * i / HALVINGS, self.screening.smaller(best)
            more = self._tried(halved, stand_ins, done, done + 0.2 / HALVINGS)
            pools = [pool + new for pool, new in zip(pools, more, strict=True)]
        for i, pool in enumerate(pools):
            count = POINTS // len(pools)
            chosen = self._spread(pool, count, {one.volume for one in self.known})
            for k, one in enumerate(chosen, start=1):
                yield from self._kept_or_richer(one, pool)
                self.progress(0.6 + 0.4 * (i + k / len(chosen)) / len(pools))

    def _kept_or_richer(self, one: Candidate, pool: list[Candidate]) -> Iterator[Plan]:
        """A candidate's plan; where all draws ask too much of it, of the next with more water."""
        for _ in range(TRIES):
            made = self._settled(one)
            yield made
            richer = [x for x in pool if x.seconds < one.seconds and x.volume > one.volume]
            following = [] if self._kept(made) else self._spread(richer, 2)
            if not following:
                return
            one = following[-1]

    def _tried(
        self, every: list[Shape], stand_ins: list[Sample], begun: float, done: float
    ) -> list[list[Candidate]]:
        """What passes for each stand-in; it takes the progress from one share to another."""

        def told(share: float) -> None:
            self.progress(begun + (done - begun) * share)

        return self.screening.tried(every, stand_ins, told)

    def progress(self, share: float) -> None:
        """Tell the share done; the listener may raise to end the work."""
        self.share = share
        self.tell(share)

    def _observe(
        self, scenario: Scenario, see: Callable[[Run], Array], sample: Sample | None = None
    ) -> Array:
        """(M, ...) what `see` finds; sample: the whole one, or a first chunk of it."""
        draws = sample or self.sample
        return observe(
            scenario, draws, see, self.nodes, lambda _: self.tell(self.share), self.modes
        )

    def _closest(self) -> Plan | None:
        """What came nearest to the target within the time, for all draws."""
        if self.screening.nearest is None:
            return None
        _, scenario = self.screening.nearest
        return self._made(scenario, self._worst(scenario))

    def _kept(self, made: Plan) -> bool:
        in_time = made.seconds <= self.wish.seconds + 1e-6
        return in_time and made.chance >= self.wish.chance and not made.overlaps

    def _spread(
        self, pool: list[Candidate], count: int, taken: Iterable[float] = ()
    ) -> list[Candidate]:
        """As `spread`, of those whose moves one pair of hands can keep up with."""
        while True:
            best = best_of(pool)
            new = [one for one in best if one not in self.overlaps]
            for one in new:
                scenario = one.shape.at(one.dwell, one.fillings)
                self.overlaps[one] = bool(clashes(moves(scenario)))
            if not any(self.overlaps[one] for one in best):
                return spread(best, count, taken)
            pool = [one for one in pool if not self.overlaps.get(one, False)]

    def _first_stand_in(self, every: list[Shape]) -> Sample:
        """From a schedule that spends all the time, when enough of the draws are first under."""
        for shape in every:
            least = shape.at(shape.brief).timeline
            spare = self.screening.spare(least)
            if spare > 0:
                break
        else:
            return NOMINAL
        count = min(6, shape.fillings)
        scenario = shape.at((shape.brief + spare) / count, count)
        end = scenario.timeline.stages[-1].stop
        times = np.linspace(end - spare, end, 60)
        seen = self._observe(scenario, lambda run: _worst_at(run, times), self.few)
        enough = np.mean(seen <= self.limit, axis=0) >= self.wish.chance
        at = int(np.argmax(enough)) if enough.any() else -1
        return self._one(self._ranked(seen[:, at]))

    def _stand_in(self, one: Candidate) -> int:
        """Number of the draw that stands for the chance where the candidate first keeps it."""
        if one.shape.fixed:
            return self._ranked(self._observe(one.shape.at(one.dwell), ends, self.few).max(axis=1))
        _, worst = self._last(self._evened(one), self.few)
        return self._ranked(worst)

    def _ranked(self, worst: Array) -> int:
        """Number of the draw that has the rank of the wanted chance among a few, worst (M,)."""
        rank = int(np.ceil(self.wish.chance * len(worst))) - 1
        return int(np.argsort(worst)[rank])

    def _one(self, at: int) -> Sample:
        """A sample of one of the few."""
        return self.few.part(slice(at, at + 1))

    def _worst(self, scenario: Scenario) -> Array:
        """(M,) kg/m2 of the worst sheet at the end."""
        return self._observe(scenario, ends).max(axis=1)

    def _made(self, scenario: Scenario, worst: Array) -> Plan:
        timeline = scenario.timeline
        seconds = timeline.stages[-1].stop - timeline.stages[1].start
        if scenario is not self.scenario:
            title = f"Plan of {rounded(seconds / minute)} min"
            scenario = replace(scenario, title=title, settings=self.scenario.settings)
        return Plan(
            scenario=scenario,
            seconds=seconds,
            volume=timeline.fresh_water,
            chance=float(np.mean(worst <= self.limit)),
            residual=float(np.quantile(worst, self.wish.chance, method="higher")),
        )

    def _settled(self, one: Candidate) -> Plan:
        """The candidate's plan for all draws; its last dwell is the least that keeps the chance."""
        if one not in self.known:
            self.known[one] = self._settle(one)
        return self.known[one]

    def _settle(self, one: Candidate) -> Plan:
        if one.shape.fixed:
            scenario = one.shape.at(one.dwell)
            return self._made(scenario, self._worst(scenario))
        one = self._evened(one)
        last, worst = self._last(one, self.sample)
        scenario = one.shape.at(one.dwell, one.fillings, last)
        for more in range(EVENED if self.batches > 1 else 0):
            # another last dwell makes another water for the batch that follows
            scenario = one.shape.at(one.dwell, one.fillings, last + more * GRAIN)
            worst = self._worst(scenario)
            if np.mean(worst <= self.limit) >= self.wish.chance:
                break
        return self._made(scenario, worst)

    def _evened(self, one: Candidate) -> Candidate:
        """The same with dwells evened out where the last would come out far from the others."""
        for _ in range(EVENED):
            last, _ = self._last(one, self.few)
            even = GRAIN * round(((one.fillings - 1) * one.dwell + last) / one.fillings / GRAIN)
            if even < one.shape.brief or abs(last - one.dwell) <= 0.25 * one.dwell:
                break
            one = replace(one, dwell=even)
        return one

    def _last(self, one: Candidate, sample: Sample) -> tuple[float, Array]:
        """Last dwell, s, with the chance kept, or the longest looked at; and (M,) worst sheets."""
        longest = 2 * one.dwell + 10 * GRAIN
        scenario = one.shape.at(one.dwell, one.fillings, longest)
        dwells = np.arange(one.shape.brief, longest + 1e-6, GRAIN)
        times = scenario.timeline.stages[-1].stop - longest + dwells
        seen = self._observe(scenario, lambda run: _worst_at(run, times), sample)
        enough = np.mean(seen <= self.limit, axis=0) >= self.wish.chance
        at = int(np.argmax(enough)) if enough.any() else -1
        return float(dwells[at]), seen[:, at]


def _worst_at(run: Run, times: Array) -> Array:
    """(M, T) kg/m2 of the worst sheet at times (T,)."""
    rows = run.slab.capacity[:, None, :]
    lots = range(len(run.timeline.lots))
    found: Array = np.max([run.see_all(lot, times, rows)[:, :, 0] for lot in lots], axis=0)
    return found
