"""Rival explanations of the slow hour, and the cheap experiment that would tell two apart."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from washsim import tables
from washsim.materials import Fixing, Sheet, Vessel
from washsim.recipes import Aid, Running, Step
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.units import celsius, litre, litre_per_minute, minute

_MINUTES = (5, 10, 15, 20, 30, 45, 60, 90)


@dataclass(frozen=True, slots=True, kw_only=True)
class Test:
    """One strip experiment and what two explanations say a drop would read, kg/m2."""

    what: str
    minutes: float
    first: float
    second: float
    separation: float
    """Difference of the readings' logarithms over the reading's error; below 1 it tells nothing."""


def strip(explanation: str, paper: str = "fibre_double") -> Scenario:
    """One strip soaked in fixer until it is full, washed alone in plenty of moving water."""
    return Scenario(
        title=f"Strip, explained as {explanation}",
        sheet=Sheet(paper=paper, width=0.05, height=0.1, explanation=explanation),
        fixing=Fixing(duration=30 * minute),
        vessels=(
            Vessel(name="tray", volume=20 * litre, flow=4 * litre_per_minute),
            Vessel(name="aid", volume=litre),
        ),
        steps=(Running(vessel="tray", duration=90 * minute),),
    )


_EXPERIMENTS: dict[str, dict[str, Any]] = {
    "double weight, plain wash": {},
    "single weight, plain wash": {"sheet.paper": "fibre_single"},
    "back covered by the tray's floor": {"vessels.tray.open_faces": "front"},
    "cold wash at 7 °C": {"water.temperature": celsius(7)},
    "still water instead of moving": {"vessels.tray.stirring": "still_face_down"},
    "hard instead of soft tap water": {"water.kind": "hard_tap"},
    "fixed one minute instead of soaked": {"fixing.duration": minute},
}
"""What a printer can change without buying anything."""


def telling_tests(first: str, second: str) -> list[Test]:
    """Experiments that two named explanations would read differently, best first.

    Each is read at the minute that separates them most. A reading under what a drop can show
    counts as that limit: nothing visible is not zero.
    """
    visible = tables.datum("limits.spot_test.visible_low").si
    error = tables.datum("limits.spot_test.reading_error").value
    found = []
    experiments = [(what, changes, None) for what, changes in _EXPERIMENTS.items()]
    aid: tuple[Step, ...] = (
        Aid(vessel="aid", duration=5 * minute),
        Running(vessel="tray", duration=90 * minute),
    )
    for what, changes, steps in [*experiments, ("five minutes of wash aid first", {}, aid)]:
        both = []
        for explanation in (first, second):
            scenario = strip(explanation).but(changes)
            result = solve(scenario if steps is None else scenario.but(steps=steps))
            start = result.run.timeline.stages[-1].start
            times = start + minute * np.array(_MINUTES, dtype=float)
            both.append(np.maximum(result.at(0, times), visible))
        apart = np.abs(np.log(both[0] / both[1])) / error
        best = int(np.argmax(apart))
        found.append(
            Test(
                what=what,
                minutes=_MINUTES[best],
                first=float(both[0][best]),
                second=float(both[1][best]),
                separation=float(apart[best]),
            )
        )
    return sorted(found, key=lambda test: -test.separation)


def chance_to_mistake(separation: float) -> float:
    """Chance that a reading sides with the wrong one of two explanations, normal errors."""
    return 0.5 * math.erfc(separation / 2 / math.sqrt(2))
