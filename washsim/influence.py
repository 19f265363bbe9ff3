"""What matters here: how far each number moves the minutes and litres to the target.

A schedule that ends too early is drawn out (more of the same fillings, a longer run of the tap),
so that every change has minutes and litres to show. One number at a time makes a tornado; all
that is unmeasured drawn at once is shared out by the variance it causes (Sobol' indices; Saltelli
and others, Computer Physics Communications 181, 2010, as SciPy computes them).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from washsim import unknowns
from washsim.band import last_crossing, nodes_for, observe
from washsim.engine.space import Array
from washsim.errors import InputError
from washsim.liquids import STIRRINGS
from washsim.recipes import Bath, Drain, Running, Step
from washsim.run import Run
from washsim.scenario import Scenario
from washsim.solve import ladder
from washsim.timeline import Fill, Timeline
from washsim.units import celsius, litre, minute, rounded
from washsim.unknowns import FIFTH, NOMINAL, Known, Sample

OUTPUTS = 400
"""Times at which a drawn-out schedule is looked at."""
BASE = 64
"""Points of the variance-based ranking before they are crossed; a power of two."""
VERDICTS = (
    (0.05, "hardly matters here"),
    (0.2, "matters a little here"),
    (0.6, "matters here"),
    (np.inf, "matters much here"),
)
"""Relative change of the minutes up to which a word holds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """s from the first sheet leaving the fixer until every sheet is under the target for good,
    m3 of water by then (None: not reached), and kg/m2 of the worst sheet at the schedule's end."""

    seconds: float | None
    volume: float | None
    residual: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """One number at both ends of its band; unknown: nobody has measured it, else a knob."""

    label: str
    unknown: bool
    low: str
    high: str
    at_low: Outcome
    at_high: Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Influence:
    """As things stand, the effects with the strongest first, and each unknown's share.

    shares: label, share of the variance of the residual's logarithm that goes with it alone, and
    with it in any company.
    """

    nominal: Outcome
    effects: tuple[Effect, ...]
    shares: tuple[tuple[str, float, float], ...]


def influence(
    scenario: Scenario, progress: Callable[[float], None] = lambda share: None
) -> Influence:
    """Try every unknown and every knob at both ends, and share out the doubt.

    progress is called with the share done; what it raises ends the work.
    """
    known = unknowns.unknowns(scenario)
    rungs = ladder(scenario.settings.nodes, scenario.sheet.material)
    nodes, _ = nodes_for(scenario, unknowns.draw(scenario, 16), rungs)
    progress(0.1)
    z = np.zeros((1 + 2 * len(known), len(known)))
    for i in range(len(known)):
        z[1 + 2 * i, i], z[2 + 2 * i, i] = -FIFTH, FIFTH
    nominal, *pairs = _outcomes(scenario, unknowns.sample(known, z), nodes)
    effects = [
        Effect(
            label=one.label,
            unknown=True,
            low=one.ends[0],
            high=one.ends[1],
            at_low=pairs[2 * i],
            at_high=pairs[2 * i + 1],
        )
        for i, one in enumerate(known)
    ]
    progress(0.3)
    effects += _knobs(scenario, nodes)
    progress(0.5)

    def logarithm(z: Array) -> Array:
        progress(0.6)
        found = observe(scenario, unknowns.sample(known, z), _end, nodes)
        return np.log(np.maximum(found, 1e-12))

    shares = variance_shares(known, logarithm)
    progress(1.0)
    ranked = sorted(effects, key=lambda one: -swing(one, nominal))
    return Influence(nominal=nominal, effects=tuple(ranked), shares=shares)


def variance_shares(
    known: tuple[Known, ...], function: Callable[[Array], Array], base: int = BASE
) -> tuple[tuple[str, float, float], ...]:
    """Label, first-order and total Sobol' index of each unknown, largest total first.

    function: (N, k) standard normal z -> (N,).
    """
    if not known:
        return ()
    from scipy import stats  # slow to import, and a plain run needs none of it

    found = stats.sobol_indices(
        func=lambda z: function(z.reshape(len(known), -1).T).reshape(1, *z.shape[1:]),
        n=base,
        dists=[stats.norm()] * len(known),
        rng=np.random.default_rng(1),
    )
    alone, total = np.ravel(found.first_order), np.ravel(found.total_order)
    rows = [
        (one.label, float(np.clip(a, 0, 1)), float(np.clip(t, 0, 1)))
        for one, a, t in zip(known, alone, total, strict=True)
    ]
    return tuple(sorted(rows, key=lambda row: -row[2]))


def swing(effect: Effect, nominal: Outcome) -> float:
    """Change of the minutes between the ends, over the minutes as things stand.

    inf where the target is met at one end only; 0 where it is met nowhere.
    """
    ends = [effect.at_low.seconds, effect.at_high.seconds]
    met = [seconds for seconds in ends if seconds is not None]
    if len(met) < len(ends):
        return np.inf if met else 0.0
    return abs(met[1] - met[0]) / (nominal.seconds or max(met))


def sentence(effect: Effect, nominal: Outcome) -> str:
    """Whether it matters, with the numbers."""
    size = swing(effect, nominal)
    verdict = next(words for most, words in VERDICTS if size <= most)
    return (
        f"{effect.label.capitalize()} {verdict}: {effect.low} {_told(effect.at_low)}, "
        f"{effect.high} {_told(effect.at_high)}."
    )


def _told(outcome: Outcome) -> str:
    if outcome.seconds is None or outcome.volume is None:
        return "never under the target"
    return f"{outcome.seconds / minute:.0f} min and {rounded(outcome.volume / litre)} L"


def _end(run: Run) -> Array:
    """(M,) kg/m2 of the worst sheet at the end."""
    held = [np.sum(run.slab.capacity * lot.state, axis=1) for lot in run.state.lots]
    found: Array = np.max(held, axis=0)
    return found


def _knobs(scenario: Scenario, nodes: tuple[str, tuple[int, ...]]) -> list[Effect]:
    found = []
    for label, low, high, paths in knobs(scenario):
        try:
            ends = [
                _outcomes(scenario.but(dict.fromkeys(paths, end)), NOMINAL, nodes)[0]
                for end in (low[1], high[1])
            ]
        except InputError:
            continue  # at an end this evening cannot be carried out
        found.append(
            Effect(
                label=label,
                unknown=False,
                low=low[0],
                high=high[0],
                at_low=ends[0],
                at_high=ends[1],
            )
        )
    return found


End = tuple[str, Any]


def knobs(scenario: Scenario) -> Iterator[tuple[str, End, End, tuple[str, ...]]]:
    """(label, low end, high end, paths) of what the printer can turn, for the last wash water."""
    fixing, sheet = scenario.fixing, scenario.sheet
    halved, doubled = fixing.duration / 2, fixing.duration * 2
    yield (
        "fixing time",
        (f"{halved:.0f} s", halved),
        (f"{doubled:.0f} s", doubled),
        ("fixing.duration",),
    )
    yield (
        "temperature of the water",
        ("7 °C", celsius(7)),
        ("25 °C", celsius(25)),
        ("water.temperature",),
    )
    few, many = max(1, sheet.count // 2), min(200, sheet.count * 2)
    yield ("number of prints", (f"{few}", few), (f"{many}", many), ("sheet.count",))
    yield ("draining", ("0 s", 0.0), ("30 s", 30.0), ("handling.drain",))
    yield (
        "kind of water",
        ("demineralised", "demineralised"),
        ("hard", "hard_tap"),
        ("water.kind",),
    )
    last = _last_wash(scenario)
    vessel = next(one for one in scenario.vessels if one.name == last.vessel)
    path = f"vessels.{vessel.name}"
    if vessel.film is None and vessel.stirring in STIRRINGS:
        still, turned = ("lying still", "still_face_up"), ("face down", "still_face_down")
        yield ("agitation", still, ("brisk", "brisk"), (f"{path}.stirring",))
        yield ("density (face up or down, nothing moved)", still, turned, (f"{path}.stirring",))
    half, double = vessel.volume / 2, vessel.volume * 2
    yield (
        "volume of a filling",
        (f"{rounded(half / litre)} L", half),
        (f"{rounded(double / litre)} L", double),
        (f"{path}.volume",),
    )
    if isinstance(last, Running):
        low, high = vessel.flow / 2, vessel.flow * 2
        yield (
            "flow",
            (f"{rounded(low / litre * minute)} L/min", low),
            (f"{rounded(high / litre * minute)} L/min", high),
            (f"{path}.flow",),
        )


def _last_wash(scenario: Scenario) -> Any:
    wet = [step for step in scenario.steps if not isinstance(step, Drain)]
    if not wet:
        raise InputError("steps: expected one in water")
    return wet[-1]


def drawn_out(scenario: Scenario) -> Scenario:
    """The same with a last step that goes on: three times the fillings, or four times as long."""
    *before, last = scenario.steps
    longer: Step = last
    if isinstance(last, Bath):
        longer = replace(last, baths=min(60, 3 * last.baths), temperature_end=None)
    elif isinstance(last, Running):
        longer = replace(last, duration=min(3000 * minute, 4 * last.duration), temperature_end=None)
    return replace(scenario, steps=(*before, longer))


def _outcomes(
    scenario: Scenario, sample: Sample, nodes: tuple[str, tuple[int, ...]]
) -> list[Outcome]:
    """What every draw comes to."""
    own, longer = scenario.timeline, drawn_out(scenario)
    timeline = longer.timeline
    start, end = own.stages[1].start, own.stages[-1].stop
    times = np.union1d(np.linspace(start, timeline.stages[-1].stop, OUTPUTS), [end])

    def see(run: Run) -> Array:
        # a sheet still to come has yet to pass the target
        left = np.array(run.left_fixer)[:, None]
        found: Array = np.where(times < left, np.inf, run.amounts(times)).max(axis=1)
        return found

    worst = observe(longer, sample, see, nodes)
    worst = np.where(np.isinf(worst), np.nanmax(worst[np.isfinite(worst)]), worst)
    crossed = last_crossing(times, worst, scenario.target.limit)
    at_end = worst[:, int(np.searchsorted(times, end))]
    return [
        Outcome(
            seconds=float(at - start) if np.isfinite(at) else None,
            volume=_poured(timeline, float(at)) if np.isfinite(at) else None,
            residual=float(left),
        )
        for at, left in zip(crossed, at_end, strict=True)
    ]


def _poured(timeline: Timeline, until: float) -> float:
    """m3 of fresh water filled and run up to a time, s."""
    steps = {stage.step for stage in timeline.stages if stage.step > 0}
    filled = sum(
        event.volume
        for event in timeline.events
        if isinstance(event, Fill) and event.step in steps and event.at < until
    )
    ran = sum(
        rate * max(0.0, min(stop, until) - start)
        for step in steps
        for _, start, stop, rate in timeline.runs(step)
    )
    return filled + ran
