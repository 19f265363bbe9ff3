"""Rival explanations of the slow hour, and the cheap experiment that would tell two apart."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any

import numpy as np

from washsim import tables, unknowns
from washsim.band import observe
from washsim.engine.space import Array
from washsim.fixers import Fixing
from washsim.foretelling import predict
from washsim.observing import Observation
from washsim.papers import Sheet
from washsim.recipes import Aid, Running, Step
from washsim.scenario import Scenario
from washsim.solve import ladder, solve
from washsim.strips import answers, scale
from washsim.units import celsius, litre, litre_per_minute, minute
from washsim.vessels import Vessel

_MINUTES = (5, 10, 15, 20, 30, 45, 60, 90)


@dataclass(frozen=True, slots=True, kw_only=True)
class Test:
    """One strip experiment and what two explanations say a drop would read, kg/m2."""

    what: str
    minutes: float
    first: float
    second: float
    separation: float
    """Difference of the readings' logarithms over the reading's error; below 1 it tells nothing."""


def strip(explanation: str, paper: str = "fibre_double") -> Scenario:
    """One strip soaked in fixer until it is full, washed alone in plenty of moving water."""
    return Scenario(
        title=f"Strip, explained as {explanation}",
        sheet=Sheet(paper=paper, width=0.05, height=0.1, explanation=explanation),
        fixing=Fixing(duration=30 * minute),
        vessels=(
            Vessel(name="tray", volume=20 * litre, flow=4 * litre_per_minute),
            Vessel(name="aid", volume=litre),
        ),
        steps=(Running(vessel="tray", duration=90 * minute),),
    )


_EXPERIMENTS: dict[str, dict[str, Any]] = {
    "double weight, plain wash": {},
    "single weight, plain wash": {"sheet.paper": "fibre_single"},
    "back covered by the tray's floor": {"vessels.tray.open_faces": "front"},
    "cold wash at 7 °C": {"water.temperature": celsius(7)},
    "still water instead of moving": {"vessels.tray.stirring": "still_face_down"},
    "hard instead of soft tap water": {"water.kind": "hard_tap"},
    "fixed one minute instead of soaked": {"fixing.duration": minute},
}
"""What a printer can change without buying anything."""


def _experiments(explanation: str) -> list[tuple[str, Scenario]]:
    """Each experiment's words and its strip, under an explanation."""
    plain = strip(explanation)
    aid: tuple[Step, ...] = (
        Aid(vessel="aid", duration=5 * minute),
        Running(vessel="tray", duration=90 * minute),
    )
    found = [(what, plain.but(changes)) for what, changes in _EXPERIMENTS.items()]
    return [*found, ("five minutes of wash aid first", plain.but(steps=aid))]


def telling_tests(first: str, second: str) -> list[Test]:
    """Experiments that two named explanations would read differently, best first.

    Each is read at the minute that separates them most. A reading under what a drop can show
    counts as that limit: nothing visible is not zero.
    """
    visible = tables.datum("limits.spot_test.visible_low").si
    error = tables.datum("limits.spot_test.reading_error").value
    found = []
    for (what, one), (_, other) in zip(_experiments(first), _experiments(second), strict=True):
        both = []
        for scenario in (one, other):
            result = solve(scenario)
            start = result.run.timeline.stages[-1].start
            times = start + minute * np.array(_MINUTES, dtype=float)
            both.append(np.maximum(result.at(0, times), visible))
        apart = np.abs(np.log(both[0] / both[1])) / error
        best = int(np.argmax(apart))
        found.append(
            Test(
                what=what,
                minutes=_MINUTES[best],
                first=float(both[0][best]),
                second=float(both[1][best]),
                separation=float(apart[best]),
            )
        )
    return sorted(found, key=lambda test: -test.separation)


def chance_to_mistake(separation: float) -> float:
    """Chance that a reading sides with the wrong one of two explanations, normal errors."""
    return 0.5 * math.erfc(separation / 2 / math.sqrt(2))


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Two strips that together tell two explanations apart: what, and minutes of washing.

    mistake: chance that their drops side with the wrong one, equally trusted at first, whatever
    the unmeasured numbers are within their bands; alone: the same for the best single strip.
    """

    strips: tuple[tuple[str, int], tuple[str, int]]
    mistake: float
    alone: float

    @property
    def text(self) -> str:
        (what, minutes), (other, later) = self.strips
        return (
            f"Wash two strips of one paper: one with {what}, taken out after {minutes} min, and "
            f"one with {other}, after {later} min; drop both on one scale. They side with the "
            f"wrong explanation about {100 * self.mistake:.1f} times in 100, the best single strip "
            f"{100 * self.alone:.1f} times: as far as the bands can be trusted."
        )


@lru_cache
def two_strips(first: str, second: str, draws: int = 64, seed: int = 1) -> Plan:
    """The pair of strips whose drops best tell two explanations apart, doubt and all.

    draws: of the unknowns under each explanation, the same for both strips: it is one paper. The
    error of the scale, too, is the same for both. Rests on the tables alone, so it is worked out
    once.
    """
    options = [(what, minutes) for what, _ in _experiments(first) for minutes in _MINUTES]
    seen = [_answers(name, draws, seed) for name in (first, second)]
    joint = [np.einsum("max,mby->abxy", worth[:, None, None] * each, each) for each, worth in seen]
    mistakes = 0.5 * np.minimum(*joint).sum(axis=(2, 3))
    single = [np.einsum("m,max->ax", worth, each) for each, worth in seen]
    alone = 0.5 * np.minimum(*single).sum(axis=1)
    np.fill_diagonal(mistakes, 1.0)
    a, b = np.unravel_index(int(np.argmin(mistakes)), mistakes.shape)
    return Plan(
        strips=(options[a], options[b]),
        mistake=float(mistakes[a, b]),
        alone=float(alone.min()),
    )


def _answers(explanation: str, draws: int, seed: int) -> tuple[Array, Array]:
    """(m, options, K) chance of each answer, and weights (m,) of the members, which sum to 1.

    Members are draws of the unknowns, each with five values of the scale's error.
    """
    scale_error = tables.datum("limits.reading.ladder_error").value
    own = tables.datum("limits.reading.observer_error").value
    biases, weights = np.polynomial.hermite_e.hermegauss(5)
    experiments = _experiments(explanation)
    free = {one.name: one for _, each in experiments for one in unknowns.unknowns(each)}
    z = dict(zip(free, unknowns.latent(tuple(free.values()), draws, seed).T, strict=True))
    found = []
    for _, scenario in experiments:
        known = unknowns.unknowns(scenario)
        sample = unknowns.sample(known, np.stack([z[one.name] for one in known], axis=1))
        start = scenario.timeline.stages[-1].start
        look = partial(predict, seen=tuple(_look(start + minute * after) for after in _MINUTES))
        # the roughest nodes are three in a hundred off at most, where a drop is read to fifty
        roughest = ladder("auto", scenario.sheet.material, rough=True)[0]
        residual = observe(scenario, sample, look, roughest)
        found.append(np.log(np.maximum(residual, 1e-9)))
    logs = np.concatenate(found, axis=1)
    each = answers(logs[:, None, :] + scale_error * biases[:, None], scale(), own)
    worth = np.tile(weights / weights.sum() / draws, draws)
    return each.reshape(-1, *each.shape[2:]), worth


def _look(at: float) -> Observation:
    return Observation(what="whole", lot=0, at=at, low=0.0, high=1.0, own=1.0, shared=0.0)
