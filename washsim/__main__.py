"""The command line: ``washsim simulate``, ``compare``, ``sheet``, ``plan``, ``fit`` and more."""

from __future__ import annotations

import os

# before numpy comes in: at these sizes one BLAS thread is faster than several
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import contextlib
import io
import sys
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path

from washsim import (
    files,
    fit_command,
    gauge_command,
    influence_command,
    log_command,
    plan_command,
    simulate_command,
    wall_page,
    wall_sheet,
    wording,
)
from washsim.errors import InputError, WashsimError
from washsim.fields import short
from washsim.terminal import DEMO, asked_for, place, write
from washsim.units import SYSTEMS


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0 done, 2 bad input (one sentence on stderr)."""
    given = _parser().parse_args(arguments)
    if sys.stdout is None:  # closed by who started this
        print("washsim: cannot write the output (there is no stdout)", file=sys.stderr)
        return 2
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
    simulate_command.add_commands(commands)
    sheet = commands.add_parser("sheet", help="write an evening's wall sheet, with clock times")
    sheet.add_argument("file", nargs="?", help="scenario file; without one, the demo evening")
    sheet.add_argument("--start", default="19:30", help="when the first sheet is fixed (19:30)")
    sheet.add_argument("--clock", type=int, choices=wording.CLOCKS, default=24, help="hours")
    sheet.add_argument("--paper", choices=tuple(wall_page.PAPERS), default="a4", help="to print on")
    sheet.add_argument("--units", choices=SYSTEMS, default="metric", help="of water and warmth")
    sheet.add_argument("--text", action="store_true", help="plain text instead of HTML to print")
    sheet.add_argument(
        "--to",
        metavar="FILE",
        help="where; '-' for stdout, else NAME.html here (with --text: stdout)",
    )
    sheet.set_defaults(run=_sheet)
    plan_command.add_command(commands)
    influence_command.add_command(commands)
    fit_command.add_command(commands)
    log_command.add_command(commands)
    gauge_command.add_command(commands)
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


def _sheet(given: argparse.Namespace) -> int:
    style = wording.Style(start=wording.start_of(given.start), hours=given.clock, units=given.units)
    scenario = asked_for(given.file)
    with place(given.file or DEMO):
        sheet = wall_sheet.wall_sheet(scenario, style)
    if given.to == "":
        raise InputError("--to: expected a file name or '-', got nothing")
    if given.text:
        path = given.to or "-"
        write(path, lambda stream: stream.write(wall_page.text(sheet)))
        if path != "-":
            print(f"wrote {path}")
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
        widest = max(map(len, files.examples()))
        for name in files.examples():
            # every title begins by saying that it is invented
            print(f"{name:{widest}}  {files.example(name).title.partition(': ')[2]}")
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


if __name__ == "__main__":
    sys.exit(main())
