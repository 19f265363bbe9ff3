"""What a printer can turn this evening, and the two ends to which each of it is turned.

Of agitation and of density every vessel of the steps is turned; of volume and flow the last.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from washsim.errors import InputError
from washsim.recipes import Drain, Running
from washsim.scenario import Scenario
from washsim.units import celsius, temperature
from washsim.vessels import Vessel
from washsim.wording import amount


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """One end in words, and what `Scenario.but` takes to get there."""

    words: str
    changes: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Knob:
    """Something to turn."""

    label: str
    low: End
    high: End


def knobs(scenario: Scenario, system: str = "metric") -> Iterator[Knob]:
    """Every knob of an evening, its ends in the units of a system.

    InputError where no step is in water.
    """
    yield _fixing(scenario)
    yield _temperature(scenario, system)
    yield _prints(scenario)
    yield _draining(scenario)
    yield _kind(scenario)
    last = _last_wash(scenario)
    yield _agitation(scenario)
    yield _density(scenario)
    yield from _last_vessel(scenario, last, system)


def _fixing(scenario: Scenario) -> Knob:
    halved, doubled = scenario.fixing.duration / 2, scenario.fixing.duration * 2
    return Knob(
        label="fixing time",
        low=End(words=f"{halved:.0f} s", changes={"fixing.duration": halved}),
        high=End(words=f"{doubled:.0f} s", changes={"fixing.duration": doubled}),
    )


def _temperature(scenario: Scenario, system: str) -> Knob:
    def at(kelvin: float) -> End:
        changes = _everywhere(scenario, "temperature", kelvin)
        # a bath that cools cools no more: one temperature is asked about
        drifting = _steps_with(scenario, "temperature_end")
        changes |= {f"steps.{i}.temperature_end": None for i in drifting}
        return End(words=temperature(kelvin, system), changes=changes)

    return Knob(label="temperature of the water", low=at(celsius(7)), high=at(celsius(25)))


def _kind(scenario: Scenario) -> Knob:
    def of(kind: str, words: str) -> End:
        # a water report speaks of the printer's own water, not of this one
        changes = _everywhere(scenario, "water", kind, "kind") | {"water.alkalinity": None}
        return End(words=words, changes=changes)

    return Knob(
        label="kind of water", low=of("demineralised", "demineralised"), high=of("hard_tap", "hard")
    )


def _everywhere(
    scenario: Scenario, name: str, value: Any, of_water: str | None = None
) -> dict[str, Any]:
    """Changes of the wash water and of every step that has its own."""
    own = {f"steps.{i}.{name}": value for i in _steps_with(scenario, name)}
    return {f"water.{of_water or name}": value} | own


def _steps_with(scenario: Scenario, name: str) -> list[int]:
    """Numbers of the steps that say something of their own."""
    steps = enumerate(scenario.steps, start=1)
    return [i for i, step in steps if getattr(step, name, None) is not None]


def _prints(scenario: Scenario) -> Knob:
    count = scenario.sheet.count

    def of(number: int) -> End:
        words = "1 print" if number == 1 else f"{number} prints"
        return End(words=words, changes={"sheet.count": number})

    return Knob(label="number of prints", low=of(max(1, count // 2)), high=of(min(200, 2 * count)))


def _draining(scenario: Scenario) -> Knob:
    def of(seconds: float) -> End:
        # what was measured to cling was measured at the time that prints drain now
        changes = {"handling.drain": seconds, "handling.carry_over": None}
        return End(words=f"{seconds:.0f} s", changes=changes)

    return Knob(label="draining", low=of(0.0), high=of(30.0))


def _agitation(scenario: Scenario) -> Knob:
    return Knob(
        label="agitation",
        low=_moved(scenario, "lying still", "still_face_up"),
        high=_moved(scenario, "brisk", "brisk"),
    )


def _density(scenario: Scenario) -> Knob:
    """Fixer is heavier than water: does it fall out of a face that looks down?"""
    return Knob(
        label="density (face up or down, nothing moved)",
        low=_moved(scenario, "face up", "still_face_up", "floor"),
        high=_moved(scenario, "face down", "still_face_down", "face_down"),
    )


def _moved(scenario: Scenario, words: str, stirring: str, lying: str | None = None) -> End:
    """Every vessel of the steps stirred so; one whose own currents are followed keeps them as far
    as nothing is to move in it, and sheets then lie so."""
    used = {getattr(step, "vessel", None) for step in scenario.steps}
    changes = {}
    for vessel in scenario.vessels:
        if vessel.name in used:
            changes[f"vessels.{vessel.name}"] = _stirred(vessel, stirring, lying)
    return End(words=words, changes=changes)


def _stirred(vessel: Vessel, stirring: str, lying: str | None) -> Vessel:
    if vessel.stirring == "still" and stirring.startswith("still"):
        return replace(vessel, lying=lying or vessel.lying)
    return replace(vessel, stirring=stirring, shuffle=None, film=None)


def _last_vessel(scenario: Scenario, last: Any, system: str) -> Iterator[Knob]:
    vessel = next(one for one in scenario.vessels if one.name == last.vessel)
    used = {getattr(step, "vessel", None) for step in scenario.steps} - {None}
    which = f" of '{vessel.name}'" if len(used) > 1 else ""

    def holding(volume: float) -> End:
        changes = {f"vessels.{vessel.name}.volume": volume}
        return End(words=amount(volume, "l", system), changes=changes)

    yield Knob(
        label=f"volume of a filling{which}",
        low=holding(vessel.volume / 2),
        high=holding(vessel.volume * 2),
    )
    if isinstance(last, Running):

        def flowing(flow: float) -> End:
            changes = {f"vessels.{vessel.name}.flow": flow}
            return End(words=amount(flow, "l_min", system), changes=changes)

        yield Knob(label="flow", low=flowing(vessel.flow / 2), high=flowing(vessel.flow * 2))


def _last_wash(scenario: Scenario) -> Any:
    wet = [step for step in scenario.steps if not isinstance(step, Drain)]
    if not wet:
        raise InputError("steps: expected one in water")
    return wet[-1]
