"""What would help most next: single changes to a schedule, each tried by solving it.

Nothing is searched or weighed against comfort; these are the handful of things a printer could do
differently at the same sink, ranked by what they bring. Planning is another matter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from washsim import tables
from washsim.errors import InputError
from washsim.recipes import Aid, Bath, Hold, Rinse, Running, Step, Transfer
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.units import amount, gram, litre, minute, temperature

Main = Bath | Running | Transfer | Hold
"""The steps that do the washing."""
_LIVELIER = {
    "still": "rocking",
    "still_face_up": "rocking",
    "tap_only": "rocking",
    "still_face_down": "rocking",
    "rocking": "brisk",
    "lifted": "brisk",
}
"""Stirring -> one that thins the film more."""
_WARMER = 5.0
"""K that the water is warmed by, when that stays below the caution for warm water."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Help:
    """One change, what it is called, and what came of it."""

    words: str
    scenario: Scenario
    minutes: float | None
    """To the target; None where it is not met."""
    residual: float
    """kg/m2, the worst sheet's at the end."""
    more_time: float
    """s that the evening lasts longer."""
    more_water: float
    """m3 more fresh water."""


Option = tuple[str, Callable[[], Scenario]]
"""What is done, and the scenario with it; InputError where it cannot be done."""


def options(scenario: Scenario, system: str = "metric") -> Iterator[Option]:
    """Everything that can be done differently in the last step that washes."""
    number, step = main_step(scenario)
    if step is not None:
        index = [vessel.name for vessel in scenario.vessels].index(step.vessel)
        yield from _in_step(scenario, number, step, index)
        yield from _in_vessel(scenario, step, index)
        yield from _warmer(scenario, number, system)
        yield from _with_aid(scenario, number, step)


def _in_step(scenario: Scenario, number: int, step: Main, index: int) -> Iterator[Option]:
    """More of the same, and the same water cut up differently."""
    here, vessel = f"steps.{number}", scenario.vessels[index]

    def change(**changes: float) -> Callable[[], Scenario]:
        return lambda: scenario.but({f"{here}.{name}": to for name, to in changes.items()})

    match step:
        case Bath():
            yield "one more bath", change(baths=step.baths + 1)
            half = {"baths": 2 * step.baths, "duration": step.duration / 2}
            if vessel.volume >= 2 * litre:
                split = _vessel(scenario, index, volume=vessel.volume / 2)
                yield (
                    "twice as many baths, each half as long and half as full",
                    lambda: split().but({f"{here}.{name}": to for name, to in half.items()}),
                )
            twice = _vessel(scenario, index, volume=2 * vessel.volume)
            yield "baths twice as full", twice
        case Running():
            yield "15 min more of running water", change(duration=step.duration + 15 * minute)
            yield "twice the flow", _vessel(scenario, index, flow=2 * vessel.flow)
        case Transfer():
            yield "one more tray", change(trays=step.trays + 1)
        case Hold():
            yield "one more change", change(changes=step.changes + 1)


def _in_vessel(scenario: Scenario, step: Main, index: int) -> Iterator[Option]:
    """Better contact between paper and water."""
    vessel = scenario.vessels[index]
    if vessel.open_faces != "both":
        yield "both faces in the water", _vessel(scenario, index, open_faces="both")
    livelier = _LIVELIER.get(vessel.stirring)
    if livelier and vessel.film is None:
        label = tables.entry(f"liquids.stirring.{livelier}.label").lower()
        yield f"livelier motion ({label})", _vessel(scenario, index, stirring=livelier)
    if vessel.puddle > 0 and isinstance(step, Bath):
        yield "no puddle left in the tray", _vessel(scenario, index, puddle=0.0)


def _vessel(scenario: Scenario, index: int, **changes: Any) -> Callable[[], Scenario]:
    def changed() -> Scenario:
        vessels = list(scenario.vessels)
        vessels[index] = replace(vessels[index], **changes)
        return scenario.but(vessels=tuple(vessels))

    return changed


def main_step(scenario: Scenario) -> tuple[int, Main | None]:
    """(number, step) of the last bath, running water, row or hold; (0, None) if there is none."""
    found = [(n, step) for n, step in enumerate(scenario.steps, 1) if isinstance(step, Main)]
    return found[-1] if found else (0, None)


def _warmer(scenario: Scenario, number: int, system: str) -> Iterator[Option]:
    step = scenario.steps[number - 1]
    usual = getattr(step, "temperature", None) is None
    path = "water.temperature" if usual else f"steps.{number}.temperature"
    warm = scenario.temperatures[number - 1][0] + _WARMER
    if warm <= tables.datum("limits.caution.temperature_high").si + 1e-9:
        yield f"water at {temperature(warm, system)}", lambda: scenario.but({path: warm})


def _with_aid(scenario: Scenario, number: int, step: Main) -> Iterator[Option]:
    """A wash aid of ten minutes in two litres after the first water, where there is none yet."""
    if any(isinstance(one, Aid) for one in scenario.steps):
        return
    before, after = scenario.steps[: number - 1], scenario.steps[number:]
    name = "aid" + "'" * sum(vessel.name.startswith("aid") for vessel in scenario.vessels)
    tray = replace(scenario.vessels[0], name=name, volume=2 * litre, flow=0.0)
    aid = Aid(vessel=name, duration=10 * minute)
    split: tuple[Step, ...]
    if isinstance(step, Bath) and step.baths > 1:
        split = (replace(step, baths=1), aid, replace(step, baths=step.baths - 1))
    elif any(isinstance(one, Rinse | Bath | Hold) for one in before):
        split = (aid, step)
    else:
        return
    if not (scenario.late or scenario.stuck):
        vessels, steps = (*scenario.vessels, tray), (*before, *split, *after)
        yield (
            "10 min of wash aid after the first water",
            lambda: replace(scenario, vessels=vessels, steps=steps),
        )


def helps(result: Result, system: str = "metric") -> list[Help]:
    """Every option that brings something, the best first.

    Best is what meets the target soonest; where nothing meets it, what leaves least.
    """
    found = []
    for words, change in options(result.scenario, system):
        try:
            scenario = change()
            tried = solve(scenario)
        except InputError:
            # such as a field at the end of its range: it cannot be done, so it cannot help
            continue
        one = Help(
            words=words,
            scenario=scenario,
            minutes=tried.minutes_to_target,
            residual=tried.worst_residual,
            more_time=tried.run.timeline.end - result.run.timeline.end,
            more_water=tried.litres_total - result.litres_total,
        )
        if _gain(result, one) > 0:
            found.append(one)

    def rank(one: Help) -> tuple[bool, float, float]:
        if one.minutes is None:
            return True, one.residual, one.more_water
        # of what is alike to the minute, the one with less water
        return False, round(one.minutes), one.more_water

    return sorted(found, key=rank)


def _gain(result: Result, one: Help) -> float:
    """Minutes sooner where the target is met already; else whether less than a tenth is left."""
    if result.minutes_to_target is None:
        return 1.0 if one.minutes is not None else 0.9 * result.worst_residual - one.residual
    return -1.0 if one.minutes is None else result.minutes_to_target - one.minutes - 1.0


def sentence(result: Result, found: list[Help], system: str = "metric") -> str:
    """The best one in words, with what it costs in minutes and litres."""
    if not found:
        if result.minutes_to_target is None:
            return "nothing that was tried here lowers what is left by a tenth"
        return "nothing that was tried here meets the target a minute sooner"
    best = found[0]
    left = f"{best.residual / gram:.2g} g/m² left"
    if best.minutes is None:
        brings = f"still above the target, {left}"
    elif result.minutes_to_target is None:
        brings = f"under the target within {best.minutes:.0f} min"
    else:
        brings = f"under the target {result.minutes_to_target - best.minutes:.0f} min sooner"
    return f"{best.words}: {brings}, {_costs(best, system)}"


def _costs(best: Help, system: str) -> str:
    """'10 min longer and 4 L more', with what does not change left out."""
    minutes, water = best.more_time / minute, best.more_water
    parts = []
    if abs(minutes) >= 0.5:
        parts.append(f"{abs(minutes):.0f} min {'longer' if minutes > 0 else 'shorter'}")
    if abs(water) >= 0.05 * litre:
        parts.append(f"{amount(abs(water), system)} {'more' if water > 0 else 'less'}")
    return " and ".join(parts) if parts else "no more time, no more water"
