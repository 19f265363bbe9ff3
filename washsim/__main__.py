"""The command line: ``washsim simulate``, ``compare``, ``sheet``, ``plan``, ``fit`` and more."""

from __future__ import annotations

import os

# before numpy comes in: at these sizes one BLAS thread is faster than several
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import contextlib
import io
import json
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

from rich.table import Table
from rich.text import Text

from washsim import (
    export,
    files,
    fit_command,
    influence_command,
    ledger,
    log_command,
    plan_command,
    wall_page,
    wall_sheet,
    wording,
)
from washsim.band import Band, solve_band
from washsim.errors import InputError, WashsimError
from washsim.fields import short
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.terminal import Terminal, number, place, progress, write
from washsim.units import SYSTEMS, gram, kilowatt_hour, litre

DEMO = "demo"
_NO_BAND = "only the numbers as they stand, without draws from the bands of what is unmeasured"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0 done, 2 bad input (one sentence on stderr)."""
    given = _parser().parse_args(arguments)
    if isinstance(sys.stdout, io.TextIOWrapper):
        # not every terminal has a superscript two
        sys.stdout.reconfigure(errors="replace")
    try:
        status: int = given.run(given)
        sys.stdout.flush()
        return status
    except WashsimError as error:
        print(f"washsim: {error}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        # the reader (head, less) has seen enough
        _forget_stdout()
        return 0
    except OSError as error:
        _forget_stdout()
        print(f"washsim: cannot write the output ({error.strerror or error})", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130


def _forget_stdout() -> None:
    """Send what is left in stdout nowhere, so that flushing it at exit does not fail again."""
    with contextlib.suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="washsim", description="How fixer washes out of silver-gelatin prints."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    one = commands.add_parser("simulate", help="wash one scenario and say what came of it")
    one.add_argument("file", nargs="?", help="scenario file; without one, the demo evening")
    one.add_argument("--json", action="store_true", help="one JSON object on stdout")
    one.add_argument("--no-band", action="store_true", help=_NO_BAND)
    one.add_argument("--csv", metavar="FILE", help="write the curves; '-' for stdout")
    one.add_argument("--evenings", type=int, metavar="N", help="evenings like this in a year")
    one.set_defaults(run=_simulate)
    several = commands.add_parser("compare", help="two or more scenarios side by side")
    several.add_argument("files", nargs="+", metavar="file", help="scenario files")
    several.add_argument("--json", action="store_true", help="a list of JSON objects on stdout")
    several.add_argument("--no-band", action="store_true", help=_NO_BAND)
    several.set_defaults(run=_compare)
    sheet = commands.add_parser("sheet", help="write an evening's wall sheet, with clock times")
    sheet.add_argument("file", nargs="?", help="scenario file; without one, the demo evening")
    sheet.add_argument("--start", default="19:30", help="when the first sheet is fixed (19:30)")
    sheet.add_argument("--clock", type=int, choices=wording.CLOCKS, default=24, help="hours")
    sheet.add_argument("--paper", choices=tuple(wall_page.PAPERS), default="a4", help="to print on")
    sheet.add_argument("--units", choices=SYSTEMS, default="metric", help="of water and warmth")
    sheet.add_argument("--text", action="store_true", help="plain text instead of HTML to print")
    sheet.add_argument("--to", metavar="FILE", help="where; '-' for stdout, else FILE.html here")
    sheet.set_defaults(run=_sheet)
    plan_command.add_command(commands)
    influence_command.add_command(commands)
    fit_command.add_command(commands)
    log_command.add_command(commands)
    app = commands.add_parser("serve", help="open the app in the browser")
    app.add_argument("--port", type=_port, default=0, help="port to listen on; else a free one")
    app.add_argument("--address", default="localhost", help="address to listen on")
    app.add_argument("--no-browser", action="store_true", help="do not open a browser")
    app.set_defaults(run=_serve)
    example = commands.add_parser("example", help="write a commented example scenario")
    example.add_argument("name", nargs="?", help="which one; without a name, list them")
    example.add_argument("--to", metavar="FILE", help="where; '-' for stdout, else NAME.toml here")
    example.set_defaults(run=_example)
    return parser


def _port(text: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 5 or int(text) > 65535:
        raise argparse.ArgumentTypeError(f"expected a port from 0 to 65535, got {short(text)}")
    return int(text)


def _scenario(file: str | None) -> Scenario:
    return files.example(DEMO) if file is None else files.load(file)


def _simulate(given: argparse.Namespace) -> int:
    if given.json and given.csv == "-":
        raise InputError("--csv: expected a file name beside --json, not '-' for stdout as well")
    scenario = _scenario(given.file)
    with place(given.file or DEMO):
        result, doubt = _solved(scenario, not given.no_band)
    found = export.summary(result, doubt, given.evenings)
    if given.csv is not None:
        write(given.csv, lambda stream: export.write_csv(result, stream))
    if given.json:
        print(json.dumps(found, indent=2, allow_nan=False))
    elif given.csv != "-":
        _report(found, doubt)
        _bills(ledger.ledger(result, given.evenings))
        for caution in found["cautions"]:
            Terminal().print(Text.assemble(("Mind:", "bold"), " ", caution))
    return 0


def _compare(given: argparse.Namespace) -> int:
    scenarios = [files.load(file) for file in given.files]
    summaries = []
    for file, scenario in zip(given.files, scenarios, strict=True):
        with place(file):
            summaries.append(export.summary(*_solved(scenario, not given.no_band)))
    if given.json:
        print(json.dumps(summaries, indent=2, allow_nan=False))
        return 0
    console = Terminal()
    table = Table(title="Side by side", title_justify="left")
    table.add_column("")
    for each in summaries:
        table.add_column(Text(each["title"]), justify="right", overflow="fold")
    for label, text in _ROWS:
        table.add_row(label, *(text(each) for each in summaries))
    console.print(table)
    for each in summaries:
        console.print(Text.assemble((each["title"], "bold"), ": ", each["sentence"]))
    return 0


def _sheet(given: argparse.Namespace) -> int:
    style = wording.Style(start=wording.start_of(given.start), hours=given.clock, units=given.units)
    scenario = _scenario(given.file)
    with place(given.file or DEMO):
        sheet = wall_sheet.wall_sheet(scenario, style)
    if given.text:
        write(given.to or "-", lambda stream: stream.write(wall_page.text(sheet)))
        return 0
    path = given.to or f"{Path(given.file or DEMO).stem}.html"
    if given.to is None and Path(path).exists():
        raise InputError(f"{path}: is there already; move it or choose another name with --to")
    write(path, lambda stream: stream.write(wall_page.html(sheet, given.paper)))
    if path != "-":
        count = len(wall_page.layout(sheet, given.paper).pages)
        told = "one page" if count == 1 else f"{count} pages, numbered: it does not fit one"
        print(f"wrote {path} ({told}); open it in a browser and print it")
    return 0


def _serve(given: argparse.Namespace) -> int:
    # the app is another package, above this one: reached by name, so that nothing here needs it
    app = import_module("washsim_dashboard.main")
    try:
        app.serve(port=given.port, address=given.address, show=not given.no_browser)
    except (OSError, ValueError) as error:
        raise InputError(
            f"serve: cannot listen at {given.address}:{given.port} ({error})"
        ) from None
    return 0


def _example(given: argparse.Namespace) -> int:
    if given.name is None:
        print("\n".join(files.examples()))
        return 0
    text = files.example_text(given.name)
    if given.to == "-":
        print(text, end="")
        return 0
    path = Path(given.to or f"{given.name}.toml")
    if path.exists():
        raise InputError(f"{path}: is there already; move it or choose another name with --to")
    write(str(path), lambda stream: stream.write(text))
    print(f"wrote {path}; run it with: washsim simulate {path}")
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


_ROWS: list[tuple[str, Callable[[dict[str, Any]], str]]] = [
    ("sheets", lambda s: f"{s['sheet_count']} ({number(s['paper_m2'])} m²)"),
    ("load after fixing, g/m²", lambda s: number(s["load_g_m2"])),
    ("worst sheet ends at, g/m²", lambda s: number(s["worst_residual_g_m2"])),
    ("target, g/m²", lambda s: number(s["target_g_m2"])),
    ("target met", lambda s: "yes" if s["meets_target"] else "NO"),
    ("chance of that, all doubt in", lambda s: _chance(s["band"])),
    ("minutes to target", lambda s: number(s["minutes_to_target"])),
    ("the same, 5 to 95 % of draws", lambda s: _span(s["band"], "minutes_to_target")),
    ("worst sheet, 5 to 95 % of draws", lambda s: _span(s["band"], "worst_residual_g_m2")),
    ("floor of the last water, g/m²", lambda s: number(s["floor_g_m2"])),
    ("last vessel, L per m² of paper", lambda s: number(_last_ratio(s))),
    ("fresh water, L", lambda s: number(s["litres_total"])),
    ("per sheet, L", lambda s: number(s["litres_per_sheet"])),
    ("price", lambda s: number(s["cost_total"])),
    ("heat, kWh", lambda s: number(s["heat_kwh"])),
]


def _report(found: dict[str, Any], doubt: Band | None) -> None:
    """Tables for a terminal, of a result's summary."""
    console = Terminal()
    # people's words as Text: nothing in them is read as markup
    console.print(Text(found["title"], "bold"))
    console.print(Text(found["sentence"]))
    table = Table(title="Step by step", title_justify="left")
    table.add_column("step")
    for name in ("minutes", "water, L", "vessel, L/m²", "worst, g/m²"):
        table.add_column(name, justify="right")
    table.add_column("limited at its end by")
    for step in found["steps"]:
        table.add_row(
            f"{step['step']} {step['kind']}",
            f"{step['start_min']:.0f} to {step['stop_min']:.0f}",
            number(step["litres"]),
            number(step["water_to_paper_l_m2"]),
            number(step["worst_residual_g_m2"]),
            step["limits"],
        )
    console.print(table)
    table = Table(title="In all", title_justify="left", show_header=False)
    for label, text in _ROWS:
        table.add_row(label, text(found))
    halves = ", ".join(number(x / 60, 2) for x in found["half_lives_s"])
    table.add_row("half-lives in the last water, min", halves)
    table.add_row("numerical error", f"{found['numerical_error']:.0e}")
    console.print(table)


def _bills(found: ledger.Ledger) -> None:
    """The ledger, for a terminal."""
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
    for label, text in _BILL:
        table.add_row(label, *(number(text(bill)) for _, bill in columns))
    console = Terminal()
    console.print(table)
    for words in (ledger.sentence(found), ledger.first_sentence(found)):
        if words:
            console.print(Text(words))


_BILL: list[tuple[str, Callable[[ledger.Bill], float]]] = [
    ("fresh water, L", lambda bill: bill.water / litre),
    ("price of water and heat", lambda bill: bill.cost),
    ("heat, kWh", lambda bill: bill.heat / kilowatt_hour),
    ("silver in the wash water, g", lambda bill: bill.silver / gram),
]


if __name__ == "__main__":
    sys.exit(main())
