"""The search of the planner: every shape on a few draws, the best of them on all.

A few draws stand for the wanted chance: those that have its rank among all draws at the moment
when that share of them is first under the target. Every shape is tried at every filling and dwell
of a grid on these; the best are washed by all draws, which set their last dwell.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from washsim import tables, timings
from washsim.band import ACCURACY, CHUNK, ends, nodes_for, observe
from washsim.candidates import Shape, shapes, to_jug
from washsim.engine.solving import Known
from washsim.engine.space import Array
from washsim.plans import GRAIN, Candidate, Front, Plan, Wish, best_of, promising, spread
from washsim.result import Run
from washsim.scenario import Scenario
from washsim.solve import ladder
from washsim.units import litre, minute
from washsim.unknowns import NOMINAL, Sample

DWELLS = 120
"""Dwells tried at most for one shape."""
DWELLS_ALONE = 12
"""The same where each needs modes of its own."""
POINTS = 6
"""Plans on a front at most."""
HALVINGS = 8
"""Rounds at most in which fillings halfway to the next smaller one are looked at."""
NEAR = 0.02
"""Relative difference between fillings that is not halved any more."""
EVENED = 3
"""How often at most dwells are evened out."""

Progress = Callable[[float], None]


class Search:
    """One search: its draws, the draws that stand for the chance, the share done."""

    def __init__(self, scenario: Scenario, wish: Wish, sample: Sample, progress: Progress) -> None:
        self.scenario, self.wish, self.sample = scenario, wish, sample
        self.share, self.tell = 0.0, progress
        self.limit = scenario.target.limit / wish.margin
        self.brief = tables.datum("limits.planning.least_dwell").si
        # a band is a factor of several wide, so the coarsest nodes that agree to a hundredth do
        self.loose = scenario.but({"settings.accuracy": ACCURACY})
        rungs = ladder(scenario.settings.nodes, scenario.sheet.material, rough=True)
        self.nodes, _ = nodes_for(self.loose, sample, rungs)
        self.modes: dict[int, Known] = {}
        self.nearest: tuple[float, Scenario] | None = None
        self.known: dict[Candidate, tuple[Plan, Sample]] = {}
        self.fillings: dict[Shape, set[float]] = {}

    def front(self) -> Front:
        """One draw that stands for the chance, then two, then all draws."""
        own = self._made(self.scenario, self._worst(self.loose))
        every = [size for shape in shapes(self.loose, self.wish.aid) for size in shape.sizes()]
        pool = self._tried(every, [self._first_stand_in(every)], (0.05, 0.25))
        plans = best_of(made for made in self._best(pool) if self._kept(made)) if pool else []
        closest = None if plans else self._closest()
        if closest is not None and self._kept(closest):
            plans, closest = [closest], None
        return Front(
            wish=self.wish,
            own=own,
            plans=tuple(plans),
            closest=closest,
            soonest=None,
            sample=self.sample,
        )

    def _best(self, pool: list[Candidate]) -> Iterator[Plan]:
        """The best of a first pool, by draws that stand for the chance at both of its ends."""
        seen = [self._settled(one) for one in spread(pool, 2)]
        yield from (made for made, _ in seen)
        stand_ins = [member for _, member in seen]
        pool = self._tried(promising(pool), stand_ins, (0.3, 0.4))
        for i in range(HALVINGS):
            done = 0.4 + 0.2 * i / HALVINGS
            pool += self._tried(self._smaller(pool), stand_ins, (done, done + 0.2 / HALVINGS))
        chosen = spread(pool, POINTS)
        for i, one in enumerate(chosen):
            made, _ = self._settled(one)
            yield made
            late = made.seconds - self.wish.seconds
            if late > 0:
                # a little too long for all draws: the best of those that much quicker
                quicker = [x for x in pool if x.seconds <= one.seconds - late - GRAIN]
                yield from (self._settled(x)[0] for x in best_of(quicker)[-1:])
            self.progress(0.6 + 0.4 * (i + 1) / len(chosen))

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
        if self.nearest is None:
            return None
        scenario = self.nearest[1]
        return self._made(scenario, self._worst(scenario))

    def _kept(self, made: Plan) -> bool:
        return made.seconds <= self.wish.seconds + 1e-6 and made.chance >= self.wish.chance

    def _first_stand_in(self, every: list[Shape]) -> Sample:
        """From a schedule that spends all the time, when enough of the draws are first under."""
        for shape in every:
            least = shape.at(self.brief).timeline
            spare = self.wish.seconds - (least.stages[-1].stop - least.stages[1].start)
            if spare > 0:
                break
        else:
            return NOMINAL
        count = min(6, shape.fillings)
        scenario = shape.at((self.brief + spare) / count, count)
        end = scenario.timeline.stages[-1].stop
        times = np.linspace(end - spare, end, 60)
        seen = self._observe(scenario, lambda run: _worst_at(run, times))
        enough = np.mean(seen <= self.limit, axis=0) >= self.wish.chance
        return self._ranked(seen[:, int(np.argmax(enough)) if enough.any() else -1])

    def _ranked(self, worst: Array) -> Sample:
        """The draw that has the rank of the wanted chance."""
        rank = int(np.ceil(self.wish.chance * len(worst))) - 1
        at = int(np.argsort(worst)[rank])
        return self.sample.part(slice(at, at + 1))

    def _tried(
        self, every: list[Shape], members: list[Sample], done: tuple[float, float]
    ) -> list[Candidate]:
        """For each shape and number of fillings, the shortest dwell at which all members pass."""
        found: list[Candidate] = []
        for i, shape in enumerate(every):
            found += self._shortest(shape, members)
            self.progress(done[0] + (done[1] - done[0]) * (i + 1) / len(every))
        return found

    def _shortest(self, shape: Shape, members: list[Sample]) -> list[Candidate]:
        if shape.filled:
            self.fillings.setdefault(shape.emptied, set()).add(shape.filling)
        least = shape.at(self.brief).timeline
        start = least.stages[1].start
        spare = self.wish.seconds - (least.stages[-1].stop - start)
        if spare < 0:
            return []
        most = min(shape.fillings, 1 + int(spare / self.brief))
        dwells = np.arange(self.brief, self.brief + spare + 1e-6, GRAIN)
        alone = timings.marched_apart(shape.scenario)
        dwells = _thinned(dwells, DWELLS_ALONE if alone else DWELLS)
        knobs: tuple[str, ...] = (shape.knob,)
        if shape.fixed:
            knobs, dwells = (), dwells[:1]
        scenario, values = shape.at(self.brief, most), dwells[:, None][:, : len(knobs)]
        followed = [timings.follow(scenario, knobs, values, self.nodes, one) for one in members]
        ends, worst = followed[0].ends - start, _between([one.worst for one in followed])
        worst = np.where(ends <= self.wish.seconds + 1e-6, worst, np.inf)
        self._note(shape, dwells, worst)
        found = []
        for n in np.flatnonzero(np.min(worst, axis=0) <= self.limit):
            dwell, seconds = self._passing(shape, int(n) + 1, dwells, worst[:, n], ends[:, n])
            volume = least.fresh_water + shape.more_water(dwell - self.brief, int(n))
            found.append(
                Candidate(
                    shape=shape, dwell=dwell, fillings=int(n) + 1, seconds=seconds, volume=volume
                )
            )
        return found

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
            seconds -= fillings * float(dwells[at]) - float(total)
            dwell = max(GRAIN * round(dwell / GRAIN), self.brief)
        return dwell, seconds

    def _smaller(self, pool: list[Candidate]) -> list[Shape]:
        """The shapes of the best candidates, filled halfway to the next smaller filling tried."""
        found: dict[Shape, None] = {}
        for one in spread(pool, POINTS):
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

    def _worst(self, scenario: Scenario) -> Array:
        """(M,) kg/m2 of the worst sheet at the end."""
        return self._observe(scenario, ends).max(axis=1)

    def _made(self, scenario: Scenario, worst: Array) -> Plan:
        timeline = scenario.timeline
        volume = timeline.fresh_water
        seconds = timeline.stages[-1].stop - timeline.stages[1].start
        if scenario is not self.scenario:
            title = f"Plan: {volume / litre:.3g} L in {seconds / minute:.0f} min"
            scenario = replace(scenario, title=title, settings=self.scenario.settings)
        return Plan(
            scenario=scenario,
            seconds=seconds,
            volume=volume,
            chance=float(np.mean(worst <= self.limit)),
            residual=float(np.quantile(worst, self.wish.chance, method="higher")),
        )

    def _settled(self, one: Candidate) -> tuple[Plan, Sample]:
        """The candidate for all draws: its plan, and the draw that stands for the chance then.

        The last dwell is the least that keeps the chance; where it comes out far from the others,
        all are evened out.
        """
        if one not in self.known:
            self.known[one] = self._settle(one)
        return self.known[one]

    def _settle(self, one: Candidate) -> tuple[Plan, Sample]:
        if one.shape.fixed:
            scenario = one.shape.at(one.dwell)
            worst = self._worst(scenario)
            return self._made(scenario, worst), self._ranked(worst)
        # a part of the draws tells about how long
        few = self.sample.part(slice(0, CHUNK))
        for _ in range(EVENED):
            last, _ = self._last(one, few)
            even = GRAIN * round(((one.fillings - 1) * one.dwell + last) / one.fillings / GRAIN)
            if even < self.brief or abs(last - one.dwell) <= 0.25 * one.dwell:
                break
            one = replace(one, dwell=even)
        last, worst = self._last(one, self.sample)
        return self._made(one.shape.at(one.dwell, one.fillings, last), worst), self._ranked(worst)

    def _last(self, one: Candidate, sample: Sample) -> tuple[float, Array]:
        """Last dwell, s, with the chance kept, or the longest looked at; and (M,) worst sheets."""
        longest = 2 * one.dwell + 10 * GRAIN
        scenario = one.shape.at(one.dwell, one.fillings, longest)
        dwells = np.arange(self.brief, longest + 1e-6, GRAIN)
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


def _between(worst: list[Array]) -> Array:
    """Geometric mean of what draws that stand for the chance are left with, each elsewhere."""
    found: Array = np.exp(np.mean(np.log(np.maximum(worst, 1e-12)), axis=0))
    return found


def _thinned(dwells: Array, most: int) -> Array:
    """At most so many of them, close together where they are short."""
    if len(dwells) <= most:
        return dwells
    return dwells[np.unique(np.geomspace(1, len(dwells), most).astype(int) - 1)]
