"""Published results that the defaults were not tuned to, and what each explanation makes of them.

Used by the tests and by the page of literature in docs/. A miss is kept as a miss.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from washsim import files
from washsim.recipes import Aid, Rinse, Running, Step
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.units import litre, minute
from washsim.vessels import Vessel

EXPLANATIONS = ("slow", "both", "held", "saturating")


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A published figure as a band, and the model's under a named explanation."""

    what: str
    source: str
    low: float
    high: float
    unit: str
    model: Callable[[str], float]
    reproduced_by: tuple[str, ...] = ()
    """The explanations whose figure lies in the band; the tests hold this list to the truth."""

    def inside(self, explanation: str) -> bool:
        return self.low <= self.model(explanation) <= self.high


def print_of(explanation: str, **changes) -> Scenario:
    """One double-weight print after five minutes of plain hypo, rocked in plenty of water."""
    demo = files.example("demo")
    return demo.but(
        {
            "sheet.count": 1,
            "sheet.explanation": explanation,
            "fixing.fixer": "plain",
            "fixing.dilution": None,
            "fixing.duration": 5 * minute,
            "vessels": (*demo.vessels, Vessel(name="aid", volume=2 * litre)),
            "vessels.washer.exchange_efficiency": 1.0,
            "vessels.washer.stirring": "rocking",
            **changes,
        }
    )


def running(minutes: float, water: str | None = None) -> tuple[Step, ...]:
    return (Running(vessel="washer", duration=minutes * minute, water=water),)


@lru_cache
def washed(scenario: Scenario) -> Result:
    return solve(scenario)


def minutes_to_target(scenario: Scenario) -> float:
    found = washed(scenario).minutes_to_target
    assert found is not None
    return found


def sea_over_fresh(explanation: str) -> float:
    fresh, sea = print_of(explanation, steps=running(180)), running(180, "sea")
    return minutes_to_target(fresh.but(steps=sea)) / minutes_to_target(fresh)


def aid_gain(explanation: str) -> float:
    """Wash without aid over wash after it: two minutes of rinse, three of aid."""
    aided: tuple[Step, ...] = (
        Rinse(vessel="tray", duration=2 * minute),
        Aid(vessel="aid", duration=3 * minute),
        *running(180),
    )
    plain = print_of(explanation, steps=running(180))
    after = minutes_to_target(plain.but(steps=aided)) - 5
    return minutes_to_target(plain) / after


def short_sequence(explanation: str) -> float:
    """g/m2 after a strong minute of fixing, 5 min of wash, 10 of aid, 5 of wash."""
    steps: tuple[Step, ...] = (
        Rinse(vessel="tray", duration=5 * minute),
        Aid(vessel="aid", duration=10 * minute),
        *running(5),
    )
    changes = {"fixing.fixer": "rapid", "fixing.duration": minute, "steps": steps}
    return 1e3 * washed(print_of(explanation).but(changes)).worst_residual


def double_over_single(explanation: str) -> float:
    double = print_of(explanation, steps=running(180))
    return minutes_to_target(double) / minutes_to_target(
        double.but({"sheet.paper": "fibre_single"})
    )


def warmth(explanation: str) -> float:
    """Rate at 21 over rate at 10 C."""
    cold, warm = (
        minutes_to_target(print_of(explanation, steps=running(240)).but({"water.temperature": t}))
        for t in (283.15, 294.15)
    )
    return cold / warm


def late_fall(explanation: str) -> float:
    """Residual at 90 over residual at 60 min."""
    result = washed(print_of(explanation, steps=running(90)))
    start = result.run.left_fixer[0]
    at = result.at(0, start + minute * np.array([60.0, 90.0]))
    return float(at[1] / at[0])


def slow_over_fast(explanation: str) -> float:
    """Half-life from 60 to 90 min over that from 5 to 15, where the sheet has evened out inside."""
    result = washed(print_of(explanation, steps=running(90)))
    start = result.run.left_fixer[0]
    a, b, c, d = np.log(result.at(0, start + minute * np.array([5.0, 15.0, 60.0, 90.0])))
    return float((90.0 - 60.0) / (15.0 - 5.0) * (a - b) / (c - d))


def film_half_life(explanation: str) -> float:
    """Minutes in which a gelatin layer on a sealed base loses half its load, moved by hand."""
    result = washed(print_of(explanation, steps=running(30)).but({"sheet.paper": "resin_coated"}))
    start = result.run.left_fixer[0] + 10.0
    times = start + np.linspace(0.0, 600.0, 2001)
    seen = result.at(0, times)
    return float((times[np.argmax(seen < 0.5 * seen[0])] - start) / minute)


def film_sea_gain(explanation: str) -> float:
    """Gelatin on a sealed base: 30 min of fresh over 10 min of sea water."""
    film = print_of(explanation).but({"sheet.paper": "resin_coated"})
    fresh, sea = (film.but(steps=s) for s in (running(30), running(10, "sea")))
    return washed(fresh).worst_residual / washed(sea).worst_residual


SEA = (
    "Eaton, Crabtree, Washing photographic films and prints in sea water, J. SMPE, 1943 (abstract)"
)

FINDINGS = (
    Finding(
        what="Sea water against fresh, washing time",
        source=SEA,
        low=0.3,
        high=0.7,
        unit="of the time",
        model=sea_over_fresh,
    ),
    Finding(
        what="21 C against 10 C, rate",
        source=SEA + ": 20 to 40 F warmer, 25 to 50 % faster",
        low=1.25,
        high=1.50,
        unit="times",
        model=warmth,
        reproduced_by=EXPLANATIONS,
    ),
    Finding(
        what="Double against single weight, washing time",
        source="US Army lesson SS0509: close to twice",
        low=1.7,
        high=2.4,
        unit="times",
        model=double_over_single,
        reproduced_by=("both",),
    ),
    Finding(
        what="Wash without aid against wash after it",
        source="label of a wash aid, from memory: about six; the notes allow three to eight",
        low=3.0,
        high=8.0,
        unit="times",
        model=aid_gain,
        reproduced_by=("held",),
    ),
    Finding(
        what="Strong minute of fixing, 5 min wash, 10 aid, 5 wash: residual",
        source="an article's stain readings: below what a densitometer sees, about 0.004 g/m²",
        low=0.0,
        high=0.004,
        unit="g/m²",
        model=short_sequence,
        reproduced_by=("held",),
    ),
    Finding(
        what="Five-minute fix, residual at 90 over 60 min: flat, yet still falling",
        source="an article's stain readings, quoted without figures: a band of our own",
        low=0.2,
        high=0.9,
        unit="times",
        model=late_fall,
        reproduced_by=("both", "held", "saturating"),
    ),
    Finding(
        what="Two exponentials, a fast and a slow one: the slow half-life over the fast",
        source="two chemists in a discussion, without figures: a band of our own",
        low=2.0,
        high=30.0,
        unit="times",
        model=slow_over_fast,
        reproduced_by=("both", "held", "saturating"),
    ),
    Finding(
        what="Film, half-life in moved water",
        source="Warwick 1917, Hickman and Spencer 1922, from memory: 0.3 to 1 min",
        low=0.1,
        high=1.0,
        unit="min",
        model=film_half_life,
        reproduced_by=EXPLANATIONS,
    ),
    Finding(
        what="Film, 30 min of fresh over 10 min of sea water",
        source="a posting quoting older tests, 0.124 over 0.008 g/m²: 16",
        low=8.0,
        high=32.0,
        unit="times",
        model=film_sea_gain,
    ),
)
