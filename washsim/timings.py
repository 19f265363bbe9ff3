"""One schedule at many timings: candidates that differ only in durations, solved side by side.

Event times follow the durations of steps linearly as long as their order stays the same, so a
timeline for each of many candidates costs a product of matrices, and one march carries them all:
with one paper and one filling the modes of every bath are shared by all candidates.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from washsim import aid
from washsim import timeline as happening
from washsim.engine import march
from washsim.engine.space import Array, Slab
from washsim.errors import InputError
from washsim.scenario import Scenario, value_at
from washsim.solve import Nodes, time_tolerance
from washsim.translate import build_slab, engine_lots, thiosulfate, translate
from washsim.units import minute
from washsim.unknowns import NOMINAL, Sample


@dataclass(frozen=True)
class Followed:
    """S candidates, F fillings of the last step (one where the tap runs).

    ends (S, F) s: when each of these fillings ends; worst (S, F) kg/m2: what the worst sheet then
    holds, which is where it would end had the step that many fillings.
    """

    ends: Array
    worst: Array


def follow(
    scenario: Scenario,
    knobs: tuple[str, ...],
    values: Array,
    nodes: Nodes,
    member: Sample = NOMINAL,
) -> Followed:
    """Wash at durations values (S, K), s, of the steps named by knobs ('steps.2.duration').

    member is a sample of one. InputError where the durations would change the order of events.
    """
    paper, apart = scenario.sheet.material, marched_apart(scenario)
    if apart:
        member = member.part(np.zeros(len(values), dtype=int))
    sheet = build_slab(paper, *nodes, member)
    first = _with(scenario, knobs, values[0])
    timeline = first.timeline
    times = _times(first, knobs, values)
    species = thiosulfate(scenario, paper)
    lots = engine_lots(scenario, timeline, member.members)
    tanks, tolerance = len(timeline.basins), time_tolerance(scenario)
    state = march.March([sheet], lots, tanks, member.members, tolerance)
    sulfite = aid.beside(first, timeline, sheet, member)
    marks = _renewals(timeline)
    ends, worst = [times[-1]], []
    for i, event in enumerate(timeline.events):
        at = times[i] if apart else _collapsed(times[i])
        for release in sulfite.until(event, at) if sulfite else ():
            _run(state, release)
        happens = translate(first, timeline, paper, species, event, member)
        _run(state, replace(happens, at=at))
        if i in marks:
            ends.insert(-1, times[i])
            worst.append(_worst(state, sheet, len(values)))
    worst.append(_worst(state, sheet, len(values)))
    return Followed(np.stack(ends, axis=1), np.stack(worst, axis=1))


def marched_apart(scenario: Scenario) -> bool:
    """Whether candidates share no modes: their steps in time are their own.

    So it is with held fixer that fills up, films that fixer stirs and tanks in a row.
    """
    return (
        any(layer.saturation is not None for layer in scenario.sheet.material.layers)
        or any(getattr(step, "slots", 1) > 1 for step in scenario.steps)
        or any(vessel.stirring == "still" for vessel in scenario.vessels)
    )


def _with(scenario: Scenario, knobs: tuple[str, ...], row: Array) -> Scenario:
    return scenario.but(dict(zip(knobs, map(float, row), strict=True)))


def _times(first: Scenario, knobs: tuple[str, ...], values: Array) -> Array:
    """(E + 1, S) s of every event and of the end, for every candidate."""
    base = first.timeline
    times = np.repeat(_moments(base)[:, None], len(values), axis=1)
    for knob, column in zip(knobs, values.T, strict=True):
        moved = first.but({knob: value_at(first, knob) + minute}).timeline
        slope = (_moments(moved) - _moments(base)) / minute
        times = times + slope[:, None] * (column - column[0])
    for at in (int(np.argmin(values.sum(axis=1))), int(np.argmax(values.sum(axis=1)))):
        exact = _with(first, knobs, values[at]).timeline
        alike = [_kind(e) for e in exact.events] == [_kind(e) for e in base.events]
        if not alike or not np.allclose(_moments(exact), times[:, at], rtol=0, atol=1e-6):
            raise InputError("durations: expected ones that keep the order of events")
    return times


def _moments(timeline: happening.Timeline) -> Array:
    return np.array([event.at for event in timeline.events] + [timeline.stages[-1].stop])


def _kind(event: happening.Event) -> tuple[type, int]:
    lot = getattr(event, "lot", None)
    return type(event), event.vessel if lot is None else lot  # type: ignore[union-attr]


def _renewals(timeline: happening.Timeline) -> list[int]:
    """Numbers of the events that end a filling of the last step with all sheets in it."""
    last = timeline.stages[-1]
    full = max(event.at for event in timeline.events if isinstance(event, happening.Place))
    return [
        i
        for i, event in enumerate(timeline.events)
        if isinstance(event, happening.Dump)
        and event.step == last.step
        # that which begins the step ends no filling of it
        and event.at > max(full, last.start + 1e-6)
    ]


def _run(state: march.March, event: march.Event) -> None:
    for _ in state.run([event]):
        pass


def _collapsed(at: Array) -> Array:
    """(1,) where all candidates agree: what they share is then computed once."""
    return at[:1] if np.all(at == at[0]) else at


def _worst(state: march.March, sheet: Slab, count: int) -> Array:
    """(S,) kg/m2 of the lot that holds most."""
    held = [np.sum(sheet.capacity * lot.state, axis=1) for lot in state.lots]
    return np.broadcast_to(np.max(np.broadcast_arrays(*held), axis=0), (count,))
