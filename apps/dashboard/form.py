"""A scenario as a form: every field with its label, unit, range, meaning and way back.

Two parts, because a dragged slider changes the second only: `shape`, what there is to fill in, and
`values`, what stands in it, by place (see edits.py). Plain dicts and lists, ready for the browser.
"""

from __future__ import annotations

from dataclasses import MISSING
from functools import lru_cache
from typing import Any

from washsim import files, tables
from washsim.fields import Choice, Declared, Part, Quantity, Text, declared, default_of
from washsim.papers import PAPERS
from washsim.recipes import STEPS
from washsim.scenario import TARGETS, Scenario
from washsim_dashboard import edits

BLOCKS = {
    "sheet": "Sheets",
    "fixing": "Fixing",
    "water": "Wash water and prices",
    "handling": "Between vessels",
    "target": "Target",
    "settings": "Accuracy",
}
LISTS = {
    "late": "Sheets that join late",
    "stuck": "Sheets that stick",
    "sheet.layers": "Layers of the paper, front to back",
}
STEP_NAMES = {
    "rinse": "Rinse, each sheet",
    "aid": "Wash aid, each sheet",
    "bath": "Standing baths",
    "running": "Running water",
    "hold": "Hold until all have come",
    "transfer": "Row of trays",
    "drain": "Drain in the air",
}
ADVANCED = (
    *("exchange_efficiency", "best_flow", "flow_loss", "dead_fraction", "dead_exchange", "film"),
    *("stock", "thiosulfate", "silver", "diffusivity", "alkalinity", "carry_over"),
    *("temperature_end", "used", "explanation"),
)
"""Fields that are folded away at first: the physics, and what few sinks know."""
_LABELS = {
    "begin": "First water",
    "film": "Film thickness",
    "count": "Sheets",
    "interval": "Interval",
    "dead_exchange": "Dead part mixes in",
    "used": "Used before",
    "baths": "Baths",
    "duration": "Time",
    "after": "Joins or begins after",
    "kind": "Water (film data, 1967)",
    "how": "What touches",
    "preset": "Where it comes from",
    "residual": "Own target",
    "explanation": "Why it takes long",
}


def shape(scenario: Scenario, base: Scenario, system: str) -> dict[str, Any]:
    """Everything that can be filled in; base: the scenario that 'reset' goes back to."""
    title = declared(Scenario)["title"]
    return {
        "title": field(scenario, base, "title", title, system) | {"label": "Title"},
        "steps": [
            {
                "label": STEP_NAMES[kind_of(step)],
                "about": about(type(step)),
                "fields": fields(scenario, base, f"steps.{n}", system),
            }
            for n, step in enumerate(scenario.steps, start=1)
        ],
        "vessels": [
            {
                "label": vessel.name,
                "about": used_by(scenario, vessel.name),
                "fields": fields(scenario, base, f"vessels.{n}", system),
            }
            for n, vessel in enumerate(scenario.vessels, start=1)
        ],
        "lists": [
            {
                "list": path,
                "label": label,
                "allowed": path != "sheet.layers" or scenario.sheet.paper == "own",
                "items": [
                    fields(scenario, base, f"{path}.{n}", system)
                    for n, _ in enumerate(edits.at(scenario, path), start=1)
                ],
            }
            for path, label in LISTS.items()
        ],
        "blocks": [
            {"label": label, "fields": fields(scenario, base, path, system)}
            for path, label in BLOCKS.items()
        ],
    }


def skeleton(scenario: Scenario) -> Any:
    """The scenario without its numbers: where it is equal, so are the shapes of one base."""

    def bare(block: Any) -> Any:
        if isinstance(block, tuple):
            return tuple(bare(item) for item in block)
        specs = declared(type(block)).items()
        kept = [(name, spec) for name, spec in specs if not isinstance(spec, Quantity)]
        here = [(name, getattr(block, name), spec) for name, spec in kept]
        return type(block), *(bare(v) if v and isinstance(spec, Part) else v for _, v, spec in here)

    return bare(scenario)


def kinds() -> list[dict[str, str]]:
    """The kinds of steps there are to add."""
    return [
        {"kind": kind, "label": STEP_NAMES[kind], "about": about(cls)}
        for kind, cls in STEPS.items()
    ]


def methods() -> list[dict[str, str]]:
    """The wash methods of the catalogue, each a starting point."""
    return [
        {"name": name, "label": found["label"], "about": f"{found['meaning']} {found['minds']}"}
        for name, found in ((n, tables.entry(f"methods.{n}")) for n in files.methods())
    ]


@lru_cache
def _ways() -> dict[Any, str]:
    """(vessels, steps) of each method -> its name."""
    batch = files.example("demo")
    ways = {name: files.with_method(batch, name) for name in files.methods()}
    return {(way.vessels, way.steps): name for name, way in ways.items()}


def method_of(scenario: Scenario) -> str:
    """The method whose vessels and steps these are; empty for a schedule of its own."""
    return _ways().get((scenario.vessels, scenario.steps), "")


def kind_of(step: Any) -> str:
    return next(word for word, cls in STEPS.items() if isinstance(step, cls))


def about(cls: type) -> str:
    """The first paragraph of a step's docstring."""
    return " ".join((cls.__doc__ or "").split("\n\n")[0].split())


def used_by(scenario: Scenario, name: str) -> str:
    """Which steps happen in a vessel, in words."""
    steps = [str(n) for n, s in enumerate(scenario.steps, 1) if getattr(s, "vessel", "") == name]
    if not steps:
        return "Not used by any step."
    return f"Used by step {' and '.join(steps)}."


def fields(scenario: Any, base: Any, path: str, system: str) -> list[dict[str, Any]]:
    """The fields of one block, in order."""
    block = edits.at(scenario, path)
    return [
        field(scenario, base, f"{path}.{name}", spec, system)
        for name, spec in declared(type(block)).items()
        if not isinstance(spec, Part)
    ]


def field(scenario: Any, base: Any, path: str, spec: Declared, system: str) -> dict[str, Any]:
    """One field: how to show it and what it may be."""
    parent, _, name = path.rpartition(".")
    cls = type(edits.at(scenario, parent)) if parent else type(scenario)
    found: dict[str, Any] = {
        "path": path,
        "label": _LABELS.get(name, name.replace("_", " ").capitalize()),
        "optional": default_of(cls, name) is None,
        "advanced": name in ADVANCED,
        "reset": reset(scenario, base, path, spec, system),
    }
    match spec:
        case Quantity():
            unit = edits.unit_of(spec, system)
            low, high = edits.bounds(spec, system)
            found |= {
                "kind": "number",
                "unit": unit.label,
                "low": low,
                "high": high,
                "step": 1 if spec.whole else "any",
                "meaning": f"{spec.meaning}; {low:g} to {high:g} {unit.label}".rstrip(),
            }
        case Choice():
            found |= {"kind": "choice", "options": options(name, spec), "meaning": spec.meaning}
        case Text() if name == "vessel":
            names = [[vessel.name, vessel.name] for vessel in scenario.vessels]
            found |= {"kind": "choice", "options": names, "meaning": spec.meaning}
        case Text():
            found |= {"kind": "text", "longest": spec.longest, "meaning": spec.meaning}
    return found


def options(name: str, spec: Choice) -> list[list[str]]:
    """[key, words] of a choice."""
    return [[key, option_label(name, key)] for key in spec.options]


def option_label(name: str, key: str) -> str:
    """The words of one option: the tables' label where they have one."""
    places = {
        "paper": f"papers.{key}.label",
        "explanation": f"papers.explanation.{key}.label",
        "fixer": f"liquids.fixer.{key}.label",
        "stirring": f"liquids.stirring.{key}.label",
        "preset": f"limits.target.{key}.label",
        "kind": f"liquids.water.{key}.label",
        "water": f"liquids.water.{key}.label",
    }
    own = {
        ("paper", "own"): "Own layers",
        ("explanation", "own"): "As the layers say",
        ("preset", "own"): "Own target",
        ("stirring", "shuffled"): "A pile, shuffled",
        ("stirring", "still"): "Still, moved by what fixer weighs",
        ("begin", "kept"): "Kept from before",
    }
    if (name, key) in own:
        return own[name, key]
    known = {"paper": PAPERS, "preset": TARGETS}.get(name, (key,))
    if name in places and key in known:
        return str(tables.entry(places[name]))
    return key.replace("_", " ").capitalize()


def shown(value: Any, spec: Declared, system: str) -> Any:
    """A value as the form shows it: exact, or four figures of another unit."""
    if not isinstance(spec, Quantity) or value is None or spec.whole:
        return value
    unit = edits.unit_of(spec, system)
    number = unit.from_si(value)
    short = float(f"{number:.{12 if unit is spec.unit else 4}g}")
    return number if unit is spec.unit and unit.to_si(short) != value else short


def reset(scenario: Any, base: Any, path: str, spec: Declared, system: str) -> Any:
    """What the field goes back to: what it was when the scenario was opened, else as usual.

    A list with one value, or an empty one where there is nothing to go back to.
    """
    parent, _, name = path.rpartition(".")
    cls = type(edits.at(scenario, parent)) if parent else type(scenario)
    if edits.holds(base, path) and (not parent or type(edits.at(base, parent)) is cls):
        return [shown(edits.at(base, path), spec, system)]
    default = default_of(cls, name)
    return [] if default is MISSING else [shown(default, spec, system)]


def values(scenario: Scenario, system: str) -> dict[str, Any]:
    """What stands in every field, by place."""
    found: dict[str, Any] = {"title": scenario.title}

    def gather(block: Any, path: str) -> None:
        for name, spec in declared(type(block)).items():
            here, place = getattr(block, name), f"{path}.{name}"
            if isinstance(spec, Part):
                # what was learnt of a paper is no list, and nobody fills it in
                for n, item in enumerate(here if spec.many else (), start=1):
                    gather(item, f"{place}.{n}")
            else:
                found[place] = shown(here, spec, system)

    for path in (*BLOCKS, "steps", "vessels", "late", "stuck"):
        here = edits.at(scenario, path)
        if isinstance(here, tuple):
            for n, item in enumerate(here, start=1):
                gather(item, f"{path}.{n}")
        else:
            gather(here, path)
    return found
