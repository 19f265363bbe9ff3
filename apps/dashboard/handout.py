"""Handouts: two pages of paper about a lesson's runs, or about the visitor's own evening."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from washsim import advice, lessons, tables, wording
from washsim.figures import shown
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.timeline import Stage
from washsim.units import UNITS, amount, in_system, temperature
from washsim_dashboard import classroom, layout, played, share

ADDRESS = "./learn"


def of_lesson(name: str, system: str, votes: list[Any]) -> str:
    """A lesson's runs beside what the class predicted."""
    answer = lessons.answer(name)
    found, runs = answer.lesson, classroom.drawn(answer)
    words = classroom.question(found) + classroom.answered(answer)
    return _page(
        {
            "title": f"washsim: handout, {found.title}",
            "heading": found.title,
            "what": f"Lesson {found.number}",
            "back": (f"teach?lesson={name}", "Teacher\u2019s page"),
            "about": "the class\u2019s predictions are those made since the server started",
            "lines": [found.scene],
            "asks": found.asks,
            "head": _RUNS,
            "rows": [list(row.values()) for row in played.table(runs)],
            "tally": classroom.tally(found, votes),
            "right": answer.right,
            "limits": played.limited(runs),
            "explain": answer.explain,
            "questions": [answer.fill(one.asks) for one in found.follow],
            "cautions": found.cautions,
            "sources": found.sources,
            "measures": classroom.measures(system, words),
            "ask": classroom.asking(found),
            "told": classroom.told(name),
            "votes": votes,
        },
        system,
    )


_RUNS = (
    "",
    "run (invented)",
    "taken up, g/m²",
    "left at its end, g/m²",
    "to the target, min",
    "water, L",
)


def of_evening(scenario: Scenario, system: str) -> str:
    """A scenario of the visitor's: what was done step by step, what came of it, what to ask."""
    result = solve(scenario)
    runs = [played.Played(letter="A", title=scenario.title, result=result)]
    told = [played.plain(one) for one in runs]
    halvings = math.log2(max(result.load) / scenario.target.limit)
    return _page(
        {
            "title": f"washsim: handout, {scenario.title}",
            "heading": scenario.title,
            "what": "Evening",
            "back": (f"./?s={share.pack(scenario)}", "Explore"),
            "about": "the evening is the one that the address carries",
            "lines": [_batch(result, system), advice.sentence(result, system)],
            "head": _steps_head(system),
            "rows": _steps(result, system),
            "limits": played.limited(runs),
            "explain": "",
            "questions": _questions(result, system),
            "check": f"question 1, {halvings:.1f} halvings",
            "cautions": advice.cautions(result, system),
            "sources": [tables.source(key).citation for key in _SOURCES],
            "ask": {"kind": "none"},
            "told": {"runs": told, "axis": played.axis(told)} | played.levels(result),
            "votes": [],
        },
        system,
    )


_SOURCES = ("crank_1975", "ansi_it9_1_1996")


def _page(values: dict[str, Any], system: str) -> str:
    return layout.plain("handout.html", ADDRESS, values, system)


def _batch(result: Result, system: str) -> str:
    """Prints, fixing and water in two sentences."""
    scenario = result.scenario
    sheet, fixing = scenario.sheet, scenario.fixing
    unit = in_system(UNITS["cm"], system)
    size = " × ".join(f"{unit.from_si(side):.3g}" for side in (sheet.width, sheet.height))
    fixer = {"rapid": "rapid fixer", "plain": "plain hypo"}[fixing.fixer]
    baths = "one bath" if fixing.baths == 1 else "two baths"
    return (
        f"{sheet.count} {'sheet' if sheet.count == 1 else 'sheets'} of {size} {unit.label}, "
        f"{sheet.material.label.lower()}, fixed {wording.duration(fixing.duration)} in {fixer} "
        f"({fixing.concentration:.3g} g/L of thiosulfate, {baths}). Wash water at "
        f"{temperature(scenario.water.temperature, system)}. Explanation of the slow wash that was "
        f"taken: {sheet.explanation}."
    )


def _steps_head(system: str) -> tuple[str, ...]:
    volume = in_system(UNITS["l"], system).label
    return ("", "step", "from, min", "to, min", f"water, {volume}", "left at its end, g/m²")


def _steps(result: Result, system: str) -> list[list[str]]:
    """A row for each step: minutes since fixing began, water, fixer left in the worst sheet."""
    volume = in_system(UNITS["l"], system)
    scenario, lot, rows = result.scenario, result.worst_lot, []
    for stage in result.run.timeline.stages:
        water = result.litres_by_step[stage.step - 1] if stage.step else 0.0
        left = float(result.at(lot, np.array([stage.stop]))[0])
        rows.append(
            [
                str(stage.step) if stage.step else "",
                _name(scenario, stage),
                f"{stage.start / 60:.0f}",
                f"{stage.stop / 60:.0f}",
                shown(volume.from_si(water)) if water else "",
                shown(1e3 * left),
            ]
        )
    return rows


def _name(scenario: Scenario, stage: Stage) -> str:
    """What a step is called: '6 baths', 'running'."""
    baths = getattr(scenario.steps[stage.step - 1], "baths", 1) if stage.step else 1
    return stage.label if baths == 1 else f"{baths} {stage.label}s"


def _questions(result: Result, system: str) -> list[str]:
    """One numeric, one design, one sceptical."""
    load, target = max(result.load), result.scenario.target.limit
    half = amount(0.5 * result.litres_total, system)
    return [
        f"The sheets took up {shown(1e3 * load)} g/m² and the target is {shown(1e3 * target)} g/m²."
        " How often must what is in them be halved? Read off picture 1 how long one halving takes "
        "late in the wash.",
        f"Tomorrow the same prints must do with {half}. What would you change first, and what "
        "would it cost in minutes?",
        "A drop on the corner of the top print shows nothing. What do you know then of the print "
        "in the middle of the pile, of its back, and of silver?",
    ]
