"""``washsim log``: evenings kept, shown, compared, carried from one machine to another."""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from datetime import date
from typing import Any

from rich.table import Table
from rich.text import Text

from washsim import files, logbook, logged, readings
from washsim.fields import Choice, declared
from washsim.logbook import Entry
from washsim.readings import Tests
from washsim.terminal import Terminal, number, place, progress, write

_WORDS = ("paper", "batch", "fixer", "silver_strip", "aid", "light", "photo", "action", "note")
"""Free words of an entry, options of `log add`."""


def add_command(commands: Any) -> None:
    """Tell the parser of `log` and its verbs."""
    log = commands.add_parser("log", help="keep and compare evenings")
    log.add_argument("--folder", help="where the log lies; else WASHSIM_LOG, else ~/washsim-log")
    verbs = log.add_subparsers(required=True, metavar="VERB")
    add = verbs.add_parser("add", help="log an evening; prints its name")
    add.add_argument("file", help="scenario file, as it was washed")
    add.add_argument("--readings", metavar="FILE", help="file of readings")
    add.add_argument("--date", default=date.today().isoformat(), help="day; else today")
    specs = declared(Entry)
    for word in _WORDS:
        add.add_argument(f"--{word.replace('_', '-')}", default="", help=specs[word].meaning)
    add.add_argument("--meter-l", type=float, help=specs["meter"].meaning + ", L")
    for word in ("residual_silver", "verdict"):
        spec = specs[word]
        assert isinstance(spec, Choice)
        options = {"choices": spec.options, "default": spec.options[0], "help": spec.meaning}
        add.add_argument(f"--{word.replace('_', '-')}", **options)
    add.add_argument("--replaces", default="", metavar="NAME", help=specs["replaces"].meaning)
    add.set_defaults(run=_log_add)
    listed = verbs.add_parser("list", help="all evenings, by date")
    listed.add_argument("--json", action="store_true", help="a list of JSON objects on stdout")
    listed.set_defaults(run=_log_list)
    show = verbs.add_parser("show", help="one evening, as TOML")
    show.add_argument("name")
    show.set_defaults(run=_log_show)
    compare = verbs.add_parser("compare", help="evenings side by side, fitted one after another")
    compare.add_argument("names", nargs="*", metavar="name", help="which; without one, all")
    compare.add_argument("--json", action="store_true", help="a list of JSON objects on stdout")
    compare.set_defaults(run=_log_compare)
    out = verbs.add_parser("export", help="all evenings as one book")
    out.add_argument("file", help="where; '-' for stdout")
    out.set_defaults(run=_log_export)
    taken = verbs.add_parser("import", help="take in the evenings of a book")
    taken.add_argument("file")
    taken.set_defaults(run=_log_import)


def _log_add(given: argparse.Namespace) -> int:
    where = logbook.folder(given.folder)
    scenario = files.load(given.file)
    tests = Tests() if given.readings is None else readings.load(given.readings)
    meter = None if given.meter_l is None else given.meter_l * 1e-3
    with place(given.readings or given.file), progress("foretelling") as tell:
        entry = Entry(
            date=given.date,
            title=scenario.title,
            meter=meter,
            residual_silver=given.residual_silver,
            verdict=given.verdict,
            replaces=given.replaces,
            tests=tests,
            scenario=scenario,
            **{word: getattr(given, word) for word in _WORDS},
        )
        foretold = logged.foretell(entry, logbook.entries(where)[0], progress=tell)
        entry = replace(entry, prediction=foretold)
    print(logbook.add(where, entry))
    return 0


def _opened(given: argparse.Namespace) -> dict[str, Entry]:
    """All entries; what is wrong with documents is told, and they are left as they are."""
    where = logbook.folder(given.folder)
    found, faults = logbook.entries(where)
    for fault in faults:
        Terminal(stderr=True).print(Text(f"washsim: {fault} (left as it is)"))
    if not found and not faults:
        Terminal(stderr=True).print(Text(f"washsim: no entries in {where} yet"))
    return found


def _log_list(given: argparse.Namespace) -> int:
    rows = [logged.row(name, entry) for name, entry in _opened(given).items()]
    if given.json:
        print(json.dumps(rows, indent=2, allow_nan=False))
        return 0
    table = Table()
    for name in ("name", "title", "paper", "readings", "foretold, g/m²", "verdict"):
        table.add_column(name, overflow="fold")
    for row in rows:
        table.add_row(
            row["name"],
            Text(row["title"]),
            Text(" ".join((row["paper"], row["batch"])).strip()),
            str(row["readings"]),
            "–" if row["foretold_g_m2"] is None else number(row["foretold_g_m2"][1], 2),
            row["verdict"],
        )
    Terminal().print(table)
    return 0


def _log_show(given: argparse.Namespace) -> int:
    entry = logbook.load(logbook.folder(given.folder), given.name)
    print(files.write(entry, logbook.FORMAT), end="")
    return 0


def _log_compare(given: argparse.Namespace) -> int:
    found = _opened(given)
    with progress("fitting evenings") as tell:
        rows = logged.compared(found, tuple(given.names), progress=tell)
    if given.json:
        print(json.dumps(rows, indent=2, allow_nan=False))
    else:
        _compared(rows)
    return 0


def _compared(rows: list[dict[str, Any]]) -> None:
    def three(values: list[float] | None, factor: float = 1.0) -> str:
        return "–" if values is None else ", ".join(f"{factor * x:.2g}" for x in values)

    table = Table(title="Evenings, 5, 50 and 95 % of the draws", title_justify="left")
    table.add_column("")
    for row in rows:
        table.add_column(Text(f"{row['date']} {row['title']}"), justify="right", overflow="fold")
    table.add_row("paper", *(Text(f"{row['paper']} {row['batch']}".strip()) for row in rows))
    table.add_row("sheets", *(str(row["sheets"]) for row in rows))
    table.add_row("readings", *(str(row["readings"]) for row in rows))
    table.add_row("foretold, g/m²", *(three(row["foretold_g_m2"]) for row in rows))
    key = "effective_diffusivity_m2_s"
    table.add_row("effective diffusivity, 1e-11 m²/s", *(three(row[key], 1e11) for row in rows))
    table.add_row(
        "held fixer, times the table's", *(three(row["held_pool_factor"]) for row in rows)
    )
    table.add_row("verdict", *(row["verdict"] for row in rows))
    Terminal().print(table)


def _log_export(given: argparse.Namespace) -> int:
    book, faults = logbook.export(logbook.folder(given.folder))
    for fault in faults:
        Terminal(stderr=True).print(Text(f"washsim: {fault} (left out)"))
    write(given.file, lambda stream: stream.write(book))
    return 0


def _log_import(given: argparse.Namespace) -> int:
    text, where = files.read(given.file, largest=100 * files.LARGEST)
    new, known = logbook.take_in(logbook.folder(given.folder), text, where)
    print(f"{new} new, {known} here already")
    return 0
