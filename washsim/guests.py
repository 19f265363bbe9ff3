"""Where late sheets join a schedule that is planned: all wash without them first, then together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from washsim.candidates import GRAIN, Shape, shapes
from washsim.errors import InputError
from washsim.recipes import Bath, Late, Running, Step
from washsim.scenario import Scenario
from washsim.units import minute

BEFORE = (1, 2, 4)
"""Fillings tried before late sheets come."""


def shapes_with_guests(scenario: Scenario, aid: bool, rinse: bool = True) -> Iterator[Shape]:
    """As `candidates.shapes`; late sheets come when the scenario's own steps have them come.

    Running water waits for them. Fillings do not: some are used up before, of one length and no
    shorter in all than until they come, and they join the first one after.
    """
    if not scenario.late:
        yield from shapes(scenario, aid, rinse)
        return
    come = comes(scenario)
    for shape in shapes(scenario, aid, rinse):
        *before, end = shape.scenario.steps
        if not isinstance(end, Bath | Running):
            continue
        timeline = shape.at(shape.brief).timeline
        begun = timeline.stages[len(before) + 1].start - timeline.stages[1].start
        wait = come - begun
        if isinstance(end, Running) or wait <= shape.brief:
            after = max(wait, scenario.handling.drain)
            yield _joining(shape, scenario.late, (*before, end), after)
        for count in BEFORE if wait > shape.brief else ():
            each = float(GRAIN * np.ceil(wait / count / GRAIN - 1e-9))
            if each >= shape.brief:
                first = Bath(vessel=end.vessel, baths=count, duration=each, begin=end.begin)
                steps = (*before, first, replace(end, begin="fresh"))
                yield _joining(shape, scenario.late, steps, scenario.handling.drain)


def comes(scenario: Scenario) -> float:
    """s from the first sheet leaving the fixer to late ones joining the others; 0 without any.

    InputError where they come at different times, or the scenario's own steps cannot be.
    """
    if not scenario.late:
        return 0.0
    stages = scenario.timeline.stages
    times = {stages[one.step].start + one.after - stages[1].start for one in scenario.late}
    if max(times) - min(times) > GRAIN:
        told = ", ".join(f"{time / minute:.3g}" for time in sorted(times))
        raise InputError(
            f"late: expected sheets that come at one time to plan with, got some at {told} min; "
            "count those that come first among the batch, and let the last join late"
        )
    return max(times)


def _joining(shape: Shape, late: tuple[Late, ...], steps: tuple[Step, ...], after: float) -> Shape:
    """The shape with other steps, the last of which late sheets join so many s after it began."""
    joining = tuple(replace(one, step=len(steps), after=after) for one in late)
    return replace(shape, scenario=replace(shape.scenario, steps=steps, late=joining))
