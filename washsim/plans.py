"""What a planner is asked and what it answers; a plan is a scenario, ready to be run."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np

from washsim import wording
from washsim.candidates import GRAIN, Shape, at_once, covers, describe
from washsim.errors import InputError
from washsim.moves import Clash, clashes, moves
from washsim.scenario import Scenario
from washsim.units import minute
from washsim.unknowns import Sample

APART = 0.05
"""Part by which plans of one front differ in water at least."""
LONGEST = 24 * 60 * minute
"""Longest time that can be asked for, s."""


HANDS = "Schedules in which one pair of hands could not keep up were left out."


def too_small(scenario: Scenario, system: str = "metric") -> str:
    """Which vessels nothing was planned in with all prints together, in a sentence; else empty."""
    count, sheet = at_once(scenario), scenario.sheet
    return " ".join(
        f"{one.name!r} holds {wording.amount(one.volume, 'l', system)}, too little to cover "
        f"{count} prints, which takes "
        f"{wording.amount(one.least_water(sheet, count), 'l', system)}: they were not planned "
        f"to lie in it together."
        for one in scenario.vessels
        if not covers(one, scenario)
    )


def too_short(scenario: Scenario) -> bool:
    """Whether it is the time that leaves no schedule at all to try, not the vessels."""
    return any(covers(one, scenario) for one in scenario.vessels)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What is asked for.

    seconds from the first sheet leaving the fixer to the last leaving the water; chance that the
    worst sheet ends at or under the target divided by margin; aid: whether one is at hand;
    rinse: whether prints may be rinsed before anything else.
    """

    seconds: float
    chance: float = 0.9
    margin: float = 1.0
    aid: bool = False
    rinse: bool = True

    def __post_init__(self) -> None:
        if not 0 < self.seconds <= LONGEST:
            raise InputError(
                f"minutes: expected more than 0 and at most {LONGEST / minute:g}, "
                f"got {self.seconds / minute:g}"
            )
        if not 0 < self.chance < 1:
            raise InputError(f"chance: expected more than 0 and less than 1, got {self.chance:g}")
        if not 1 <= self.margin <= 1000:
            raise InputError(f"margin: expected 1 to 1000, got {self.margin:g}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A schedule, what it takes and what comes of it.

    seconds as in `Wish`; volume m3 of fresh water; chance of meeting the target; residual, kg/m2,
    that the worst sheet stays under with the chance wished for.
    """

    scenario: Scenario
    seconds: float
    volume: float
    chance: float
    residual: float

    @property
    def overlaps(self) -> tuple[Clash, ...]:
        """Where one pair of hands cannot keep up with it."""
        return clashes(moves(self.scenario))

    def words(self, system: str = "metric") -> str:
        """Its steps in one line."""
        return describe(self.scenario, system)


@dataclass(frozen=True, slots=True, kw_only=True)
class Front:
    """Plans from the quickest to the one with least water; `own` is the user's own schedule.

    Where there is no plan, `closest` comes nearest within the time, and `soonest` meets the wish
    in the least time found (None: not in WAIT times the time either). hands: whether schedules that
    would do were left out because one pair of hands could not keep up.
    """

    wish: Wish
    own: Plan
    plans: tuple[Plan, ...]
    closest: Plan | None
    soonest: Plan | None
    hands: bool
    sample: Sample

    @property
    def chance_error(self) -> float:
        """Standard error of a share that is as large as the chance asked for."""
        chance = self.wish.chance
        return float(np.sqrt(chance * (1 - chance) / self.sample.members))


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A shape with so many fillings of one dwell, s; seconds, volume as in `Plan`."""

    shape: Shape
    dwell: float
    fillings: int
    seconds: float
    volume: float


class Taking(Protocol):
    """What takes time, s, and water, m3."""

    @property
    def seconds(self) -> float: ...

    @property
    def volume(self) -> float: ...


T = TypeVar("T", bound=Taking)


def best_of(found: Iterable[T]) -> list[T]:
    """Those that no other beats in both minutes and litres, quickest first."""
    kept: list[T] = []
    for one in sorted(found, key=lambda one: (one.seconds, one.volume)):
        if not kept or one.volume < kept[-1].volume:
            kept.append(one)
    return kept


def spread(pool: Iterable[Candidate], count: int, taken: Iterable[float] = ()) -> list[Candidate]:
    """Of those that no other beats in time and water, so many, far apart in water, quickest first.

    Far apart from each other and from volumes already taken, m3, by a twentieth at least.
    """
    best = best_of(pool)
    places = np.log([one.volume for one in best])
    known, chosen = list(np.log(list(taken))), set[int]()
    while best and len(chosen) < count:
        # the quickest stands first where there is nothing to be far from
        away = np.abs(places[:, None] - known).min(axis=1) if known else np.arange(len(best))[::-1]
        at = int(np.argmax(away))
        if known and away[at] < APART:
            break
        chosen.add(at)
        known.append(places[at])
    return [best[i] for i in sorted(chosen)]


def promising(pool: list[Candidate]) -> list[Shape]:
    """Shapes of candidates that take at most half as much water again as the best as quick."""
    found: list[Shape] = []
    for one in pool:
        best = min(x.volume for x in pool if x.seconds <= one.seconds + GRAIN)
        if one.volume <= 1.5 * best and one.shape not in found:
            found.append(one.shape)
    return found
