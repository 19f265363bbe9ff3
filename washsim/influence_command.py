"""``washsim influence``: what matters for this evening, for people and for machines."""

from __future__ import annotations

import argparse
import json
import math
from typing import Any

from rich.table import Table
from rich.text import Text

from washsim.influence import (
    VERDICTS,
    Effect,
    Influence,
    Outcome,
    ends_of,
    influence,
    minutes,
    sentence,
    swing,
    told,
    verdict,
)
from washsim.scenario import Scenario
from washsim.terminal import DEMO, Terminal, asked_for, place, progress
from washsim.units import SYSTEMS, gram, litre, minute, rounded

FORMAT = "washsim-influence-1"
SHOWN = 0.01
"""Shares of the doubt below this are left out of the table."""


def add_command(commands: Any) -> None:
    """Tell the parser of `influence`."""
    one = commands.add_parser("influence", help="say what matters for an evening, and what not")
    one.add_argument("file", nargs="?", help="scenario file; without one, the demo evening")
    one.add_argument("--units", choices=SYSTEMS, default="metric", help="of water and warmth")
    one.add_argument("--json", action="store_true", help="one JSON object on stdout")
    one.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    """Compute and tell."""
    scenario = asked_for(given.file)
    with place(given.file or DEMO), progress("trying every number") as tell:
        found = influence(scenario, tell, given.units)
    if given.json:
        print(json.dumps(summary(scenario, found), indent=2, allow_nan=False))
    else:
        _report(scenario, found, given.units)
    return 0


def summary(scenario: Scenario, found: Influence) -> dict[str, Any]:
    """The effects and shares for machines, litres always; swing null: the target is met at one end
    only."""
    return {
        "format": FORMAT,
        "title": scenario.title,
        "target_g_m2": scenario.target.limit / gram,
        "nominal": _outcome(found.nominal),
        "steps_end_minutes": found.end / minute,
        "goes_on": found.goes_on,
        "left_out": list(found.left_out),
        "effects": [_effect(one, found.nominal) for one in found.effects],
        "doubt": [
            {"label": label, "alone": alone, "in_company": total}
            for label, alone, total in found.shares
        ],
    }


def _effect(one: Effect, nominal: Outcome) -> dict[str, Any]:
    size = swing(one, nominal)
    return {
        "label": one.label,
        "kind": "unknown" if one.unknown else "knob",
        "low": one.low,
        "high": one.high,
        "at_low": _outcome(one.at_low),
        "at_high": _outcome(one.at_high),
        "swing": size if math.isfinite(size) else None,
        "sentence": sentence(one, nominal),
    }


def _outcome(one: Outcome) -> dict[str, Any]:
    return {
        "minutes": None if one.seconds is None else one.seconds / minute,
        "litres": None if one.volume is None else one.volume / litre,
        "residual_g_m2": one.residual / gram,
    }


def _report(scenario: Scenario, found: Influence, system: str) -> None:
    """Sentences for what can be turned, tables for what is unmeasured."""
    console = Terminal()
    console.print(Text(scenario.title, "bold"))
    console.print(Text(as_it_stands(scenario, found, system)))
    console.print(Text("What you can turn", "bold"))
    for one in found.effects:
        if not one.unknown:
            console.print(Text(f"- {sentence(one, found.nominal, system)}"))
    for label in found.left_out:
        console.print(Text(f"- Not tried, for the steps cannot be carried out so: {label}."))
    console.print(
        Text(
            "Fixing time is judged by the wash alone: whether a print is fixed in less, "
            "washsim simulate says."
        )
    )
    _unmeasured(console, [one for one in found.effects if one.unknown], found.nominal, system)
    if not found.shares:
        return
    table = Table(
        title="Share of the doubt about what is left when the steps end", title_justify="left"
    )
    table.add_column("unknown")
    table.add_column("alone", justify="right")
    table.add_column("in company", justify="right")
    for label, alone, total in found.shares:
        if total >= SHOWN:
            table.add_row(label, f"{100 * alone:.0f} %", f"{100 * total:.0f} %")
    console.print(table)
    console.print(
        Text(
            "Alone: the part of the doubt that knowing this number would take away. In company: "
            "with what it does together with others. Good to about a tenth either way."
        )
    )


def as_it_stands(scenario: Scenario, found: Influence, system: str = "metric") -> str:
    """When the target is met without anything turned, beside the end of the steps."""
    limit = f"{rounded(scenario.target.limit / gram)} g/m²"
    end, nominal = f"{minutes(found.end)} min", found.nominal
    counted = "Minutes count from the first print leaving the fixer."
    if nominal.seconds is not None and nominal.seconds <= found.end:
        text = (
            f"By the numbers as they stand every print is under {limit} for good after "
            f"{told(nominal, system)}; the steps end at {end}. {counted}"
        )
        return f"{text} Where they end too early, the last goes on." if found.goes_on else text
    text = (
        f"The steps end at {end} with {rounded(nominal.residual / gram, 2)} g/m² in the worst "
        f"print, over the target of {limit}, by the numbers as they stand."
    )
    if not found.goes_on:
        return f"{text} They are taken as they are. {counted}"
    if nominal.seconds is None:
        return f"{text} If the last goes on, it is not met either. {counted}"
    return f"{text} If the last goes on, it is met after {told(nominal, system)}. {counted}"


def _unmeasured(console: Terminal, effects: list[Effect], nominal: Outcome, system: str) -> None:
    """What nobody has measured at both ends of its band; what hardly matters in one line."""
    if not effects:
        console.print(Text("Nothing here rests on a number that nobody has measured."))
        return
    hardly = [one for one in effects if verdict(one, nominal) == VERDICTS[0][1]]
    table = Table(title="What nobody has measured, at both ends of its band", title_justify="left")
    for name in ("unknown", "low", "high"):
        table.add_column(name)
    table.add_column("matters")
    for one in effects:
        if one not in hardly:
            low, high = (
                Text(f"{end}: {told(at, system).replace(' and ', ', ')}")
                for end, at in ends_of(one)
            )
            words = verdict(one, nominal).removeprefix("matters").removesuffix("here").strip()
            table.add_row(one.label, low, high, words or "yes")
    if table.row_count:
        console.print(table)
    if hardly:
        console.print(Text(f"Hardly matter here: {', '.join(one.label for one in hardly)}."))
