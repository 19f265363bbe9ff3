"""``washsim plan``: the front of litres against minutes, for people, machines and as files."""

from __future__ import annotations

import argparse
import json
import math
from functools import partial
from pathlib import Path
from typing import Any, TextIO

from rich.table import Table
from rich.text import Text

from washsim import advice, cores, files, planner
from washsim.errors import InputError
from washsim.plans import HANDS, Front, Plan, Wish, too_short, too_small
from washsim.recipes import Aid
from washsim.result import Result
from washsim.solve import solve
from washsim.terminal import DEMO, Terminal, asked_for, number, place, progress, write
from washsim.units import SYSTEMS, UNITS, amount, gram, in_system, litre, minute, rounded

PLAN_FORMAT = "washsim-plan-1"
COUNTED = (
    "Minutes count from the first print leaving the fixer, draining and the coming of prints "
    "included; a dwell includes its dumping and filling."
)
NONE_FOUND = 1
"""Exit status where no plan meets the wish."""


def add_command(commands: Any) -> None:
    """Tell the parser of `plan`."""
    plan = commands.add_parser(
        "plan", help="find the least water that meets the target in the time there is"
    )
    plan.add_argument("file", nargs="?", help="scenario file; without one, the demo evening")
    plan.add_argument(
        "--minutes",
        type=_number,
        metavar="N",
        help="time from the first print leaving the fixer; else as long as the file's own steps",
    )
    plan.add_argument(
        "--chance",
        type=_number,
        default=0.9,
        metavar="P",
        help="share of the draws in which the worst print must meet the target (0.9)",
    )
    plan.add_argument(
        "--margin", type=_number, default=1.0, metavar="F", help="stay under the target over F (1)"
    )
    plan.add_argument("--aid", action="store_true", help="a wash aid is at hand")
    plan.add_argument(
        "--no-rinse",
        action="store_true",
        help="no print is rinsed by itself before a holding bath or a wash aid",
    )
    plan.add_argument("--units", choices=SYSTEMS, default="metric", help="of water")
    plan.add_argument("--json", action="store_true", help="one JSON object on stdout")
    plan.add_argument("--write", metavar="DIR", help="write each plan as a scenario file there")
    plan.set_defaults(run=run_plan)


def _number(text: str) -> float:
    """A finite number, for argparse."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"expected a number, got {text!r}")
    return value


def run_plan(given: argparse.Namespace) -> int:
    """Search, tell, write; status 0, or NONE_FOUND."""
    scenario = asked_for(given.file)
    aided = given.aid or any(isinstance(step, Aid) for step in scenario.steps)
    with place(given.file or DEMO), progress("planning") as tell:
        own = solve(scenario)
        seconds = _own_seconds(own) if given.minutes is None else given.minutes * minute
        wish = Wish(
            seconds=seconds,
            chance=given.chance,
            margin=given.margin,
            aid=aided,
            rinse=not given.no_rinse,
        )
        front = planner.plan(scenario, wish, progress=tell, executor=cores.executor())
    written = _write_plans(front, given.write) if given.write else []
    if given.json:
        print(json.dumps(summary(front), indent=2, allow_nan=False))
    else:
        _report(front, own, given.units)
        for path in written:
            Terminal().print(Text(f"wrote {path}"))
    return 0 if front.plans else NONE_FOUND


def _own_seconds(own: Result) -> float:
    timeline = own.run.timeline
    return timeline.stages[-1].stop - timeline.stages[1].start


def summary(front: Front) -> dict[str, Any]:
    """The front for machines; each scenario as the text of its file."""
    wish = front.wish
    return {
        "format": PLAN_FORMAT,
        "title": front.own.scenario.title,
        "minutes": wish.seconds / minute,
        "chance": wish.chance,
        "margin": wish.margin,
        "aid": wish.aid,
        "rinse": wish.rinse,
        "target_g_m2": front.own.scenario.target.limit / gram,
        "draws": front.sample.members,
        "own": _row(front.own),
        "plans": [_row(one) for one in front.plans],
        "closest": front.closest and _row(front.closest),
        "soonest": front.soonest and _row(front.soonest),
        "hands": front.hands,
    }


def _row(plan: Plan) -> dict[str, Any]:
    return {
        "minutes": plan.seconds / minute,
        "litres": plan.volume / litre,
        "chance": plan.chance,
        "residual_g_m2": plan.residual / gram,
        "words": plan.words(),
        "scenario": files.dumps(plan.scenario),
    }


def _write_plans(front: Front, folder: str) -> list[Path]:
    """plan-1.toml and so on; InputError where one is there already."""
    paths = [Path(folder) / f"plan-{i}.toml" for i in range(1, len(front.plans) + 1)]
    for path in paths:
        if path.exists():
            raise InputError(f"{path}: is there already; move it or choose another folder")
    try:
        Path(folder).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: cannot be made ({error.strerror or error})") from None
    for path, plan in zip(paths, front.plans, strict=True):
        write(str(path), partial(_fill, plan))
    return paths


def _fill(plan: Plan, stream: TextIO) -> None:
    stream.write(files.dumps(plan.scenario))


def _report(front: Front, own: Result, units: str) -> None:
    """Tables and sentences for a"""
    console = Terminal()
    scenario = front.own.scenario
    console.print(Text(scenario.title, "bold"))
    # whether prints are fixed goes before how they wash: no wash mends that
    for caution in advice.unfixed(own):
        console.print(Text.assemble(("Mind:", "bold"), " ", caution))
    console.print(Text(asked(front)))
    table = Table(title="Plans", title_justify="left")
    table.add_column("")
    unit = in_system(UNITS["l"], units)
    for name in ("minutes", f"water, {unit.label}", "chance"):
        table.add_column(name, justify="right")
    table.add_column("steps")
    named = [("your steps", front.own)]
    named += [(str(i), one) for i, one in enumerate(front.plans, start=1)]
    named += [("closest", front.closest)] if front.closest else []
    named += [("soonest", front.soonest)] if front.soonest else []
    for name, one in named:
        table.add_row(
            name,
            f"{one.seconds / minute:.0f}",
            number(unit.from_si(one.volume)),
            f"{100 * one.chance:.0f} %",
            Text(one.words(units)),
        )
    console.print(table)
    good_to = math.ceil(100 * front.chance_error)
    console.print(
        Text(f"Chances are shares of {front.sample.members} draws, good to {good_to} in 100.")
    )
    for words in verdict(front, own, units):
        console.print(Text(words))
    if small := too_small(front.own.scenario, units):
        console.print(Text(small))


def asked(front: Front) -> str:
    """What was asked, in a sentence."""
    wish = front.wish
    limit = rounded(front.own.scenario.target.limit / wish.margin / gram)
    return (
        f"Asked: every print under {limit} g/m² in {rounded(100 * wish.chance)} of 100 draws of "
        f"what is unmeasured, within {rounded(wish.seconds / minute)} min of the first print "
        f"leaving the fixer."
    )


def verdict(front: Front, own: Result, units: str = "metric") -> list[str]:
    """What came of it, in sentences."""
    if not front.plans:
        return _none(front, units)
    least = front.plans[-1]
    mine, saved = front.own, front.own.volume - least.volume
    words = [
        f"Least water: {amount(least.volume, units)} in {least.seconds / minute:.0f} min. "
        f"Least time: {amount(front.plans[0].volume, units)} in "
        f"{front.plans[0].seconds / minute:.0f} min."
    ]
    if mine.chance < front.wish.chance:
        words.append(
            f"Your own steps take {amount(mine.volume, units)} and {mine.seconds / minute:.0f} min "
            f"and do not meet what was asked: their chance is {100 * mine.chance:.0f} %."
        )
        return [*words, COUNTED]
    if saved > 0:
        words.append(
            f"Your own steps take {amount(mine.volume, units)} and "
            f"{mine.seconds / minute:.0f} min: the plan with least water saves "
            f"{amount(saved, units)}, {100 * saved / mine.volume:.0f} %."
        )
    longer, equal = planner.seconds_to_equal(least, own.worst_residual), own.worst_residual / gram
    words.append(
        f"By the numbers as they stand your own steps end at {equal:.2g} g/m². "
        + (
            f"{planner.AS_LONG / minute:.0f} min more in the last water of the plan with least "
            f"water would not come to that."
            if longer is None
            else f"The plan with least water comes to that with {longer / minute:.0f} min more "
            f"in its last water."
        )
    )
    return [*words, COUNTED]


def _none(front: Front, units: str) -> list[str]:
    wish = front.wish
    words = [
        f"No plan: nothing found with these vessels meets it within "
        f"{rounded(wish.seconds / minute)} min."
    ]
    if front.closest is None and too_short(front.own.scenario):
        words.append("The time is shorter than the prints take to come and one short filling.")
    if front.soonest is not None:
        words.append(
            f"Soonest: {front.soonest.seconds / minute:.0f} min with "
            f"{amount(front.soonest.volume, units)}."
        )
    else:
        words.append(f"Nothing found in {planner.WAIT:g} times the time either.")
    if front.hands:
        words.append(HANDS)
    return words
