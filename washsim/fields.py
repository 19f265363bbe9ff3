"""What a field of the domain is, said once: unit, range, meaning.

The range check, the text key, the JSON Schema, the reference page and the app's sliders all read
these declarations. Values are SI; `low` and `high` are given in the unit people use.
"""

from __future__ import annotations

import math
from dataclasses import MISSING, dataclass, field, fields
from difflib import get_close_matches
from typing import Any

from washsim.errors import InputError
from washsim.units import UNITS, Unit


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with a unit and an allowed range (in that unit, both ends allowed)."""

    unit: Unit
    low: float
    high: float
    meaning: str
    whole: bool = False
    source: str = ""
    """Path of the datum in the tables that the default comes from, if any."""

    @property
    def range(self) -> str:
        kind = "a whole number from " if self.whole else ""
        unit = f" {self.unit.label}" if self.unit.label else ""
        return f"{kind}{self.low:g} to {self.high:g}{unit}"


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words."""

    options: tuple[str, ...]
    meaning: str


@dataclass(frozen=True, slots=True)
class Text:
    """A short line of free text."""

    meaning: str
    longest: int = 120


@dataclass(frozen=True, slots=True)
class Part:
    """A nested block: one dataclass, several (`many`), or several by name (`named`)."""

    kinds: tuple[type, ...]
    meaning: str
    many: bool = False
    named: bool = False
    most: int = 60


Declared = Quantity | Choice | Text | Part


def quantity(
    unit: str,
    low: float,
    high: float,
    meaning: str,
    *,
    default: Any = MISSING,
    whole: bool = False,
    source: str = "",
) -> Any:
    """Declare a number; default is SI (or None where the field may be left out)."""
    declared = Quantity(UNITS[unit], low, high, meaning, whole, source)
    return field(default=default, metadata={"declared": declared})


def choice(options: tuple[str, ...], meaning: str, *, default: Any = MISSING) -> Any:
    """Declare one of a few words."""
    return field(default=default, metadata={"declared": Choice(options, meaning)})


def text(meaning: str, *, default: Any = MISSING) -> Any:
    """Declare a short free text."""
    return field(default=default, metadata={"declared": Text(meaning)})


def part(
    *kinds: type, meaning: str, default: Any = MISSING, many: bool = False, named: bool = False
) -> Any:
    """Declare a nested block, a tuple of blocks, or a tuple of blocks that carry a `name`."""
    return field(default=default, metadata={"declared": Part(kinds, meaning, many, named)})


def declared(cls: type) -> dict[str, Declared]:
    """Field name -> declaration, in order."""
    return {f.name: f.metadata["declared"] for f in fields(cls) if "declared" in f.metadata}


def default_of(cls: type, name: str) -> Any:
    """The SI default of a field, or MISSING where it must be given."""
    return next(f.default for f in fields(cls) if f.name == name)


def key_of(name: str, spec: Declared) -> str:
    """The text key of a field: its name and its unit's suffix."""
    suffix = spec.unit.suffix if isinstance(spec, Quantity) else ""
    return f"{name}_{suffix}" if suffix else name


def check(instance: Any) -> None:
    """Raise InputError if a field of a domain dataclass lies outside its declaration."""
    for name, spec in declared(type(instance)).items():
        value = getattr(instance, name)
        if value is None and default_of(type(instance), name) is None:
            continue
        if isinstance(spec, Quantity):
            check_number(spec, value, key_of(name, spec))
        elif isinstance(spec, Choice) and value not in spec.options:
            raise InputError(f"{name}: expected {one_of(value, spec.options)}")
        elif isinstance(spec, Text):
            check_text(spec, value, name)


def check_number(spec: Quantity, value: Any, where: str) -> None:
    """Raise InputError unless the SI value is a finite number in range."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{where}: expected {spec.range}, got {value!r}")
    shown = spec.unit.from_si(float(value))
    # rounding in the change of unit must not push an end of the range outside it
    slack = 1e-9 * max(abs(spec.low), abs(spec.high))
    if not math.isfinite(shown) or not spec.low - slack <= shown <= spec.high + slack:
        raise InputError(f"{where}: expected {spec.range}, got {shown:g}")
    if spec.whole and float(value) != int(value):
        raise InputError(f"{where}: expected {spec.range}, got {shown:g}")


def check_text(spec: Text, value: Any, where: str) -> None:
    """Raise InputError unless value is a printable line short enough."""
    if not isinstance(value, str) or len(value) > spec.longest or not value.isprintable():
        found = value if not isinstance(value, str) else f"{len(value)} characters"
        allowed = f"a line of at most {spec.longest} characters"
        raise InputError(f"{where}: expected {allowed}, got {short(found)}")


def one_of(found: Any, options: tuple[str, ...] | list[str]) -> str:
    """'a, b or c, got x; did you mean b?' for a message."""
    listed = ", ".join(options[:-1]) + f" or {options[-1]}" if len(options) > 1 else options[0]
    near = get_close_matches(str(found), list(options), 1, 0.6)
    hint = f"; did you mean {near[0]!r}?" if near else ""
    return f"{listed}, got {short(found)}{hint}"


def short(found: Any) -> str:
    """A value as it may stand in a one-line message."""
    shown = repr(found)
    return shown if len(shown) <= 60 else shown[:57] + "..."
