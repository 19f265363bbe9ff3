"""The controls beside the picture: a few sliders and choices, whatever the scenario is.

Labels and spans of sliders are this page's; units, allowed ranges and meanings come from the
house's field declarations. Sliders act on the fixing, on the batch, and on the step that does most
of the washing: the last one that lies in water for a while.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from washsim.fields import Choice, Quantity, declared
from washsim.recipes import Bath, Drain, Hold, Running, Transfer
from washsim.scenario import Scenario
from washsim_dashboard import edits, form


@dataclass(frozen=True, slots=True, kw_only=True)
class Slider:
    """A number: its place, and how much of the allowed range the slider spans (unit of files)."""

    name: str
    label: str
    path: str
    low: float
    high: float
    step: float


def sliders(scenario: Scenario) -> tuple[Slider, ...]:
    """The sliders that a scenario has, in order."""
    fixing = Slider(
        name="fixing_time", label="Fixing time", path="fixing.duration", low=10, high=600, step=10
    )
    warmth = Slider(
        name="temperature",
        label="Water temperature",
        path="water.temperature",
        low=4,
        high=30,
        step=1,
    )
    sheets = Slider(name="sheets", label="Sheets", path="sheet.count", low=1, high=40, step=1)
    return (fixing, warmth, *_of_step(scenario, main_step(scenario)), sheets)


def main_step(scenario: Scenario) -> int:
    """Number of the step that does most of the washing."""
    wet = [n for n, step in enumerate(scenario.steps, 1) if not isinstance(step, Drain)]
    long = [n for n in wet if isinstance(scenario.steps[n - 1], Bath | Running | Transfer | Hold)]
    return (long or wet or [1])[-1]


def _of_step(scenario: Scenario, number: int) -> tuple[Slider, ...]:
    step = scenario.steps[number - 1]
    here = f"steps.{number}"
    if isinstance(step, Drain):
        return ()
    vessels = [vessel.name for vessel in scenario.vessels]
    if step.vessel not in vessels:
        return ()
    vessel = f"vessels.{vessels.index(step.vessel) + 1}"

    def slider(name: str, label: str, path: str, low: float, high: float, step: float) -> Slider:
        return Slider(name=name, label=label, path=path, low=low, high=high, step=step)

    volume = f"{vessel}.volume"
    match step:
        case Running():
            return (
                slider("flow", "Flow", f"{vessel}.flow", 0.2, 12, 0.2),
                slider("running_time", "Running for", f"{here}.duration", 5, 240, 5),
            )
        case Bath():
            return (
                slider("bath_volume", "Water per bath", volume, 0.5, 20, 0.5),
                slider("baths", "Baths in all", f"{here}.baths", 1, 12, 1),
                slider("bath_time", "Time in each bath", f"{here}.duration", 1, 30, 1),
            )
        case Transfer():
            return (
                slider("bath_volume", "Water per tray", volume, 0.5, 20, 0.5),
                slider("trays", "Trays in the row", f"{here}.trays", 1, 12, 1),
                slider("bath_time", "Time in each tray", f"{here}.duration", 1, 30, 1),
            )
        case Hold():
            return (
                slider("bath_volume", "Water to hold in", volume, 0.5, 20, 0.5),
                slider("changes", "Changes of it", f"{here}.changes", 0, 12, 1),
            )
    return (
        slider("bath_volume", "Water in the tray", volume, 0.5, 20, 0.5),
        slider("bath_time", "Time of each sheet", f"{here}.duration", 1, 30, 1),
    )


def quick(scenario: Scenario, base: Scenario, system: str) -> list[dict[str, Any]]:
    """The controls for the browser: fields of the form, sliders with their spans."""
    paper = _field(scenario, base, "paper", "sheet.paper", system) | {"listed": True}
    fixer = _field(scenario, base, "fixer", "fixing.fixer", system)
    fixer["options"] = [["rapid", "Rapid"], ["plain", "Plain hypo"]]
    why = _field(scenario, base, "explanation", "sheet.explanation", system)
    if scenario.sheet.paper != "own":
        # as the layers say would say nothing of a paper from the tables
        why["options"] = [one for one in why["options"] if one[0] != "own"]
    else:
        why["listed"] = True
    if scenario.sheet.known is not None:
        why["label"] = f"{why['label']}, as learnt"
    found = [paper, fixer, why]
    return found + [_slider(scenario, base, one, system) for one in sliders(scenario)]


def _field(scenario: Scenario, base: Scenario, name: str, path: str, system: str) -> dict[str, Any]:
    parent, _, key = path.rpartition(".")
    spec = declared(type(edits.at(scenario, parent)))[key]
    assert isinstance(spec, Choice | Quantity), f"{path} has no control"
    return form.field(scenario, base, path, spec, system) | {"name": name}


def _slider(scenario: Scenario, base: Scenario, one: Slider, system: str) -> dict[str, Any]:
    found = _field(scenario, base, one.name, one.path, system)
    parent, _, key = one.path.rpartition(".")
    spec = declared(type(edits.at(scenario, parent)))[key]
    assert isinstance(spec, Quantity)
    unit = edits.unit_of(spec, system)
    low, high, step = one.low, one.high, one.step
    if unit is not spec.unit:
        low, high = (unit.from_si(spec.unit.to_si(end)) for end in (low, high))
        step = round_step(step * spec.unit.factor / unit.factor)
        low, high = step * math.ceil(low / step - 1e-9), step * math.floor(high / step + 1e-9)
    # a value that was typed or read from a file may lie outside the usual span
    value = form.shown(edits.at(scenario, one.path), spec, system)
    if value is not None and value > high:
        high = step * math.ceil(value / step - 1e-9)
    if value is not None and value < low:
        low = step * math.floor(value / step + 1e-9)
    span = {
        "low": float(f"{max(low, found['low']):.10g}"),
        "high": float(f"{min(high, found['high']):.10g}"),
        "step": float(f"{step:.10g}"),
    }
    return found | span | {"label": one.label, "slider": True}


def round_step(step: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above a step."""
    power = 10.0 ** math.floor(math.log10(step))
    return max(digit for digit in (1, 2, 5) if digit * power <= step * (1 + 1e-9)) * power
