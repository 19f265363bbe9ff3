"""Does a reading agree with the prediction, what may be the cause if not, who explains it best."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from washsim import tables
from washsim.band import observe
from washsim.errors import InputError
from washsim.fitting import Fit, fit
from washsim.foretelling import predict
from washsim.observing import Observation, observations
from washsim.papers import EXPLANATIONS
from washsim.readings import Drip, Drop, Laboratory, Reading, Tests
from washsim.recipes import Running, Stuck
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.units import minute
from washsim.unknowns import NOMINAL

_DRAWS = 64
"""Of a fit that is only weighed: they tell its evidence to a tenth, and three times is a lean."""
PRESETS = tuple(name for name in EXPLANATIONS if name != "own")


@dataclass(frozen=True, slots=True)
class Score:
    """One reading against what was predicted, kg/m2 or kg/m3.

    z: distance of their logarithms over the standard error of both; positive where the reading is
    higher; 0 where an open reading allows the prediction.
    """

    seen: Observation
    predicted: float
    z: float

    @property
    def word(self) -> str:
        if abs(self.z) > tables.datum("limits.score.disagrees").value:
            return "disagrees"
        return "doubtful" if abs(self.z) > tables.datum("limits.score.doubtful").value else "agrees"


def score(seen: Observation, predicted: float, model_error: float | None = None) -> Score:
    """z = ln(reading / model) over the root of both variances.

    model_error: standard error of ln(model); else the table's, for a model never calibrated.
    """
    if model_error is None:
        model_error = tables.datum("limits.reading.model_error").value
    off = math.log(seen.middle / predicted)
    if (seen.low == 0.0 and off > 0) or (math.isinf(seen.high) and off < 0):
        off = 0.0
    return Score(seen, predicted, off / math.hypot(seen.spread, model_error))


def scores(scenario: Scenario, seen: tuple[Observation, ...]) -> tuple[Score, ...]:
    """Each reading against the scenario as it stands."""
    return tuple(score(one, p) for one, p in zip(seen, _predicted(scenario, seen), strict=True))


def scores_after(result: Fit) -> tuple[Score, ...]:
    """Each reading against the draws that were fitted to all of them, and their own spread."""
    logs = np.log(result.predicted)
    return tuple(
        score(one, float(np.exp(middle)), float(spread))
        for one, middle, spread in zip(
            result.seen, np.median(logs, axis=0), logs.std(axis=0), strict=True
        )
    )


def unreachable(result: Fit) -> tuple[Score, ...]:
    """Readings that no value within the bands leads to: a cause is missing, not a number."""
    return tuple(one for one in scores_after(result) if one.word == "disagrees")


def _predicted(scenario: Scenario, seen: tuple[Observation, ...]) -> list[float]:
    """What the scenario as it stands says each reading should be; a run is 1e-4 off at most."""
    space = solve(scenario).run.slab.space
    nodes = (space.family, space.intervals)
    found = observe(scenario, NOMINAL, lambda run: predict(run, seen), nodes)[0]
    return [max(float(one), 1e-9) for one in found]


@dataclass(frozen=True, slots=True)
class Cause:
    """What may be behind a disagreement; tried: whether a run showed that it can be."""

    text: str
    tried: bool


def causes(scenario: Scenario, tests: Tests, number: int) -> tuple[Cause, ...]:
    """What to look into before the model is changed, for reading `number` (from 1).

    First what may be wrong with the reading itself; then mishaps that, put into the scenario and
    run, lead to the reading, with the extent that would be needed. What none of them explains
    is left to the paper: refit.
    """
    one = tests.readings[number - 1]
    alone = Tests(ladder=tests.ladder, readings=(one,))
    now = scores(scenario, observations(scenario, alone))[0]
    found = [Cause(text, False) for text in _of_reading(one, higher=now.z > 0)]
    if now.z == 0.0:
        return tuple(found)
    for mishap in _mishaps(scenario, one, higher=now.z > 0):
        needed = _needed(mishap, alone, now)
        if needed is not None:
            found.append(Cause(mishap.text.format(needed), True))
    if now.z > 0 and scenario.fixer_silver > tables.datum("limits.silver.limit_one_bath").si:
        text = "the fixer was spent: test for silver as well, no wash removes it"
        found.append(Cause(text, False))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Mishap:
    """text with a place for the extent; the scenario with so much of it; the most there can be."""

    text: str
    scenario: Callable[[float], Scenario]
    most: float


def _needed(mishap: _Mishap, alone: Tests, now: Score) -> float | None:
    """The extent at which a mishap leads to the reading; None if it does not get there."""

    def off(extent: float) -> float:
        changed = mishap.scenario(extent)
        (seen,) = observations(changed, alone)
        return math.log(seen.middle / _predicted(changed, (seen,))[0]) * math.copysign(1, now.z)

    low, high = 0.0, mishap.most
    try:
        if off(high) > 0:
            return None
        for _ in range(8):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if off(middle) > 0 else (low, middle)
    except InputError:
        return None  # it cannot happen in this scenario
    return high


def _of_reading(one: Reading, higher: bool) -> list[str]:
    """What may be wrong with the reading itself."""
    found = []
    if isinstance(one, Drop):
        if one.late:
            found.append("the drop was looked at late: blank paper darkens too")
        if one.blank == "stained":
            found.append("the blank is stained: reagent or light, repeat with fresh reagent")
        elif one.blank == "none":
            found.append("no blank was dropped: do so, on paper known to be washed")
        if not higher:
            found.append("old reagent shows too little: repeat with fresh reagent")
    if isinstance(one, Laboratory) and one.age is not None:
        longest = tables.datum("limits.reading.laboratory_age").si
        if one.age > longest:
            found.append(f"the sample was older than {longest / 86400:.0f} days")
    if isinstance(one, Drip):
        found.append("other things in tap water use permanganate up: drip tap water alone")
    return found


def _mishaps(scenario: Scenario, one: Reading, higher: bool) -> list[_Mishap]:
    """What can happen at a sink."""
    fixed, warm = scenario.fixing.duration, scenario.water.temperature

    def fixed_for(seconds: float) -> Scenario:
        return scenario.but({"fixing.duration": seconds})

    def water_at(kelvin: float) -> Scenario:
        return scenario.but({"water.temperature": kelvin})

    if not higher:
        return [
            _Mishap("fixed {:.0f} s less than thought", lambda x: fixed_for(fixed - x), fixed - 1),
            _Mishap("water {:.0f} K warmer than thought", lambda x: water_at(warm + x), 10.0),
            _Mishap("a paper {:.0f} % thinner than thought", lambda x: _thinner(scenario, x), 40.0),
        ]
    found = [
        _Mishap(
            "exchange of the running water {:.0f} % less than thought: fade a dye",
            lambda x: _less_exchange(scenario, x),
            95.0,
        ),
        _Mishap("fixed {:.0f} s longer than thought", lambda x: fixed_for(fixed + x), 10 * minute),
        _Mishap("water {:.0f} K colder than thought", lambda x: water_at(warm - x), 10.0),
        _Mishap("a paper {:.0f} % thicker than thought", lambda x: _thinner(scenario, -x), 40.0),
    ]
    longest = _longest(scenario)
    if longest is None:
        return found
    step, seconds = longest
    covered = _Mishap(
        f"a face covered for {{:.0f}} min of step {step}: flat on the bottom, on a wall, or stuck "
        "to a print",
        lambda x: _covered(scenario, one.sheet, step, x * minute),
        seconds / minute,
    )
    return [covered, *found]


def _less_exchange(scenario: Scenario, percent: float) -> Scenario:
    running = {step.vessel for step in scenario.steps if isinstance(step, Running)}
    share = 1 - percent / 100
    return scenario.but(
        {
            f"vessels.{v.name}.exchange_efficiency": share * v.exchange_efficiency
            for v in scenario.vessels
            if v.name in running
        }
    )


def _thinner(scenario: Scenario, percent: float) -> Scenario:
    paper = scenario.sheet.material
    share = 1 - percent / 100
    layers = tuple(replace(x, thickness=share * x.thickness) for x in paper.layers)
    sheet = replace(scenario.sheet, paper="own", layers=layers, explanation="own")
    return replace(scenario, sheet=sheet)


def _longest(scenario: Scenario) -> tuple[int, float] | None:
    """The step in which sheets lie longest in one vessel, and for how many seconds."""
    stages = [s for s in scenario.timeline.stages if s.step > 0 and len(s.basins) == 1]
    if not stages:
        return None
    longest = max(stages, key=lambda stage: stage.stop - stage.start)
    return longest.step, longest.stop - longest.start


def _covered(scenario: Scenario, sheet: int, step: int, seconds: float) -> Scenario:
    if seconds < 1:
        return scenario
    stuck = Stuck(sheet=sheet, how="back_to_wall", step=step, duration=seconds)
    return replace(scenario, stuck=(*scenario.stuck, stuck))


@dataclass(frozen=True, slots=True)
class Explained:
    """The readings under one explanation: its fit and its share of the evidence, 0 to 1.

    Shares are worth as much as the bands they start from, and as equal trust before any reading.
    """

    name: str
    fit: Fit
    share: float


def explanations(
    scenario: Scenario,
    tests: Tests,
    *,
    draws: int = _DRAWS,
    seed: int = 1,
    own: Fit | None = None,
    progress: Callable[[float], None] | None = None,
) -> tuple[Explained, ...]:
    """The same readings fitted under each explanation, best first.

    own: a fit of them that began from the tables, under the scenario's own explanation, if there is
    one already.
    """
    if scenario.sheet.explanation == "own":
        raise InputError(f"explanation: expected {', '.join(PRESETS)} for a comparison, got 'own'")
    found = []
    for i, name in enumerate(PRESETS):
        told = None if progress is None else _part(progress, i, len(PRESETS))
        if own is not None and name == own.scenario.sheet.explanation:
            found.append(own)
            continue
        changed = scenario.but({"sheet.explanation": name})
        seen = observations(changed, tests)
        found.append(fit(changed, seen, draws=draws, seed=seed, progress=told))
    logs = np.array([one.log_evidence for one in found])
    worth = np.exp(logs - logs.max())
    shares = worth / worth.sum()
    pairs = zip(PRESETS, found, shares, strict=True)
    listed = [Explained(name, one, float(share)) for name, one, share in pairs]
    return tuple(sorted(listed, key=lambda one: -one.share))


def _part(tell: Callable[[float], None], i: int, parts: int) -> Callable[[float], None]:
    return lambda share: tell((i + share) / parts)


def verdict(found: tuple[Explained, ...]) -> str:
    """Which explanation the readings prefer, in honest words."""
    first, second = found[0], found[1]
    ratio = first.share / max(second.share, 1e-12)
    if ratio < tables.datum("limits.evidence.leans").value:
        alike = [
            one.name
            for one in found
            if first.share / max(one.share, 1e-12) < tables.datum("limits.evidence.leans").value
        ]
        names = " and ".join(f"'{name}'" for name in alike)
        return f"These readings cannot tell: {names} foretell them about equally well."
    clear = ratio >= tables.datum("limits.evidence.clear").value
    word = "clearly prefer" if clear else "lean towards"
    return (
        f"These readings {word} '{first.name}': it foretells them {ratio:.0f} times better than "
        f"'{second.name}'. That rests on the bands in the tables."
    )
