"""What the commands share: the evening asked for, a console, files written whole, progress."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import Progress

from washsim import files
from washsim.errors import InputError
from washsim.scenario import Scenario
from washsim.units import rounded

DEMO = "demo"
"""The example that stands in where no file is given."""


def asked_for(file: str | None) -> Scenario:
    """The scenario of a file; without one, the demo evening."""
    return files.example(DEMO) if file is None else files.load(file)


class Terminal(Console):
    """A console that leaves a closed pipe to `main`."""

    def on_broken_pipe(self) -> None:
        """Let the caller know, instead of ending the program here."""
        raise BrokenPipeError


def write(path: str, fill: Callable[[Any], Any]) -> None:
    """Fill a text file, or stdout for '-'; nothing half-written under the final name."""
    if path == "-":
        fill(sys.stdout)
        return
    target = draft = Path(path)
    try:
        # a device, a pipe or a link is written to as it stands, never replaced by a file
        if not target.is_symlink() and (target.is_file() or not target.exists()):
            draft = target.with_name(target.name + ".part")
        try:
            with draft.open("w", encoding="utf-8", newline="") as stream:
                fill(stream)
            if draft != target:
                draft.replace(target)
        except BaseException:
            if draft != target:
                draft.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror or error})") from None


@contextlib.contextmanager
def place(file: str) -> Iterator[None]:
    """Begin messages about steps that cannot be carried out with the file's name."""
    try:
        yield
    except InputError as error:
        raise InputError(f"{file}, {error}") from None


@contextlib.contextmanager
def progress(what: str) -> Iterator[Callable[[float], None]]:
    """A function to tell the share done, shown as a bar on stderr once it takes a second."""
    start = time.monotonic()
    console = Console(stderr=True)
    bar = Progress(transient=True, console=console, disable=not console.is_terminal)
    task = bar.add_task(what, total=1.0)

    def tell(share: float) -> None:
        if not bar.live.is_started and time.monotonic() - start > 1.0:
            bar.start()
        bar.update(task, completed=share)

    try:
        yield tell
    finally:
        # stopping a bar that never started would print an empty line
        if bar.live.is_started:
            bar.stop()


def number(value: float | None, digits: int = 3) -> str:
    """A number as people write it, a dash for none."""
    return "–" if value is None else rounded(value, digits)
