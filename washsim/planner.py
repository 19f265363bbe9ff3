"""The least water that meets the target in the time there is, with the chance asked for."""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import replace

import numpy as np

from washsim import cores, tables, unknowns
from washsim.errors import InputError
from washsim.plans import LONGEST, Front, Plan, Wish
from washsim.recipes import Aid, Bath, Running, Step
from washsim.scenario import Scenario
from washsim.search import Progress, Search, ready
from washsim.solve import solve
from washsim.units import celsius, minute
from washsim.unknowns import Sample

WAIT = 4.0
"""How many times the time there is is looked into for the soonest plan, where none fits."""
AS_LONG = 60 * minute
"""How much longer a plan is looked at for it to equal another schedule, s."""


def plan(
    scenario: Scenario,
    wish: Wish,
    sample: Sample | None = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Front:
    """The front of litres against minutes for the scenario's batch, water and vessels.

    sample: draws of what is unknown, by default 256 from its bands. progress is called with the
    share done; what it raises ends the work. executor: what takes long is left to it, such as
    `cores.executor`, which takes all cores; else all is worked out here.
    """
    hottest = tables.datum("limits.caution.temperature_high").si
    if scenario.water.temperature > hottest:
        raise InputError(
            f"water, temperature_c: expected at most {hottest - celsius(0):g} to plan with, "
            f"got {scenario.water.temperature - celsius(0):g}"
        )
    if executor is not None:
        # they begin, and read in what they need, while draws are made here
        for _ in range(cores.MOST):
            executor.submit(ready)
    if sample is None:
        sample = unknowns.draw(everything(scenario, wish.aid))
    tell = progress or (lambda share: None)
    search = Search(scenario, wish, sample, tell, executor)
    found = search.front()
    if found.plans:
        return found
    patient = replace(wish, seconds=min(WAIT * wish.seconds, LONGEST))
    return replace(found, soonest=search.with_wish(patient).soonest())


def everything(scenario: Scenario, aid: bool) -> Scenario:
    """The scenario with steps that touch all a plan may rest on, to ask for its unknowns."""
    brief = tables.datum("limits.planning.least_dwell").si
    steps: list[Step] = [Bath(vessel=one.name, duration=brief) for one in scenario.vessels]
    steps += [Running(vessel=one.name, duration=brief) for one in scenario.vessels if one.flow > 0]
    steps += [Aid(vessel=one.name, duration=brief) for one in scenario.vessels[:1] if aid]
    return replace(scenario, steps=tuple(steps), late=(), stuck=())


def seconds_to_equal(plan: Plan, residual: float) -> float | None:
    """How much longer, s, a plan's last water must act for its worst sheet to end at residual.

    By the scenario as it stands, residual in kg/m2; 0 where it ends there already, None where
    AS_LONG more would not do or the last step cannot be drawn out.
    """
    *before, last = plan.scenario.steps
    if isinstance(last, Bath) and last.baths > 1:
        before.append(replace(last, baths=last.baths - 1))
        last = replace(last, baths=1)
    if not isinstance(last, Bath | Running):
        return None
    drawn_out = replace(last, duration=last.duration + AS_LONG)
    run = solve(replace(plan.scenario, steps=(*before, drawn_out))).run
    more = np.arange(0.0, AS_LONG + 1e-6, 0.25 * minute)
    # the last batch counts, which ends no better than those before it; that its first water, if
    # kept, has stood longer under them makes less than a quarter of a minute (measured)
    worst = run.amounts(run.timeline.stages[-1].stop - AS_LONG + more)[0].max(axis=0)
    enough = worst <= residual
    return float(more[np.argmax(enough)]) if enough.any() else None
