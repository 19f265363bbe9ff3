"""Schedules side by side in words: what differs between them, and what came of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from washsim import tables
from washsim.band import BAND, Band
from washsim.fields import Choice, Part, Quantity, Text, declared
from washsim.recipes import Aid, Bath, Drain, Hold, Rinse, Running, Step, Transfer
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.units import UNITS, in_system, kilowatt_hour, litre, micrometre, minute, rounded
from washsim.vessels import Vessel

LETTERS = "ABCD"
"""What the words call the schedules, in order."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a comparison: what it is about, and its words for each schedule."""

    what: str
    values: tuple[str, ...]
    meaning: str = ""


PARTS = ("sheet", "fixing", "water", "handling", "target")


def said(value: float, suffix: str, system: str, digits: int = 6) -> str:
    """An SI value with its unit, the metric unit of that suffix or what a system has for it."""
    unit = in_system(UNITS[suffix], system)
    return f"{rounded(unit.from_si(value), digits if unit is UNITS[suffix] else 3)} {unit.label}"


def differences(scenarios: Sequence[Scenario], system: str = "metric") -> list[Row]:
    """What is not the same in all of them: batch, water and hands field by field, then the wash.

    system: of the units in the words, see units.SYSTEMS.
    """
    found = []
    for part in PARTS:
        for name, spec in declared(type(getattr(scenarios[0], part))).items():
            values = [getattr(getattr(one, part), name) for one in scenarios]
            if len(set(values)) > 1 and not isinstance(spec, Part):
                path = f"{part}.{name}"
                words = tuple(shown(spec, path, value, system) for value in values)
                found.append(Row(f"{part}, {name.replace('_', ' ')}", words, spec.meaning))
    for what, words_of in WASH.items():
        words = tuple(words_of(one, system) for one in scenarios)
        if len(set(words)) > 1:
            found.append(Row(what, words))
    return found


LABELS = {
    "sheet.paper": "papers.{}.label",
    "sheet.explanation": "papers.explanation.{}.label",
    "fixing.fixer": "liquids.fixer.{}.label",
    "fixing.stirring": "liquids.stirring.{}.label",
    "water.kind": "liquids.water.{}.label",
}
"""Where the words for a choice stand in the tables."""


def shown(spec: Quantity | Choice | Text, path: str, value: Any, system: str) -> str:
    """A field's SI value as people write it, unit included."""
    if value is None:
        return "as usual"
    if isinstance(spec, Quantity):
        return said(value, spec.unit.suffix, system).strip()
    if path in LABELS and value != "own":
        return str(tables.entry(LABELS[path].format(value)))
    return str(value).replace("_", " ")


def wash(scenario: Scenario, system: str = "metric") -> str:
    """The steps in a few words: how long, in how much water."""
    return ", then ".join(_step(scenario, step, system) for step in scenario.steps)


def _step(scenario: Scenario, step: Step, system: str) -> str:
    if isinstance(step, Drain):
        return f"{step.duration:g} s in the air"
    vessel = next(one for one in scenario.vessels if one.name == step.vessel)
    litres, minutes = said(vessel.volume, "l", system), f"{step.duration / minute:g} min"
    match step:
        case Rinse():
            return f"{minutes} rinse in {litres}"
        case Aid():
            return f"{minutes} in {litres} of aid"
        case Bath(baths=1):
            return f"{minutes} in {litres}"
        case Bath():
            return f"{step.baths} baths of {litres}, {minutes} each"
        case Running():
            return f"{minutes} of {said(vessel.flow, 'l_min', system)} through {litres}"
        case Hold():
            return f"held in {litres}, {step.changes} changes, {minutes} after the last sheet"
        case Transfer():
            return f"{step.trays} trays of {litres}, {minutes} in each"


def _of_vessels(words: Callable[[Vessel, str], str]) -> Callable[[Scenario, str], str]:
    """A trait of the vessels that the steps use, each once, in the order of the steps."""

    def found(scenario: Scenario, system: str) -> str:
        names = [step.vessel for step in scenario.steps if not isinstance(step, Drain)]
        used = [one for name in names for one in scenario.vessels if one.name == name]
        return ", ".join(dict.fromkeys(words(one, system) for one in used))

    return found


def _moved(vessel: Vessel, system: str) -> str:
    if vessel.shuffle is not None:
        return f"each sheet of the pile every {vessel.shuffle / minute:g} min"
    if vessel.film is not None:
        return f"a still film of {vessel.film / micrometre:g} µm"
    if vessel.stirring == "still":
        return "still, but for what fixer stirs by its weight"
    return str(tables.entry(f"liquids.stirring.{vessel.stirring}.label"))


WASH: dict[str, Callable[[Scenario, str], str]] = {
    "what the paper's numbers rest on": lambda one, _: one.sheet.rests_on,
    "wash": wash,
    "how the water is moved": _of_vessels(_moved),
    "faces the water reaches": _of_vessels(lambda one, _: one.open_faces),
    "left when dumped": _of_vessels(lambda one, system: said(one.puddle, "l", system)),
}


def outcomes(results: Sequence[Result], system: str = "metric") -> list[Row]:
    """Fixer, minutes, litres and heat of each, in the words of the screen."""
    volume = in_system(UNITS["l"], system)
    water = [volume.from_si(r.litres_total) for r in results]
    a_sheet = [volume.from_si(r.litres_total / r.sheets) for r in results]
    for_paper = in_system(UNITS["l_m2"], system)
    ratio = [for_paper.from_si(_ratio(r)) for r in results]
    rows: list[tuple[str, str, Sequence[float | None]]] = [
        ("taken up in the fixer", "g/m²", [1e3 * r.load[r.worst_lot] for r in results]),
        ("left in the worst sheet", "g/m²", [1e3 * r.worst_residual for r in results]),
        ("under the target after", "min", [r.minutes_to_target for r in results]),
        ("fresh water", volume.label, water),
        ("water per sheet", volume.label, a_sheet),
        ("last vessel, water to paper", for_paper.label, ratio),
        ("heat", "kWh", [r.heat / kilowatt_hour for r in results]),
    ]
    return [
        Row(f"{what}, {unit}", tuple("never" if v is None else rounded(v, 2) for v in values))
        for what, unit, values in rows
        if what != "heat" or any(values)
    ]


def _ratio(result: Result) -> float:
    """Water in the last vessel for each square metre of paper, m3/m2."""
    wet = (i for i, step in enumerate(result.scenario.steps, 1) if not isinstance(step, Drain))
    return result.water_to_paper(max(wet))


DOUBTS = (
    "left in 9 of 10 draws, g/m²",
    "under the target, of 100 draws",
    "first there, of 100 draws",
)
"""What is told of draws."""


def doubts(bands: Sequence[Band]) -> list[Row]:
    """How sure the outcomes are; the bands' draws agree in what they share (draw_together).

    First: of those that get there, no later than any other by what a clock shows.
    """
    edges = [np.quantile(1e3 * band.worst, (BAND[0], BAND[-1])) for band in bands]
    spans = tuple(f"{low:.1g} to {high:.1g}" for low, high in edges)
    met = tuple(f"{100 * band.chance:.0f}" for band in bands)
    times = np.array([band.slowest for band in bands]) / minute
    soonest = times.min(axis=0)
    first = np.isfinite(times) & (times - np.where(np.isfinite(soonest), soonest, 0.0) < CLOSE)
    ahead = tuple(f"{100 * share:.0f}" for share in first.mean(axis=1))
    return [Row(what, words) for what, words in zip(DOUBTS, (spans, met, ahead), strict=True)]


def verdict(results: Sequence[Result], system: str = "metric") -> str:
    """Who is under the target when, what is left, who takes which water: two or three sentences."""
    sentences = [race(results), _left(results), _water(results, system)]
    return " ".join(sentence for sentence in sentences if sentence)


def race(results: Sequence[Result]) -> str:
    """Minutes to the target: the first by name, the others by how much later."""
    limits = {result.scenario.target.limit for result in results}
    goal = f"the target of {1e3 * limits.pop():.2g} g/m²" if len(limits) == 1 else "its target"
    times = {LETTERS[i]: r.minutes_to_target for i, r in enumerate(results)}
    never = [letter for letter, time in times.items() if time is None]
    there = sorted((time, letter) for letter, time in times.items() if time is not None)
    if not there:
        return f"None of them gets under {goal}."
    first, _ = there[0]
    level = [letter for time, letter in there if time - first < CLOSE]
    behind: dict[str, list[str]] = {}
    for time, letter in there[len(level) :]:
        behind.setdefault(f"{time - first:.0f} min later", []).append(letter)
    later = [f"{_listed(who)} {when}" for when, who in behind.items()]
    verb = "is" if len(level) == 1 else "are"
    parts = [f"{_listed(level)} {verb} under {goal} {first:.0f} min after leaving the fixer"]
    if later:
        parts.append(_listed(later))
    if never:
        parts.append(f"{_listed(never)} not at all")
    return "; ".join(parts) + "."


CLOSE = 0.5
"""Minutes; what is nearer than that reads the same on a clock."""
ALIKE = 1.1
"""Quantities nearer than this ratio are called alike: the printer's own inputs are no surer."""


def _left(results: Sequence[Result]) -> str:
    """What is left at the end: least and most."""
    # below a microgram a square metre stands only rounding
    ends = [max(result.worst_residual, 1e-9) for result in results]
    least, most = ends.index(min(ends)), ends.index(max(ends))
    if ends[most] < ALIKE * ends[least]:
        return f"They end alike, at {1e3 * ends[most]:.2g} g/m²."
    return (
        f"{LETTERS[least]} ends with least, {1e3 * ends[least]:.2g} g/m²; "
        f"{LETTERS[most]} with {rounded(ends[most] / ends[least], 2)} times as much."
    )


def _water(results: Sequence[Result], system: str) -> str:
    """Litres, where they differ."""
    litres = [result.litres_total / litre for result in results]
    least, most = litres.index(min(litres)), litres.index(max(litres))
    if litres[most] < ALIKE * litres[least]:
        return ""
    return (
        f"{LETTERS[least]} takes least water, {said(results[least].litres_total, 'l', system, 3)}; "
        f"{LETTERS[most]} takes {rounded(litres[most] / litres[least], 2)} times as much."
    )


def _listed(names: Sequence[str]) -> str:
    """'A', 'A and B', 'A, B and C'."""
    *some, last = names
    return f"{', '.join(some)} and {last}" if some else last
