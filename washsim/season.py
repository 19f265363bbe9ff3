"""All evenings of the log together: each learns from the ones before, less so the more changed.

What is thought of the unknowns after an evening is kept as a normal distribution of their z, lets
go of some of it until the next evening, and is that evening's prior. How much is let go of depends
on whether the paper is the same, and on the time between.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np

from washsim import tables, unknowns
from washsim.engine.space import Array
from washsim.fitting import Belief, Fit, fit, free_layers, untold
from washsim.logbook import Entry
from washsim.observing import observations
from washsim.scenario import Scenario
from washsim.unknowns import Sample

T = TypeVar("T")
_OF_PAPER = ("held_pool", "release", "filling")
YEAR = 365.25
"""Days."""


def fits(
    entries: dict[str, Entry],
    *,
    draws: int = 256,
    progress: Callable[[float], None] | None = None,
) -> dict[str, Fit]:
    """Name -> fit of each evening that has readings, in order of date.

    An evening starts from the last one with the same paper, or else from the last of all.
    """
    read = [(name, one) for name, one in entries.items() if one.tests.readings]
    read.sort(key=lambda pair: pair[1].date)
    found: dict[str, Fit] = {}
    for i, (name, one) in enumerate(read):
        told = None if progress is None else _part(progress, i, len(read))
        seen = observations(one.scenario, one.tests)
        belief = before(one, [(entry, found[key].belief) for key, entry in read[:i]])
        found[name] = fit(one.scenario, seen, belief=belief, draws=draws, progress=told)
    return found


def _part(tell: Callable[[float], None], i: int, parts: int) -> Callable[[float], None]:
    return lambda share: tell((i + share) / parts)


def before(one: Entry, earlier: list[tuple[Entry, Belief]]) -> Belief | None:
    """What earlier evenings, in order of date, let one think of an evening; None without any."""
    if not earlier:
        return None
    last, belief = _last(one, earlier)
    return belief.drifted(_new(belief.names, one, last))


def foretold(
    tonight: Entry,
    entries: dict[str, Entry],
    *,
    progress: Callable[[float], None] | None = None,
) -> tuple[Scenario, Sample, int] | None:
    """Tonight's scenario, draws of its unknowns as earlier evenings leave them, how many those are.

    Tonight's own readings are no part of it, nor is an entry that tonight's corrects. The draws
    are those of the last fit, some of each let go of since. None without an evening to learn from.
    """
    read = {
        name: one
        for name, one in entries.items()
        if one.tests.readings and one.day <= tonight.day and name != tonight.replaces
    }
    if not read:
        return None
    fitted = fits(read, progress=progress)
    last, found = _last(tonight, [(read[name], one) for name, one in fitted.items()])
    names = found.belief.names
    scenario = untold(tonight.scenario)
    asked = {one.name for one in unknowns.unknowns(scenario)} | set(names)
    free = tuple(one for one in free_layers(scenario) if one.name in asked)
    z = unknowns.latent(free, len(found.z), seed=2)
    new = _new(names, tonight, last)
    for i, one in enumerate(free):
        if one.name in names:
            j = names.index(one.name)
            z[:, i] = np.sqrt(1 - new[j] ** 2) * found.z[:, j] + new[j] * z[:, i]
    return scenario, unknowns.sample(free, z), len(read)


def _last(one: Entry, earlier: list[tuple[Entry, T]]) -> tuple[Entry, T]:
    """Of earlier evenings the last with the same paper, or else the last of all."""
    return ([pair for pair in earlier if paper(pair[0]) == paper(one)] or earlier)[-1]


def _new(names: tuple[str, ...], one: Entry, last: Entry) -> Array:
    """(k,) share of each unknown that is new since the last evening."""
    return drift(names, paper(last) == paper(one), (one.day - last.day).days)


def paper(one: Entry) -> tuple[str, ...]:
    """What tells papers apart: the printer's words and the kind."""
    sheet = one.scenario.sheet
    return one.paper.strip().lower(), one.batch.strip().lower(), sheet.paper, sheet.explanation


def drift(names: tuple[str, ...], same_paper: bool, days: float) -> Array:
    """(k,) share d of each unknown that is new after so many days, 0 to 1."""
    key = "same_paper" if same_paper else "other_paper"
    of_paper = tables.datum(f"limits.drift.{key}").value
    year = tables.datum("limits.drift.season").value
    of_sink = min(1.0, year * np.sqrt(max(days, 0.0) / YEAR))
    layers = (".thickness", ".porosity", ".hindrance")
    return np.array(
        [of_paper if name in _OF_PAPER or name.endswith(layers) else of_sink for name in names]
    )
