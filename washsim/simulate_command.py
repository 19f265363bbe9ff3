"""``washsim simulate`` and ``compare``: scenarios washed, and what came of them as tables."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from typing import Any

from rich.table import Table
from rich.text import Text

from washsim import advice, export, files, ledger
from washsim.band import Band, solve_band
from washsim.errors import InputError
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.terminal import DEMO, Terminal, asked_for, number, place, progress, write
from washsim.units import SYSTEMS, UNITS, gram, in_system, kilowatt_hour, litre

_NO_BAND = "only the numbers as they stand, without draws from the bands of what is unmeasured"

_UNITS = "of water and warmth; residuals stay in g/m², JSON and CSV as they are"


def add_commands(commands: argparse._SubParsersAction) -> None:
    """Add ``simulate`` and ``compare`` to a parser's commands."""
    one = commands.add_parser("simulate", help="wash one scenario and say what came of it")
    one.add_argument("file", nargs="?", help="scenario file; without one, the demo evening")
    one.add_argument("--json", action="store_true", help="one JSON object on stdout")
    one.add_argument("--no-band", action="store_true", help=_NO_BAND)
    one.add_argument("--csv", metavar="FILE", help="write the curves; '-' for stdout")
    one.add_argument("--evenings", type=int, metavar="N", help="evenings like this in a year")
    one.add_argument("--units", choices=SYSTEMS, default="metric", help=_UNITS)
    one.set_defaults(run=_simulate)
    several = commands.add_parser("compare", help="two or more scenarios side by side")
    several.add_argument("files", nargs="+", metavar="file", help="scenario files")
    several.add_argument("--json", action="store_true", help="a list of JSON objects on stdout")
    several.add_argument("--no-band", action="store_true", help=_NO_BAND)
    several.add_argument("--units", choices=SYSTEMS, default="metric", help=_UNITS)
    several.set_defaults(run=_compare)


def _simulate(given: argparse.Namespace) -> int:
    if given.json and given.csv == "-":
        raise InputError("--csv: expected a file name beside --json, not '-' for stdout as well")
    scenario = asked_for(given.file)
    with place(given.file or DEMO):
        result, doubt = _solved(scenario, not given.no_band)
    found = export.summary(result, doubt, given.evenings)
    if given.csv is not None:
        write(given.csv, lambda stream: export.write_csv(result, stream))
    if given.json:
        print(json.dumps(found, indent=2, allow_nan=False))
    elif given.csv != "-":
        found["sentence"] = advice.sentence(result, given.units)
        _report(found, given.units)
        _bills(ledger.ledger(result, given.evenings), given.units)
        for caution in advice.cautions(result, given.units):
            Terminal().print(Text.assemble(("Mind:", "bold"), " ", caution))
    return 0


def _compare(given: argparse.Namespace) -> int:
    scenarios = [files.load(file) for file in given.files]
    summaries = []
    for file, scenario in zip(given.files, scenarios, strict=True):
        with place(file):
            result, doubt = _solved(scenario, not given.no_band)
        summaries.append(export.summary(result, doubt))
        if not given.json:
            summaries[-1]["sentence"] = advice.sentence(result, given.units)
    if given.json:
        print(json.dumps(summaries, indent=2, allow_nan=False))
        return 0
    console = Terminal()
    table = Table(title="Side by side", title_justify="left")
    table.add_column("")
    for each in summaries:
        table.add_column(Text(each["title"]), justify="right", overflow="fold")
    for label, text in _rows(given.units):
        table.add_row(label, *(text(each) for each in summaries))
    console.print(table)
    for each in summaries:
        console.print(Text.assemble((each["title"], "bold"), ": ", each["sentence"]))
    return 0


def _solved(scenario: Scenario, doubt: bool) -> tuple[Result, Band | None]:
    """Solve, in doubt with a band, and with a progress bar."""
    with progress("washing") as tell:
        if not doubt:
            return solve(scenario, tell), None
        found = solve_band(scenario, progress=tell)
        return found.nominal, found


def _last_ratio(summary: dict[str, Any]) -> float | None:
    ratios = [step["water_to_paper_l_m2"] for step in summary["steps"]]
    return next((ratio for ratio in reversed(ratios) if ratio is not None), None)


def _chance(band: dict[str, Any] | None) -> str:
    """In whole percent, never more certain than the number of draws allows."""
    if band is None:
        return "–"
    least = 1 / band["draws"]
    if band["chance"] < least:
        return f"under {100 * least:.1g} %"
    if band["chance"] > 1 - least:
        return f"over {100 * (1 - least):.0f} %"
    return f"{100 * band['chance']:.0f} %"


def _span(band: dict[str, Any] | None, key: str) -> str:
    if band is None:
        return "–"
    low, _, high = band[key]
    if low is None:
        return "never"
    return f"{number(low, 2)} to {'never' if high is None else number(high, 2)}"


def _measure(suffix: str, system: str) -> tuple[str, Callable[[float | None], str]]:
    """The label of the unit that people of a system use, and a metric number told in it."""
    metric = UNITS[suffix]
    unit = in_system(metric, system)

    def told(value: float | None) -> str:
        return number(None if value is None else unit.from_si(metric.to_si(value)))

    return unit.label, told


def _rows(system: str) -> list[tuple[str, Callable[[dict[str, Any]], str]]]:
    """Label and text of each line about a whole summary."""
    litres, water = _measure("l", system)
    ratios, ratio = _measure("l_m2", system)
    return [
        ("sheets", lambda s: f"{s['sheet_count']} ({number(s['paper_m2'])} m²)"),
        ("load after fixing, g/m²", lambda s: number(s["load_g_m2"])),
        ("worst sheet ends at, g/m²", lambda s: number(s["worst_residual_g_m2"])),
        ("target, g/m²", lambda s: number(s["target_g_m2"])),
        ("target met", lambda s: "yes" if s["meets_target"] else "NO"),
        ("chance of that, all doubt in", lambda s: _chance(s["band"])),
        ("minutes to target", lambda s: number(s["minutes_to_target"])),
        ("the same, 5 to 95 % of draws", lambda s: _span(s["band"], "minutes_to_target")),
        ("all under it, min from the first", lambda s: number(s["minutes_until_all"])),
        ("worst sheet, 5 to 95 % of draws", lambda s: _span(s["band"], "worst_residual_g_m2")),
        ("floor of the last water, g/m²", lambda s: number(s["floor_g_m2"])),
        (f"last vessel, {ratios} of paper", lambda s: ratio(_last_ratio(s))),
        (f"fresh water, {litres}", lambda s: water(s["litres_total"])),
        ("wet at longest, min", lambda s: number(s["wet_longest_min"])),
        (f"per sheet, {litres}", lambda s: water(s["litres_per_sheet"])),
        ("price", lambda s: number(s["cost_total"])),
        ("heat, kWh", lambda s: number(s["heat_kwh"])),
    ]


def _report(found: dict[str, Any], system: str) -> None:
    """Tables for a terminal, of a result's summary."""
    litres, water = _measure("l", system)
    ratios, ratio = _measure("l_m2", system)
    console = Terminal()
    # people's words as Text: nothing in them is read as markup
    console.print(Text(found["title"], "bold"))
    console.print(Text(found["sentence"]))
    table = Table(title="Step by step", title_justify="left")
    table.add_column("step")
    for name in ("minutes", f"water, {litres}", f"vessel, {ratios}", "worst, g/m²"):
        table.add_column(name, justify="right")
    table.add_column("limited at its end by")
    for step in found["steps"]:
        table.add_row(
            f"{step['step']} {step['kind']}",
            f"{step['start_min']:.0f} to {step['stop_min']:.0f}",
            water(step["litres"]),
            ratio(step["water_to_paper_l_m2"]),
            number(step["worst_residual_g_m2"]),
            step["limits"],
        )
    console.print(table)
    table = Table(title="In all", title_justify="left", show_header=False)
    for label, text in _rows(system):
        table.add_row(label, text(found))
    halves = ", ".join(number(x / 60, 2) for x in found["half_lives_s"])
    table.add_row("half-lives in the last water, min", halves)
    table.add_row("numerical error", f"{found['numerical_error']:.0e}")
    console.print(table)


def _bills(found: ledger.Ledger, system: str) -> None:
    """The ledger, for a terminal; without silver where nobody said what the fixer holds."""
    columns = [
        ("evening", found.evening),
        ("print", found.per_print),
        ("m² of paper", found.per_m2),
    ]
    if found.per_year is not None:
        columns.append((f"year of {found.evenings}", found.per_year))
    table = Table(title="Ledger", title_justify="left")
    table.add_column("per")
    for name, _ in columns:
        table.add_column(name, justify="right")
    unit, water = _measure("l", system)
    table.add_row(f"fresh water, {unit}", *(water(bill.water / litre) for _, bill in columns))
    for label, text in _BILL if found.silver_known else _BILL[:-1]:
        table.add_row(label, *(number(text(bill)) for _, bill in columns))
    console = Terminal()
    console.print(table)
    sentences = (
        ledger.sentence(found, system),
        ledger.first_sentence(found, system),
        *ledger.uncounted(found),
    )
    for words in sentences:
        if words:
            console.print(Text(words))


_BILL: list[tuple[str, Callable[[ledger.Bill], float]]] = [
    ("price of water and heat", lambda bill: bill.cost),
    ("heat, kWh", lambda bill: bill.heat / kilowatt_hour),
    ("silver in the wash water, g", lambda bill: bill.silver / gram),  # last: see `_bills`
]
