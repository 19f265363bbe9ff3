"""Schedules side by side: questions that come along, what differs, what came of it, in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from washsim import files, tables
from washsim.errors import InputError
from washsim.fields import Choice, Part, Quantity, Text, declared, one_of
from washsim.recipes import Aid, Bath, Drain, Hold, Rinse, Running, Step, Transfer
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.units import kilowatt_hour, litre, litre_per_minute, minute, rounded

FEWEST, MOST = 2, 4
"""Schedules that can still be told apart on one screen."""
LETTERS = "ABCD"
"""What the words below call the schedules, in order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A question, what the runs are said to show, and the schedules that put it."""

    name: str
    label: str
    asks: str
    claim: str
    scenarios: tuple[Scenario, ...]
    ways: tuple[str, ...] = ()
    """Names of the methods it compares, where it compares methods."""


def questions() -> tuple[str, ...]:
    """Names of the comparisons that come along; their words stand in data/comparisons.toml."""
    return tuple(tables.entry("comparisons.question"))


def question(name: str) -> Comparison:
    """A comparison that comes along; InputError names the nearest one."""
    known = questions()
    if name not in known:
        raise InputError(f"comparison: expected {one_of(name, known)}")
    found = tables.entry(f"comparisons.question.{name}")
    common = _laid(tables.entry("comparisons.batch"), found.get("over", {}))
    return Comparison(
        name=name,
        label=found["label"],
        asks=found["asks"],
        claim=found["claim"],
        scenarios=tuple(
            files.from_tree(_laid(common, arm), f"comparison {name}") for arm in found["arms"]
        ),
    )


def ways(batch: Scenario, names: Sequence[str]) -> Comparison:
    """One batch washed in two to four of the methods that come along."""
    if not FEWEST <= len(names) <= MOST:
        raise InputError(f"ways: expected {FEWEST} to {MOST} of them, got {len(names)}")
    labels = [tables.entry(f"methods.{files.method(name)}.label") for name in names]
    return Comparison(
        name="own",
        label="Ways you choose",
        asks="One batch, washed in different ways: which is under the target first?",
        claim="",
        scenarios=tuple(
            files.with_method(batch, name).but(title=label)
            for name, label in zip(names, labels, strict=True)
        ),
        ways=tuple(names),
    )


def _laid(below: dict[str, Any], above: dict[str, Any]) -> dict[str, Any]:
    """One tree over another: tables are merged key by key, vessels and lists replaced."""
    merged = dict(below)
    for key, value in above.items():
        whole = key == "vessels" or not isinstance(value, dict)
        merged[key] = value if whole else _laid(below.get(key, {}), value)
    return merged


# --- what differs between them ---


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a comparison: what it is about, and its words for each schedule."""

    what: str
    values: tuple[str, ...]
    meaning: str = ""


PARTS = ("sheet", "fixing", "water", "handling", "target")


def differences(scenarios: Sequence[Scenario]) -> list[Row]:
    """What is not the same in all of them: batch, water and hands field by field, then the wash."""
    found = []
    for part in PARTS:
        for name, spec in declared(type(getattr(scenarios[0], part))).items():
            values = [getattr(getattr(one, part), name) for one in scenarios]
            if len(set(values)) > 1 and not isinstance(spec, Part):
                words = tuple(shown(spec, f"{part}.{name}", value) for value in values)
                found.append(Row(f"{part}, {name.replace('_', ' ')}", words, spec.meaning))
    for what, words_of in WASH.items():
        words = tuple(words_of(one) for one in scenarios)
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


def shown(spec: Quantity | Choice | Text, path: str, value: Any) -> str:
    """A field's SI value as people write it, unit included."""
    if value is None:
        return "as usual"
    if isinstance(spec, Quantity):
        return f"{spec.unit.from_si(value):.6g} {spec.unit.label}".strip()
    if path in LABELS and value != "own":
        return str(tables.entry(LABELS[path].format(value)))
    return str(value).replace("_", " ")


def wash(scenario: Scenario) -> str:
    """The steps in a few words: how long, in how much water."""
    return ", then ".join(_step(scenario, step) for step in scenario.steps)


def _step(scenario: Scenario, step: Step) -> str:
    if isinstance(step, Drain):
        return f"{step.duration:g} s in the air"
    vessel = next(one for one in scenario.vessels if one.name == step.vessel)
    litres, minutes = f"{vessel.volume / litre:g} L", f"{step.duration / minute:g} min"
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
            flow = f"{vessel.flow / litre_per_minute:g} L/min"
            return f"{minutes} of {flow} through {litres}"
        case Hold():
            return f"held in {litres}, {step.changes} changes, {minutes} after the last sheet"
        case Transfer():
            return f"{step.trays} trays of {litres}, {minutes} in each"


def _of_vessels(words: Callable[[Any], str]) -> Callable[[Scenario], str]:
    """A trait of the vessels that the steps use, each once, in the order of the steps."""

    def found(scenario: Scenario) -> str:
        names = [step.vessel for step in scenario.steps if not isinstance(step, Drain)]
        used = [one for name in names for one in scenario.vessels if one.name == name]
        return ", ".join(dict.fromkeys(words(one) for one in used))

    return found


def _moved(vessel: Any) -> str:
    if vessel.shuffle is not None:
        return f"each sheet of the pile every {vessel.shuffle / minute:g} min"
    if vessel.film is not None:
        return f"a still film of {vessel.film * 1e6:g} µm"
    return str(tables.entry(f"liquids.stirring.{vessel.stirring}.label"))


WASH: dict[str, Callable[[Scenario], str]] = {
    "wash": wash,
    "how the water is moved": _of_vessels(_moved),
    "faces the water reaches": _of_vessels(lambda one: one.open_faces),
    "left when dumped": _of_vessels(lambda one: f"{one.puddle / litre:g} L"),
}


# --- what came of it ---


def outcomes(results: Sequence[Result]) -> list[Row]:
    """Fixer, minutes, litres, heat and price of each, in the words of the screen."""
    rows: list[tuple[str, str, list[float | None]]] = [
        ("taken up in the fixer", "g/m²", [1e3 * r.load[r.worst_lot] for r in results]),
        ("left in the worst sheet", "g/m²", [1e3 * r.worst_residual for r in results]),
        ("under the target after", "min", [r.minutes_to_target for r in results]),
        ("fresh water", "L", [r.litres_total / litre for r in results]),
        ("vessel at the end, per m² of paper", "L", [_ratio(r) for r in results]),
        ("water per sheet", "L", [r.litres_total / litre / r.sheets for r in results]),
        ("heat", "kWh", [r.heat / kilowatt_hour for r in results]),
    ]
    return [
        Row(f"{what}, {unit}", tuple("never" if v is None else rounded(v, 2) for v in values))
        for what, unit, values in rows
        if what != "heat" or any(values)
    ]


def _ratio(result: Result) -> float:
    """Litres in the last vessel for each square metre of paper."""
    wet = (i for i, step in enumerate(result.scenario.steps, 1) if not isinstance(step, Drain))
    return result.water_to_paper(max(wet)) / litre


def verdict(results: Sequence[Result]) -> str:
    """Who is under the target when, what is left, who takes which water: two or three sentences."""
    said = [race(results), _left(results), _water(results)]
    return " ".join(sentence for sentence in said if sentence)


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


def _water(results: Sequence[Result]) -> str:
    """Litres, where they differ."""
    litres = [result.litres_total / litre for result in results]
    least, most = litres.index(min(litres)), litres.index(max(litres))
    if litres[most] < ALIKE * litres[least]:
        return ""
    return (
        f"{LETTERS[least]} takes least water, {rounded(litres[least])} L; "
        f"{LETTERS[most]} takes {rounded(litres[most] / litres[least], 2)} times as much."
    )


def _listed(names: Sequence[str]) -> str:
    """'A', 'A and B', 'A, B and C'."""
    *some, last = names
    return f"{', '.join(some)} and {last}" if some else last
