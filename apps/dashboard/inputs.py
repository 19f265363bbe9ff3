"""What the page lets the printer change, and the scenario that follows from it.

Labels and spans of sliders are this page's. Units, allowed ranges and meanings come from the
house's field declarations, defaults from the scenario the page starts with; `twin()` turns them
into the parameters a visitor's session holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import param

from washsim import files, tables
from washsim.fields import Quantity, declared
from washsim.materials import PAPERS
from washsim.recipes import Bath, Running
from washsim.scenario import Scenario, value_at

TRAY, WASHER = "tray", "washer"
"""The vessels of the starting scenario that baths and running water use."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slider:
    """A number: the field it sets, and how much of the allowed range the slider spans."""

    name: str
    label: str
    path: str
    low: float
    high: float
    step: float
    method: str = ""
    """The way of washing in which it has an effect; empty for all."""

    @property
    def spec(self) -> Quantity:
        parent, _, field = self.path.rpartition(".")
        found = declared(type(value_at(start(self.method), parent)))[field]
        assert isinstance(found, Quantity), f"{self.path} is not a number"
        return found

    @property
    def unit(self) -> str:
        return self.spec.unit.label

    @property
    def meaning(self) -> str:
        return self.spec.meaning

    @property
    def bounds(self) -> tuple[float, float]:
        """In the unit shown; never wider than the field allows."""
        return max(self.low, self.spec.low), min(self.high, self.spec.high)

    @property
    def default(self) -> float:
        """In the unit shown."""
        return round(self.spec.unit.from_si(value_at(start(self.method), self.path)), 9)

    def to_si(self, shown: float) -> float:
        return int(shown) if self.spec.whole else self.spec.unit.to_si(shown)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One of a few words, each with the label it shows."""

    name: str
    label: str
    options: tuple[tuple[str, str], ...]
    default: str
    listed: bool = False
    """Shown as a drop-down list, for long labels."""


@lru_cache
def start(method: str = "") -> Scenario:
    """The scenario the page opens with, washed in one of the two ways; empty for its own."""
    scenario = files.example("demo")
    if method != "running":
        return scenario
    baths = scenario.steps[0]
    assert isinstance(baths, Bath), "the demo begins with standing baths"
    # the same time in the water, so that the two ways can be compared at once
    running = Running(vessel=WASHER, duration=baths.baths * baths.duration)
    return scenario.but(steps=(running,))


def choices() -> tuple[Choice, ...]:
    """What can be chosen by word."""
    sheet, fixing = start().sheet, start().fixing
    return (
        Choice(
            name="method",
            label="Way of washing",
            default="baths",
            options=(("baths", "Standing baths"), ("running", "Running water")),
        ),
        Choice(
            name="paper",
            label="Paper",
            default=sheet.paper,
            listed=True,
            options=tuple((name, tables.entry(f"papers.{name}.label")) for name in PAPERS),
        ),
        Choice(
            name="fixer",
            label="Fixer",
            default=fixing.fixer,
            options=(("rapid", f"Rapid {fixing.dilution}"), ("plain", "Plain hypo")),
        ),
        Choice(
            name="explanation",
            label="Why it takes long",
            default=sheet.explanation,
            options=(("slow", "Slow inside"), ("held", "Held"), ("both", "Both")),
        ),
    )


def sliders() -> tuple[Slider, ...]:
    """What can be set by number."""
    return (
        Slider(
            name="fixing_time",
            label="Fixing time",
            path="fixing.duration",
            low=10,
            high=600,
            step=10,
        ),
        Slider(
            name="temperature",
            label="Water temperature",
            path="water.temperature",
            low=4,
            high=30,
            step=1,
        ),
        Slider(
            name="bath_volume",
            label="Water per bath",
            path=f"vessels.{TRAY}.volume",
            low=0.5,
            high=20,
            step=0.5,
            method="baths",
        ),
        Slider(
            name="baths",
            label="Baths in all",
            path="steps.1.baths",
            low=1,
            high=12,
            step=1,
            method="baths",
        ),
        Slider(
            name="bath_time",
            label="Time in each bath",
            path="steps.1.duration",
            low=1,
            high=30,
            step=1,
            method="baths",
        ),
        Slider(
            name="flow",
            label="Flow",
            path=f"vessels.{WASHER}.flow",
            low=0.2,
            high=12,
            step=0.2,
            method="running",
        ),
        Slider(
            name="running_time",
            label="Running for",
            path="steps.1.duration",
            low=5,
            high=240,
            step=5,
            method="running",
        ),
        Slider(name="sheets", label="Sheets", path="sheet.count", low=1, high=40, step=1),
    )


@lru_cache
def twin() -> type[param.Parameterized]:
    """A Parameterized class with a parameter for every slider and choice."""
    parameters: dict[str, param.Parameter] = {}
    for item in sliders():
        parameters[item.name] = param.Number(
            default=item.default,
            bounds=item.bounds,
            step=item.step,
            label=item.label,
            doc=item.meaning,
        )
    for one in choices():
        parameters[one.name] = param.Selector(
            default=one.default, objects=[key for key, _ in one.options], label=one.label
        )
    return type("Inputs", (param.Parameterized,), parameters)


def scenario(inputs: param.Parameterized) -> Scenario:
    """The scenario the inputs describe; InputError where they cannot be carried out."""
    values = inputs.param.values()
    method, fixer = values["method"], values["fixer"]
    changes: dict[str, Any] = {
        item.path: item.to_si(values[item.name])
        for item in sliders()
        if item.method in ("", method)
    }
    if fixer != start().fixing.fixer:
        # the starting scenario's dilution belongs to its own fixer; another is taken as usual
        changes = {"fixing.dilution": None, "fixing.fixer": fixer} | changes
    changes |= {"sheet.paper": values["paper"], "sheet.explanation": values["explanation"]}
    return start(method).but(changes)
