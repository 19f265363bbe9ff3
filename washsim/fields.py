"""What a field of the domain is, said once: unit, range, meaning.

The range check, the text key, the JSON Schema, the reference page and the app's sliders all read
these declarations. Values are SI; `low` and `high` are given in the unit people use.
"""

from __future__ import annotations

from dataclasses import MISSING, dataclass, field, fields
from datetime import date, time
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
    """A nested block: one dataclass, several (`many`), or several by name (`named`).

    Where several kinds are possible, each has a word of `words` that a block says as its `kind`.
    """

    kinds: tuple[type, ...]
    meaning: str
    many: bool = False
    named: bool = False
    most: int = 60
    words: tuple[str, ...] = ()


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


def text(meaning: str, *, default: Any = MISSING, longest: int = 120) -> Any:
    """Declare a line of free text."""
    return field(default=default, metadata={"declared": Text(meaning, longest)})


def part(
    *kinds: type,
    meaning: str,
    default: Any = MISSING,
    many: bool = False,
    named: bool = False,
    words: tuple[str, ...] = (),
    most: int = 60,
) -> Any:
    """Declare a nested block, a tuple of blocks, or a tuple of blocks that carry a `name`."""
    declared = Part(kinds, meaning, many, named, most, words)
    return field(default=default, metadata={"declared": declared})


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
        elif isinstance(spec, Part):
            check_part(spec, value, name)


def check_number(spec: Quantity, value: Any, where: str) -> None:
    """Raise InputError unless the SI value is a finite number in range."""
    # far out of range before any change of unit: integers know no bound, floats overflow
    if not is_number(value) or not -1e300 < value < 1e300:
        raise InputError(f"{where}: expected {spec.range}, got {short(value)}")
    shown = spec.unit.from_si(float(value))
    # rounding in the change of unit must not push an end of the range outside it
    slack = 1e-9 * max(abs(spec.low), abs(spec.high))
    if not spec.low - slack <= shown <= spec.high + slack:
        raise InputError(f"{where}: expected {spec.range}, got {shown:g}")
    if spec.whole and not isinstance(value, int):
        raise InputError(f"{where}: expected {spec.range}, got {value!r}")


def check_text(spec: Text, value: Any, where: str) -> None:
    """Raise InputError unless value is a printable line short enough."""
    if isinstance(value, str) and value.isprintable() and len(value) <= spec.longest:
        return
    found = short(value)
    if isinstance(value, str) and len(value) > spec.longest:
        found = f"{len(value)} characters"
    allowed = f"a line of at most {spec.longest} printable characters"
    raise InputError(f"{where}: expected {allowed}, got {found}")


def check_part(spec: Part, value: Any, where: str) -> None:
    """Raise InputError unless value is a block, or a tuple of few enough blocks."""
    several = spec.many or spec.named
    blocks = value if several else (value,)
    if not isinstance(blocks, tuple) or not all(isinstance(block, spec.kinds) for block in blocks):
        wanted = " or ".join(kind.__name__ for kind in spec.kinds)
        wanted = f"a tuple of {wanted}" if several else wanted
        raise InputError(f"{where}: expected {wanted}, got {short(value)}")
    if several and len(blocks) > spec.most:
        raise InputError(f"{where}: expected at most {spec.most}, got {len(blocks)}")


def one_of(found: Any, options: tuple[str, ...] | list[str]) -> str:
    """'a, b or c, got x; did you mean b?' for a message."""
    few = list(options) if len(options) <= 16 else [*options[:15], f"{len(options) - 15} more"]
    listed = ", ".join(few[:-1]) + f" or {few[-1]}" if len(few) > 1 else few[0]
    near = get_close_matches(found, list(options), 1, 0.6) if isinstance(found, str) else []
    hint = f"; did you mean {near[0]!r}?" if near else ""
    if len(listed) > 200:
        listed = f"one of {len(options)} names"
    return f"{listed}, got {short(found)}{hint}"


def is_number(found: Any) -> bool:
    """Whether it is a number; to Python True and False are numbers too, to us they are not."""
    return isinstance(found, int | float) and not isinstance(found, bool)


def short(found: Any) -> str:
    """A value as it may stand in a one-line message, in the words of a scenario file."""
    match found:
        case None:
            return "nothing"
        case bool():
            return str(found).lower()
        case dict():
            return "a table"
        case list():
            return "a list"
        case int() if abs(found) >= 10**50:
            return "a huge number"
        case date() | time():
            return str(found)
    shown = " ".join(repr(found).split())
    return shown if len(shown) <= 60 else shown[:57] + "..."


def label(name: str) -> str:
    """A name that the user chose, as a place in a message: itself unless long or unprintable."""
    return name if name.isprintable() and 0 < len(name) <= 60 else short(name)
