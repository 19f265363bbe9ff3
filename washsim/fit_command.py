"""``washsim fit``: test strips correct a scenario, and say what to do and test next."""

from __future__ import annotations

import argparse
import json
from datetime import date
from typing import Any

from rich.table import Table
from rich.text import Text

from washsim import (
    __version__,
    agreement,
    decisions,
    files,
    findings,
    fitting,
    logbook,
    observing,
    readings,
    rivals,
    season,
    strips,
    tables,
)
from washsim.band import solve_band
from washsim.errors import InputError
from washsim.observing import Observation
from washsim.readings import Tests
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.terminal import Terminal, number, place, progress, write


def add_command(commands: Any) -> None:
    """Tell the parser of `fit`."""
    one = commands.add_parser("fit", help="let test strips correct a scenario")
    one.add_argument("file", help="scenario file, as it was washed")
    one.add_argument("readings", nargs="+", help="files of readings, one for each scale")
    one.add_argument("--json", action="store_true", help="one JSON object on stdout")
    help_ = "write the scenario with its paper as learnt; '-' for stdout"
    one.add_argument("--write", metavar="FILE", help=help_)
    one.add_argument(
        "--explanations", action="store_true", help="weigh slow, held and both as well"
    )
    one.add_argument(
        "--residual-silver",
        choices=("not_tested", "none", "stained"),
        default="not_tested",
        help="what the drop for residual silver showed",
    )
    one.add_argument(
        "--log",
        nargs="?",
        const="",
        metavar="FOLDER",
        help="begin from what the evenings of the log taught, not from the tables",
    )
    one.add_argument("--paper", default="", help="with --log: the paper, in the log's words")
    one.add_argument("--batch", default="", help="with --log: the batch of the paper")
    one.add_argument("--minutes-left", type=_minutes, help="of the evening, from now")
    one.set_defaults(run=_fit)


def _minutes(text: str) -> float:
    try:
        found = float(text)
    except ValueError:
        found = -1.0
    if not 0 <= found <= 6000:
        raise argparse.ArgumentTypeError(f"expected 0 to 6000 min, got {text!r}")
    return found


def _fit(given: argparse.Namespace) -> int:
    if given.json and given.write == "-":
        raise InputError("--write: expected a file name beside --json, not '-' for stdout as well")
    scenario = fitting.untold(files.load(given.file))
    tests = [readings.load(file) for file in given.readings]
    seen: list[Observation] = []
    for number_of, (file, one) in enumerate(zip(given.readings, tests, strict=True)):
        with place(file):
            seen += observing.observations(scenario, one, number_of)
    belief = None if given.log is None else _learnt(given, scenario)
    with place(given.readings[0]), progress("fitting") as tell:
        found = fitting.fit(scenario, tuple(seen), belief=belief, progress=tell)
        before, after = solve_band(scenario), solve_band(scenario, found.sample)
    summary = findings.summary(found, before, after)
    explained = None
    if given.explanations:
        together = _joined(tests)
        with place(given.file), progress("weighing explanations") as tell:
            own = found if belief is None and len(tests) == 1 else None
            explained = agreement.explanations(scenario, together, own=own, progress=tell)
        summary["explanations"] = [{"name": x.name, "share": x.share} for x in explained]
    if given.write is not None:
        text = _own(found, summary)
        write(given.write, lambda stream: stream.write(text))
    if given.json:
        print(json.dumps(summary, indent=2, allow_nan=False))
    elif given.write != "-":
        _say(found, tests, summary, explained, given)
    return 0


def _learnt(given: argparse.Namespace, scenario: Scenario) -> fitting.Belief | None:
    """What the evenings of the log let one think of this one, up to today."""
    where = logbook.folder(given.log or None)
    evenings, faults = logbook.entries(where)
    for fault in faults:
        Terminal(stderr=True).print(Text(f"washsim: {fault} (left as it is)"))
    with progress("fitting the log") as tell:
        fitted = season.fits(evenings, progress=tell)
    if not fitted:
        raise InputError(f"--log: expected an entry with readings, {where} has none")
    tonight = logbook.Entry(
        date=date.today().isoformat(), paper=given.paper, batch=given.batch, scenario=scenario
    )
    return season.before(tonight, [(evenings[name], one.belief) for name, one in fitted.items()])


def _joined(tests: list[Tests]) -> Tests:
    """Readings of several files as one, for explanations; their scales must agree."""
    if len({one.ladder for one in tests}) > 1:
        raise InputError("--explanations: expected readings on one ladder, got several")
    every = tuple(reading for one in tests for reading in one.readings)
    return Tests(ladder=tests[0].ladder, readings=every)


def _own(found: fitting.Fit, summary: dict[str, Any]) -> str:
    """The scenario with its paper as learnt, as TOML; what it comes to as comments."""
    lines = [
        f"# Paper as learnt from {len(found.seen)} readings by washsim {__version__}: as the",
        "# scenario stands, the middle one of the draws below; its band is all of them.",
        "# Factors on the tables' numbers, 5, 50 and 95 % of the draws:",
    ]
    for name, each in summary["unknowns"].items():
        factors = ", ".join(f"{x:.3g}" for x in each["factor"])
        lines.append(f"#   {name}: {factors}")
    return "\n".join(lines) + "\n" + files.dumps(fitting.fitted_scenario(found))


def _say(
    found: fitting.Fit,
    tests: list[Tests],
    summary: dict[str, Any],
    explained: tuple[agreement.Explained, ...] | None,
    given: argparse.Namespace,
) -> None:
    """The fit for people: agreement and causes first, then what was learnt, then what to do."""
    console = Terminal()
    console.print(Text(summary["title"], "bold"))
    console.print(_readings_table(summary))
    _print_causes(console, found.scenario, tests)
    for far in agreement.unreachable(found):
        console.print(
            Text(
                f"No number within the bands leads to {observing.said(far.seen)}: do not trust "
                "this fit, something else happened.",
                "bold",
            )
        )
    console.print(_learnt_table(found, summary))
    console.print(_before_and_after(summary))
    if explained is not None:
        console.print(Text(agreement.verdict(explained)))
        if explained[0].share < 0.95:
            plan = rivals.two_strips(explained[0].name, explained[1].name)
            console.print(Text(plan.text))
    steps = next((t.ladder.residuals(found.scenario) for t in tests if t.ladder), None)
    thinned = found.sample.part(slice(0, 128))
    console.print(Text.assemble(("Next:", "bold"), " "), end="")
    console.print(Text(strips.next_strips(found.scenario, thinned, steps)[0].text))
    limit = found.scenario.target.limit
    if any(one.what != "water" and one.middle > limit and one.low > 0 for one in found.seen):
        _print_decisions(console, found, tests, given)
    caution = tables.entry("limits.caution.text.silver_nitrate")
    console.print(Text.assemble(("Mind:", "bold"), " ", caution))


def _readings_table(summary: dict[str, Any]) -> Table:
    table = Table(title="Readings against what was foretold", title_justify="left")
    table.add_column("seen")
    for name in ("foretold", "score", "", "as fitted"):
        table.add_column(name, justify="right")
    for one in summary["readings"]:
        key, unit = next(
            (k, u) for k, u in (("foretold_g_m2", "g/m²"), ("foretold_mg_l", "mg/L")) if k in one
        )
        table.add_row(
            Text(one["seen"]),
            f"{one[key]:.2g} {unit}",
            f"{one['score']:+.1f}",
            one["word"],
            f"{one['after'][key]:.2g} {unit}",
        )
    return table


def _print_causes(console: Terminal, scenario: Scenario, tests: list[Tests]) -> None:
    """Of each reading that disagrees, what to look into before the paper gets the blame."""
    for one in tests:
        found = agreement.scores(scenario, observing.observations(scenario, one))
        for i, score in enumerate(found):
            if score.word != "disagrees":
                continue
            head = f"Reading {i + 1} disagrees. Look into this before the fit is believed:"
            console.print(Text(head, "bold"))
            for cause in agreement.causes(scenario, one, i + 1):
                mark = " (a run shows that it can be)" if cause.tried else ""
                console.print(Text(f"  - {cause.text}{mark}"))


def _learnt_table(found: fitting.Fit, summary: dict[str, Any]) -> Table:
    """Unknowns of which the readings say anything; how many stay as they were."""
    others = len(found.narrowed) - len(found.told)
    note = f"{others} others stay as they were" if others else None
    table = Table(
        title="What the readings say of the unknown numbers", title_justify="left", caption=note
    )
    table.add_column("unknown")
    for name in ("factor, 5 %", "50 %", "95 %", "spread left"):
        table.add_column(name, justify="right")
    labels = {one.name: one.label for one in found.unknowns}
    for name in found.told:
        each = summary["unknowns"][name]
        table.add_row(
            Text(labels[name]),
            *(f"{x:.2g}" for x in each["factor"]),
            f"{100 * each['narrowed']:.0f} %",
        )
    return table


def _before_and_after(summary: dict[str, Any]) -> Table:
    table = Table(title="The wash, 5, 50 and 95 % of the draws", title_justify="left")
    table.add_column("")
    for name in ("before", "after"):
        table.add_column(name, justify="right")

    def three(values: list[float | None], unit: str = "") -> str:
        return ", ".join("never" if x is None else number(x, 2) for x in values) + unit

    pair = [summary[key] for key in ("before", "after")]
    worst, minutes = "worst_residual_g_m2", "minutes_to_target"
    table.add_row("worst sheet ends at, g/m²", *(three(each[worst]) for each in pair))
    table.add_row("minutes to target", *(three(each[minutes]) for each in pair))
    table.add_row("chance to meet the target", *(f"{100 * each['chance']:.0f} %" for each in pair))
    names = ("effective_diffusivity_before_m2_s", "effective_diffusivity_m2_s")
    table.add_row(
        "effective diffusivity, 1e-11 m²/s",
        *(three([1e11 * x for x in summary[name]]) for name in names),
    )
    return table


def _print_decisions(
    console: Terminal, found: fitting.Fit, tests: list[Tests], given: argparse.Namespace
) -> None:
    console.print(Text("The patch stains. In this order:", "bold"))
    every = Tests(readings=tuple(x for one in tests for x in one.readings), ladder=tests[0].ladder)
    listed = decisions.when_stained(
        solve(found.scenario),
        every,
        residual_silver=given.residual_silver,
        sample=found.sample.part(slice(0, 128)),
        minutes_left=given.minutes_left,
    )
    for i, one in enumerate(listed, start=1):
        console.print(Text(f"  {i}. {one.text}"))
        console.print(Text(f"     {one.why}", "dim"))
