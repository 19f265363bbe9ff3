"""The log: one TOML document an evening, in one folder, never changed once written.

A document of its own for each evening can be read and mended with any editor, kept under version
control, sent by post; a broken one harms no other, and nothing needs a lock: names never collide,
and a document appears under its name whole or not at all, whatever is killed or full. A correction
is a new document that says which one it replaces.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import time
from dataclasses import dataclass
from datetime import date as Day
from pathlib import Path

from washsim import files, observing
from washsim.errors import InputError
from washsim.fields import check, choice, part, quantity, short, text
from washsim.readings import Tests
from washsim.scenario import Scenario

FORMAT = "washsim-log-1"
BOOK = "washsim-logbook-1"
VERDICTS = ("open", "accepted", "washed_on", "fixed_again", "kept_wet")
_STALE = 86400.0
"""s after which a draft that a killed program left behind is swept up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What was foretold for the worst sheet at the end, before or after the readings."""

    model: str = text("version of the program that foretold it")
    low: float = quantity("g_m2", 0, 1e3, "5th percentile of the worst sheet's residual")
    middle: float = quantity("g_m2", 0, 1e3, "median")
    high: float = quantity("g_m2", 0, 1e3, "95th percentile")
    chance: float = quantity("percent", 0, 100, "chance that the worst sheet met the target")
    prior: str = text("what it rested on: the tables, or what had been learnt by then", default="")

    def __post_init__(self) -> None:
        check(self)
        if not self.low <= self.middle <= self.high:
            raise InputError("prediction: expected low, middle and high in rising order")


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One evening: what was done, read, foretold and decided."""

    date: str = text("day, as 2026-11-25")
    title: str = text("what it is called", default="")
    paper: str = text("the paper in the printer's words: make, surface, weight", default="")
    batch: str = text("batch of the paper", default="")
    fixer: str = text("fixer in the printer's words", default="")
    silver_strip: str = text("reading of a silver test strip in the fixer", default="")
    aid: str = text("wash aid, strength, area through it so far", default="")
    meter: float | None = quantity("l", 0, 1e5, "water by the meter", default=None)
    light: str = text("light in which the drops were read", default="")
    photo: str = text("file name of a photograph of the stains", default="")
    residual_silver: str = choice(
        ("not_tested", "none", "stained"), "drop for residual silver", default="not_tested"
    )
    verdict: str = choice(VERDICTS, "what was decided", default="open")
    action: str = text("what was done about it", default="", longest=500)
    note: str = text("anything else", default="", longest=800)
    replaces: str = text("name of the entry that this one corrects", default="")
    prediction: Prediction | None = part(Prediction, meaning="what was foretold", default=None)
    tests: Tests = part(Tests, meaning="readings and their scale", default=Tests())
    scenario: Scenario = part(Scenario, meaning="the evening as it was done")

    def __post_init__(self) -> None:
        check(self)
        try:
            Day.fromisoformat(self.date)
        except ValueError:
            raise InputError(
                f"date: expected a day such as 2026-11-25, got {short(self.date)}"
            ) from None
        # readings must lie on the evening's own sheets and clock
        observing.observations(self.scenario, self.tests)

    @property
    def day(self) -> Day:
        return Day.fromisoformat(self.date)


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """An entry under its name, as a book of several carries it."""

    name: str = text("name of the entry")
    entry: Entry = part(Entry, meaning="the entry")

    def __post_init__(self) -> None:
        check(self)
        _check_name(self.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Book:
    """Several entries in one document, to carry from one machine to another."""

    entries: tuple[Named, ...] = part(Named, meaning="entries", many=True, default=(), most=100_000)

    def __post_init__(self) -> None:
        check(self)


def folder(given: str | None = None) -> Path:
    """Where the log lies: as given, else the variable WASHSIM_LOG, else in the home folder."""
    return Path(given or os.environ.get("WASHSIM_LOG") or Path.home() / "washsim-log")


def add(where: Path, entry: Entry) -> str:
    """Write an entry under a new name; the name. InputError if it cannot be, and nothing is."""
    if entry.replaces:
        load(where, entry.replaces)
    name = f"{entry.date}_{time.strftime('%H%M%S')}_{secrets.token_hex(4)}"
    _write(where, name, files.write(entry, FORMAT))
    return name


def load(where: Path, name: str) -> Entry:
    """One entry; InputError in one sentence if it is missing or was edited wrongly."""
    _check_name(name)
    found, place = files.read(where / f"{name}.toml")
    entry: Entry = files.parse(Entry, FORMAT, found, place)
    return entry


def entries(where: Path) -> tuple[dict[str, Entry], list[str]]:
    """Name -> entry in order of date, without those replaced; and what is wrong with the others.

    A document that cannot be read is told in a sentence and left as it is.
    """
    found, faults = _all(where)
    replaced = {entry.replaces for entry in found.values()}
    kept = ((name, entry) for name, entry in found.items() if name not in replaced)
    return dict(sorted(kept, key=lambda pair: (pair[1].date, pair[0]))), faults


def _all(where: Path) -> tuple[dict[str, Entry], list[str]]:
    found, faults = {}, []
    for path in sorted(where.glob("*.toml")):
        try:
            found[path.stem] = load(where, path.stem)
        except InputError as error:
            faults.append(str(error))
    return found, faults


def export(where: Path) -> tuple[str, list[str]]:
    """All entries, replaced ones too, as TOML text of one book; and what is left out, why."""
    found, faults = _all(where)
    named = tuple(Named(name=name, entry=entry) for name, entry in found.items())
    return files.write(Book(entries=named), BOOK), faults


def take_in(where: Path, book: str, place: str) -> tuple[int, int]:
    """Add a book's entries; how many are new, and how many were here already, the same.

    Nothing is written if one of them is wrong or differs from the entry here of the same name.
    """
    parsed: Book = files.parse(Book, BOOK, book, place)
    new = []
    for one in parsed.entries:
        if not (where / f"{one.name}.toml").exists():
            new.append(one)
        elif load(where, one.name) != one.entry:
            raise InputError(
                f"{place}: entry {one.name} differs from the one here of the same name; "
                "nothing was taken in"
            )
    for one in new:
        _write(where, one.name, files.write(one.entry, FORMAT))
    return len(new), len(parsed.entries) - len(new)


def _check_name(name: str) -> None:
    plain = name.replace("_", "").replace("-", "")
    if not (plain.isascii() and plain.isalnum() and len(name) <= 80):
        raise InputError(
            f"entry: expected a name of letters, digits, '-' and '_', got {short(name)}"
        )


def _write(where: Path, name: str, text: str) -> None:
    """Put a document under its final name once it is whole and on the disk."""
    target = where / f"{name}.toml"
    draft = where / f".{name}.{secrets.token_hex(4)}.part"
    try:
        where.mkdir(parents=True, exist_ok=True)
        _sweep(where)
        if target.exists():
            raise InputError(f"{target}: is there already; entries are never overwritten")
        try:
            with draft.open("x", encoding="utf-8", newline="") as stream:
                stream.write(text)
                stream.flush()
                os.fsync(stream.fileno())
            draft.rename(target)
        except BaseException:
            draft.unlink(missing_ok=True)
            raise
        _settle(where)
    except OSError as error:
        raise InputError(
            f"{target}: cannot be written ({error.strerror or error}); the log is as it was"
        ) from None


def _settle(where: Path) -> None:
    """Bring the folder's list of names to the disk, where the system knows how."""
    if hasattr(os, "O_DIRECTORY"):
        handle = os.open(where, os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _sweep(where: Path) -> None:
    """Remove drafts that killed programs left a day ago or earlier."""
    for draft in where.glob(".*.part"):
        with contextlib.suppress(OSError):
            if time.time() - draft.stat().st_mtime > _STALE:
                draft.unlink()
