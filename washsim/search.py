"""The search of the planner: every shape on a few draws, the best of them on all.

A few draws stand for the wanted chance: those that have its rank among all draws at the moment
when that share of them is first under the target. Every shape is tried at every filling and dwell
of a grid on these; the best are washed by all draws, which set their last dwell.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor
from typing import Any, TypeVar

from washsim.band import ACCURACY, nodes_for
from washsim.candidates import Shape, to_jug
from washsim.cores import begun, each
from washsim.guests import shapes_with_guests
from washsim.moves import clashes, moves
from washsim.plans import Candidate, Front, Plan, Wish, best_of, promising, spread
from washsim.scenario import Scenario
from washsim.screening import Nearest, Screening
from washsim.settling import Settling
from washsim.solve import Nodes, ladder
from washsim.units import minute
from washsim.unknowns import NOMINAL, Sample

POINTS = 8
"""Candidates that are washed by all draws at most, shared among the stand-ins."""
TRIES = 3
"""Candidates looked at, each with more water than the last, where one keeps neither time nor
chance for all draws."""
HALVED = 8
"""Of each pool, the candidates whose filling is halved in a round."""
HALVINGS = 8
"""Rounds at most in which fillings halfway to the next smaller one are looked at."""
HURRY = minute
"""Plans that differ by less are as soon as each other, s."""
NEAR = 0.02
"""Relative difference between fillings that is not halved any more."""

Progress = Callable[[float], None]
T = TypeVar("T")
_keys = itertools.count()


class Search:
    """One search: what it has tried and settled; all that takes long is the executor's, if any.

    progress is told the share done; it may raise to end the work.
    """

    def __init__(
        self,
        scenario: Scenario,
        wish: Wish,
        sample: Sample,
        progress: Progress,
        executor: Executor | None,
        nodes: Nodes | None = None,
    ) -> None:
        """nodes: those of an earlier search with the same draws."""
        self.wish, self.sample = wish, sample
        self.progress, self.executor = progress, executor
        # a band is a factor of several wide, so the coarsest nodes that agree to a hundredth do
        self.loose = scenario.but({"settings.accuracy": ACCURACY})
        if nodes is None:
            rungs = ladder(scenario.settings.nodes, scenario.sheet.material, rough=True)
            nodes, _ = nodes_for(self.loose, sample, rungs)
        self.settling = Settling(scenario, wish, sample, nodes, next(_keys))
        self.screening = Screening(wish, self.settling.limit, scenario.sheet.batches, nodes)
        self.nearest: Nearest | None = None
        self.fillings: dict[Shape, set[float]] = {}
        self.overlaps: dict[Candidate, bool] = {}
        self.known: dict[Candidate, Plan] = {}

    def front(self) -> Front:
        """One draw that stands for the chance, then two, then all draws for the best."""
        own = begun(self.executor, self.settling.own)
        pool = self._pool(0.05, 0.25)
        plans = best_of(made for made in self._best(pool) if self._kept(made))
        closest = self.settling.reckoned(self.nearest[1]) if self.nearest and not plans else None
        if closest is not None and self._kept(closest):
            plans, closest = [closest], None
        return Front(
            wish=self.wish,
            own=own(),
            plans=tuple(plans),
            closest=closest,
            soonest=None,
            hands=any(self.overlaps.values()),
            sample=self.sample,
        )

    def with_wish(self, wish: Wish) -> Search:
        """Another with the same draws."""
        scenario, nodes = self.settling.scenario, self.settling.nodes
        return Search(scenario, wish, self.sample, self.progress, self.executor, nodes)

    def soonest(self) -> Plan | None:
        """The quickest plan for all draws, of the quickest for one; the thriftiest within HURRY."""
        pool = self._pool(0.0, 0.5)
        best = self._spread(pool, len(pool))
        quick = [one for one in best if one.seconds <= best[0].seconds + HURRY]
        # the thriftiest is last; one in the middle, should it ask too much of all draws
        chosen = dict.fromkeys((*quick[:1], *quick[len(quick) // 2 :][:1], *quick[-1:]))
        told = self._told(self.settling.settled, [(one,) for one in chosen], 0.5, 1.0)
        made = best_of(one for one in told if self._kept(one))
        return [one for one in made if one.seconds <= made[0].seconds + HURRY][-1] if made else None

    def _pool(self, begun: float, done: float) -> list[Candidate]:
        """What passes of every shape for a first draw."""
        every = [
            size
            for shape in shapes_with_guests(self.loose, self.wish.aid, self.wish.rinse)
            for size in shape.sizes()
        ]
        (pool,) = self._tried(every, [self._first_stand_in(every)], begun, done)
        return pool

    def _best(self, pool: list[Candidate]) -> Iterator[Plan]:
        """The best of a first pool, by draws that stand for the chance at both of its ends.

        Each draw has a pool of its own: who is hard to wash in much water is not in little.
        """
        ends = [(one,) for one in self._spread(pool, 2)]
        told = self._told(self.settling.stand_in, ends, 0.25, 0.3)
        stand_ins = [self.settling.one(at) for at in dict.fromkeys(told)]
        pools = self._tried(promising(pool), stand_ins, 0.3, 0.4)
        for i in range(HALVINGS):
            best = [one for pool in pools for one in self._spread(pool, HALVED)]
            done, halved = 0.4 + 0.2 * i / HALVINGS, self._smaller(best)
            more = self._tried(halved, stand_ins, done, done + 0.2 / HALVINGS)
            pools = [pool + new for pool, new in zip(pools, more, strict=True)]
        for i, pool in enumerate(pools):
            begun = 0.6 + 0.4 * i / len(pools)
            yield from self._settled(pool, POINTS // len(pools), begun, begun + 0.4 / len(pools))

    def _settled(
        self, pool: list[Candidate], count: int, begun: float, done: float
    ) -> Iterator[Plan]:
        """Plans of a pool's best; where all draws ask too much, of the next with more water."""
        chosen = self._spread(pool, count, {one.volume for one in self.known})
        for _ in range(TRIES):
            new = [one for one in dict.fromkeys(chosen) if one not in self.known]
            asked = [(one,) for one in new]
            told = self._told(self.settling.settled, asked, begun, done)
            self.known |= zip(new, told, strict=True)
            yield from (self.known[one] for one in chosen)
            wanting = [one for one in chosen if not self._kept(self.known[one])]
            chosen = [richer for one in wanting for richer in self._richer(one, pool)]

    def _richer(self, one: Candidate, pool: list[Candidate]) -> list[Candidate]:
        """The next with more water that takes less time, if there is one."""
        following = [x for x in pool if x.seconds < one.seconds and x.volume > one.volume]
        return self._spread(following, 2)[-1:]

    def _tried(
        self, every: list[Shape], stand_ins: list[Sample], begun: float, done: float
    ) -> list[list[Candidate]]:
        """For each stand-in, shape and number of fillings, the shortest dwell at which it passes.

        It takes the progress from one share to another.
        """
        for shape in every:
            if shape.filled:
                self.fillings.setdefault(shape.emptied, set()).add(shape.filling)
        asked = [(shape, member) for shape in every for member in stand_ins]
        pools: list[list[Candidate]] = [[] for _ in stand_ins]
        told = self._told(self.screening.shortest, asked, begun, done)
        for pool, (found, nearest) in zip(itertools.cycle(pools), told):
            pool += found
            if nearest and (self.nearest is None or nearest[0] < self.nearest[0]):
                self.nearest = nearest
        return pools

    def _told(
        self, work: Callable[..., T], asked: list[tuple[Any, ...]], begun: float, done: float
    ) -> Iterator[T]:
        """What the work finds for each tuple of arguments; the share done goes along."""
        for i, found in enumerate(each(self.executor, work, asked), start=1):
            self.progress(begun + (done - begun) * i / len(asked))
            yield found

    def _smaller(self, best: list[Candidate]) -> list[Shape]:
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
        """From a schedule that spends all the time."""
        for shape in every:
            spare = self.screening.spare(shape.at(shape.brief).timeline)
            if spare > 0:
                return self.settling.first_stand_in(shape, spare)
        return NOMINAL


def ready() -> None:
    """What a process that is to take part can be asked beforehand: it has read in all it needs."""
