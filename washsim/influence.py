"""What matters here: how far each number moves the minutes and litres to the target.

A schedule that ends too early is drawn out (more of the same fillings, a longer run of the tap),
so that every change has minutes and litres to show. One number at a time makes a tornado; all
that is unmeasured drawn at once is shared out by the variance it causes (Sobol' indices; Saltelli
and others, Computer Physics Communications 181, 2010, as SciPy computes them).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from washsim import unknowns
from washsim.band import last_crossing, nodes_for, observe
from washsim.engine.space import Array
from washsim.errors import InputError
from washsim.knobs import knobs
from washsim.recipes import Bath, Running, Step
from washsim.run import Run
from washsim.scenario import Scenario
from washsim.solve import ladder
from washsim.timeline import Fill, Lift, Place, Timeline
from washsim.units import amount, gram, minute, rounded
from washsim.unknowns import FIFTH, NOMINAL, Known, Sample

OUTPUTS = 400
"""Times at which a drawn-out schedule is looked at."""
BASE = 128
"""Points of the variance-based ranking before they are crossed; a power of two."""
VERDICTS = (
    (0.05, "hardly matters here"),
    (0.2, "matters a little here"),
    (0.6, "matters here"),
    (np.inf, "matters much here"),
)
"""Change up to which a word holds, relative to the minutes that the last sheet has to wash."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """s from the first sheet leaving the fixer until every sheet is under the target for good,
    m3 of water by then (None: not reached), and kg/m2 of the worst sheet at the schedule's end.
    waited: s until the last sheet has left the fixer, in which no wash can be hurried."""

    seconds: float | None
    volume: float | None
    residual: float
    waited: float = 0.0


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
    with it in any company. left_out: knobs that could not be turned so far, with that end.
    end: s from the first sheet leaving the fixer to the end of the scenario's own steps;
    goes_on: whether the last of them was taken to go on.
    """

    nominal: Outcome
    end: float
    goes_on: bool
    effects: tuple[Effect, ...]
    left_out: tuple[str, ...]
    shares: tuple[tuple[str, float, float], ...]


def influence(
    scenario: Scenario,
    progress: Callable[[float], None] = lambda share: None,
    system: str = "metric",
) -> Influence:
    """Try every unknown and every knob at both ends, and share out the doubt.

    progress is called with the share done; what it raises ends the work. system: units of the
    words for the ends.
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
    turned, left_out = _turned(scenario, nodes, system)
    effects += turned
    progress(0.5)
    runs, washed = BASE * (len(known) + 2), 0

    def logarithm(z: Array) -> Array:
        nonlocal washed
        begun, washed = washed, washed + len(z)

        def tell(share: float) -> None:
            progress(0.5 + 0.5 * (begun + share * len(z)) / runs)

        found = observe(scenario, unknowns.sample(known, z), _end, nodes, tell)
        return np.log(np.maximum(found, 1e-12))

    shares = variance_shares(known, logarithm)
    progress(1.0)
    ranked = sorted(effects, key=lambda one: -swing(one, nominal))
    stages = scenario.timeline.stages
    return Influence(
        nominal=nominal,
        end=stages[-1].stop - stages[1].start,
        goes_on=drawn_out(scenario) != scenario,
        effects=tuple(ranked),
        left_out=left_out,
        shares=shares,
    )


def variance_shares(
    known: tuple[Known, ...], function: Callable[[Array], Array], base: int = BASE
) -> tuple[tuple[str, float, float], ...]:
    """Label, first-order and total Sobol' index of each unknown, largest total first.

    function: (N, k) standard normal z -> (N,).
    """
    if not known:
        return ()
    if len(known) == 1:
        return ((known[0].label, 1.0, 1.0),)
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
    """Change of the minutes between the ends, over those of the last sheet as things stand.

    Where prints come one by one, the minutes until the last has come say nothing of the wash. inf
    where the target is met at one end only; where it is met at neither, change of what the steps
    end with, over that as things stand.
    """
    low, high = effect.at_low, effect.at_high
    met = [one.seconds for one in (low, high) if one.seconds is not None]
    if len(met) == 1:
        return np.inf
    if not met:
        return abs(high.residual - low.residual) / nominal.residual
    last = (nominal.seconds or max(met)) - nominal.waited
    return abs(met[1] - met[0]) / max(1.0, last)


def sentence(effect: Effect, nominal: Outcome, system: str = "metric") -> str:
    """Whether it matters, with the numbers."""
    low, high = (f"{words}, {told(at, system)}" for words, at in ends_of(effect))
    judged = verdict(effect, nominal) + of_water(effect, nominal)
    return f"{effect.label[0].upper()}{effect.label[1:]} {judged}: {low}; {high}."


def verdict(effect: Effect, nominal: Outcome) -> str:
    """Whether it matters, in a word or two."""
    size = swing(effect, nominal)
    return next(words for most, words in VERDICTS if size <= most)


def of_water(effect: Effect, nominal: Outcome) -> str:
    """What is to be added to the verdict where the water changes more than the minutes do."""
    low, high, now = effect.at_low.volume, effect.at_high.volume, nominal.volume
    if low is None or high is None or not now:
        return ""
    places = [
        next(i for i, (most, _) in enumerate(VERDICTS) if size <= most)
        for size in (swing(effect, nominal), abs(high - low) / now)
    ]
    if places[1] <= places[0]:
        return ""
    return f" for the time, {('', 'a little', 'more', 'much')[places[1]]} for the water"


def ends_of(effect: Effect) -> tuple[tuple[str, Outcome], tuple[str, Outcome]]:
    """Both ends, in words and with what comes of them."""
    return (effect.low, effect.at_low), (effect.high, effect.at_high)


def told(outcome: Outcome, system: str = "metric") -> str:
    """Minutes and water to the target, or what the steps end with instead."""
    if outcome.seconds is None or outcome.volume is None:
        return f"not under the target, {rounded(outcome.residual / gram, 2)} g/m² at the end"
    return f"{minutes(outcome.seconds)} min and {amount(outcome.volume, system)}"


def minutes(seconds: float) -> str:
    """Minutes as they are told: whole ones, but two digits of few."""
    shown = seconds / minute
    return rounded(shown, 2) if shown < 10 else f"{shown:.0f}"


def _end(run: Run) -> Array:
    """(M,) kg/m2 of the worst sheet at the end."""
    held = [np.sum(run.slab.capacity * lot.state, axis=1) for lot in run.state.lots]
    found: Array = np.max(held, axis=0)
    return found


def _turned(
    scenario: Scenario, nodes: tuple[str, tuple[int, ...]], system: str
) -> tuple[list[Effect], tuple[str, ...]]:
    """The effects of the knobs; labels of those that could not be tried, and at which end."""
    found, left_out = [], []
    for knob in knobs(scenario, system):
        ends = []
        for end in (knob.low, knob.high):
            try:
                ends.append(_outcomes(scenario.but(end.changes), NOMINAL, nodes)[0])
            except InputError:
                # at this end the evening cannot be carried out
                left_out.append(f"{knob.label} ({end.words})")
                break
        else:
            found.append(
                Effect(
                    label=knob.label,
                    unknown=False,
                    low=knob.low.words,
                    high=knob.high.words,
                    at_low=ends[0],
                    at_high=ends[1],
                )
            )
    return found, tuple(left_out)


def drawn_out(scenario: Scenario) -> Scenario:
    """The same with a last step that goes on: three times the fillings, or four times as long.

    Only a bath or a running wash goes on, at the warmth it ends with, and none of several batches:
    the next would have to wait.
    """
    *before, last = scenario.steps
    if scenario.sheet.batches > 1 or not isinstance(last, Bath | Running):
        return scenario
    steps: tuple[Step, ...] = (_longer(last, 3, 4),)
    if last.temperature_end is not None:
        more = replace(last, temperature=last.temperature_end, temperature_end=None)
        if isinstance(more, Running):
            more = replace(more, begin="kept")
        steps = (last, _longer(more, 2, 3))
    return replace(scenario, steps=(*before, *steps))


def _longer(step: Bath | Running, baths: int, duration: int) -> Step:
    """So many times the fillings, or so many times as long."""
    if isinstance(step, Bath):
        return replace(step, baths=min(60, baths * step.baths))
    return replace(step, duration=min(3000 * minute, duration * step.duration))


def _outcomes(
    scenario: Scenario, sample: Sample, nodes: tuple[str, tuple[int, ...]]
) -> list[Outcome]:
    """What every draw comes to."""
    own, longer = scenario.timeline, drawn_out(scenario)
    timeline = longer.timeline
    start, end = own.stages[1].start, own.stages[-1].stop
    stop = timeline.stages[-1].stop
    # closer together at first: a test strip in much water needs a minute
    early = start + np.geomspace(1.0, stop - start, OUTPUTS // 4)
    times = np.unique([*np.linspace(start, stop, OUTPUTS), *early[:-1], end])

    def see(run: Run) -> Array:
        # a sheet still to come has yet to pass the target
        left = np.array(run.left_fixer)[:, None]
        found: Array = np.where(times < left, np.inf, run.amounts(times)).max(axis=1)
        return found

    worst = observe(longer, sample, see, nodes)
    worst = np.where(np.isinf(worst), np.nanmax(worst[np.isfinite(worst)]), worst)
    crossed = last_crossing(times, worst, scenario.target.limit)
    at_end = worst[:, int(np.searchsorted(times, end))]
    waited = _last_fixed(own, scenario.fixing.baths - 1) - start
    return [
        Outcome(
            seconds=float(at - start) if np.isfinite(at) else None,
            volume=_poured(timeline, float(at)) if np.isfinite(at) else None,
            residual=float(left),
            waited=waited,
        )
        for at, left in zip(crossed, at_end, strict=True)
    ]


def _last_fixed(timeline: Timeline, bath: int) -> float:
    """s at which the last sheet is lifted from the (last) fixing bath."""
    inside: dict[int, int] = {}
    last = 0.0
    for event in timeline.events:
        if isinstance(event, Place):
            inside[event.lot] = event.vessel
        elif isinstance(event, Lift) and inside[event.lot] == bath:
            last = event.at
    return last


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
