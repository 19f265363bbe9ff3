"""``washsim influence``: what matters for this evening, for people and for machines."""

from __future__ import annotations

import argparse
import json
import math
from typing import Any

from rich.table import Table
from rich.text import Text

from washsim.influence import Effect, Influence, Outcome, influence, sentence, swing
from washsim.scenario import Scenario
from washsim.terminal import DEMO, Terminal, asked_for, place, progress
from washsim.units import gram, litre, minute, rounded

FORMAT = "washsim-influence-1"
SHOWN = 0.01
"""Shares of the doubt below this are left out of the table."""


def add_command(commands: Any) -> None:
    """Tell the parser of `influence`."""
    one = commands.add_parser("influence", help="say what matters for an evening, and what not")
    one.add_argument("file", nargs="?", help="scenario file; without one, the demo evening")
    one.add_argument("--json", action="store_true", help="one JSON object on stdout")
    one.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    """Compute and tell."""
    scenario = asked_for(given.file)
    with place(given.file or DEMO), progress("trying every number") as tell:
        found = influence(scenario, tell)
    if given.json:
        print(json.dumps(summary(scenario, found), indent=2, allow_nan=False))
    else:
        _report(scenario, found)
    return 0


def summary(scenario: Scenario, found: Influence) -> dict[str, Any]:
    """The effects and shares for machines; swing null: the target is met at one end only."""
    return {
        "format": FORMAT,
        "title": scenario.title,
        "target_g_m2": scenario.target.limit / gram,
        "nominal": _outcome(found.nominal),
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


def _report(scenario: Scenario, found: Influence) -> None:
    """Sentences for what can be turned, tables for what is unmeasured."""
    console = Terminal()
    console.print(Text(scenario.title, "bold"))
    if found.nominal.seconds is None or found.nominal.volume is None:
        now = "never, by the numbers as they stand"
    else:
        now = (
            f"after {found.nominal.seconds / minute:.0f} min and "
            f"{rounded(found.nominal.volume / litre)} L, by the numbers as they stand"
        )
    console.print(
        Text(
            f"Every print is under {rounded(scenario.target.limit / gram)} g/m² for good {now}. "
            f"Where the steps end too early, the last is taken to go on."
        )
    )
    console.print(Text("What you can turn", "bold"))
    for one in found.effects:
        if not one.unknown:
            console.print(Text(f"- {sentence(one, found.nominal)}"))
    console.print(Text("What nobody has measured, at both ends of its band", "bold"))
    for one in found.effects:
        if one.unknown:
            console.print(Text(f"- {sentence(one, found.nominal)}"))
    table = Table(title="Share of the doubt about what is left at the end", title_justify="left")
    table.add_column("unknown")
    table.add_column("alone", justify="right")
    table.add_column("in company", justify="right")
    for label, alone, total in found.shares:
        if total >= SHOWN:
            table.add_row(label, f"{100 * alone:.0f} %", f"{100 * total:.0f} %")
    console.print(table)
