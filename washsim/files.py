"""Scenario <-> TOML, and the JSON Schema of the format: all read from the field declarations.

A key is a field's name and its unit's suffix, such as ``duration_min``; nothing else is accepted.
"""

from __future__ import annotations

import dataclasses
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

from washsim import tables
from washsim.errors import InputError
from washsim.fields import (
    Choice,
    Declared,
    Part,
    Quantity,
    Text,
    check_number,
    check_text,
    declared,
    default_of,
    is_number,
    key_of,
    label,
    one_of,
    short,
)
from washsim.scenario import Scenario, value_at

FORMAT = "washsim-scenario-1"
LARGEST = 1_000_000
"""Bytes; a scenario is a page of text, so a larger file is some other file."""
LONGEST_LINE = 1000
"""Characters; on a longer line a key could have so many parts that reading it takes minutes."""


def examples() -> tuple[str, ...]:
    """Names of the examples that come along."""
    folder = files("washsim") / "data" / "examples"
    return tuple(sorted(p.name.removesuffix(".toml") for p in folder.iterdir()))


def example_text(name: str) -> str:
    """The commented TOML of an example; InputError names the nearest one."""
    known = examples()
    if name not in known:
        raise InputError(f"example: expected {one_of(name, known)}")
    return (files("washsim") / "data" / "examples" / f"{name}.toml").read_text(encoding="utf-8")


def example(name: str) -> Scenario:
    """A scenario that comes along."""
    return loads(example_text(name), f"example {name}")


def methods() -> tuple[str, ...]:
    """Names of the wash methods that come along; their words stand in data/methods.toml."""
    return tuple(tables.table("methods"))


def with_method(scenario: Scenario, name: str) -> Scenario:
    """The same batch, washed in another way: its vessels and steps replaced by a method's."""
    known = methods()
    if name not in known:
        raise InputError(f"method: expected {one_of(name, known)}")
    found, specs = tables.entry(f"methods.{name}"), declared(Scenario)
    changes = {
        key: _value(specs[key], found[key], f"method {name}, {key}") for key in ("vessels", "steps")
    }
    return dataclasses.replace(scenario, late=(), stuck=(), **changes)


def changed(scenario: Scenario, changes: dict[str, Any], where: str) -> Scenario:
    """A copy with other values, said in the words of a file: ``{"vessels.tray.volume_l": 4}``.

    A path is as `Scenario.but` takes it, but its last part is a key with its unit, as in a file.
    """
    found: dict[str, Any] = {}
    for path, value in changes.items():
        place, spec = declared_at(scenario, path, where)
        found[place] = _value(spec, value, f"{where}, {path}")
    return scenario.but(found)


def declared_at(scenario: Scenario, path: str, where: str) -> tuple[str, Declared]:
    """What a path that ends in a key with its unit means to `Scenario.but`, and its declaration."""
    parent, _, key = path.rpartition(".")
    block = value_at(scenario, parent) if parent else scenario
    keys = {key_of(name, spec): (name, spec) for name, spec in declared(type(block)).items()}
    if key not in keys:
        raise InputError(f"{where}, {path}: unknown key, expected {one_of(key, list(keys))}")
    name, spec = keys[key]
    return f"{parent}.{name}" if parent else name, spec


def load(path: str | Path) -> Scenario:
    """Read a scenario file. InputError in one sentence: file, block, field, what is allowed."""
    text, place = read(path)
    return loads(text, place)


def loads(text: str, where: str = "scenario") -> Scenario:
    """A scenario from TOML text; `where` begins every message."""
    return parse(Scenario, FORMAT, text, where)


def read(path: str | Path, largest: int = LARGEST) -> tuple[str, str]:
    """The text of a UTF-8 file of so many bytes, and how messages name it; else InputError."""
    path = Path(path)
    place = str(path) if str(path).isprintable() else ascii(str(path))
    try:
        size = path.stat().st_size
        if not path.is_file():
            raise InputError(f"{place}: expected a TOML file, got a folder or device")
        if size > largest:
            raise InputError(
                f"{place}: expected at most {largest / 1e6:g} MB, got {size / 1e6:.1f} MB"
            )
        # some editors put a byte order mark first; it means nothing in UTF-8
        return path.read_text(encoding="utf-8-sig"), place
    except UnicodeDecodeError:
        raise InputError(f"{place}: expected UTF-8 text, got other bytes") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise InputError(f"{place}: cannot be read ({why})") from None


def parse(cls: type, form: str, text: str, where: str) -> Any:
    """A declared dataclass from TOML text that names its format; `where` begins every message."""
    longest = max(map(len, text.split("\n")))
    if longest > LONGEST_LINE:
        raise InputError(
            f"{where}: expected lines of at most {LONGEST_LINE} characters, got one of {longest}"
        )
    try:
        tree = tomllib.loads(text)
    except RecursionError:
        raise InputError(f"{where}: not valid TOML: nested too deeply") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{where}: not valid TOML: {_one_line(error)}") from None
    except ValueError:
        raise InputError(f"{where}: not valid TOML: a number has too many digits") from None
    found = tree.pop("format", None)
    if found != form:
        raise InputError(f"{where}: format: expected {form!r}, got {short(found)}")
    return _block(cls, tree, where)


def from_tree(tree: dict[str, Any], where: str = "scenario") -> Scenario:
    """A scenario from the tables of a file, its format already known."""
    found: Scenario = _block(Scenario, tree, where)
    return found


def _one_line(error: Exception) -> str:
    """The TOML reader's words; it may quote what it found, which can be long."""
    text = " ".join(str(error).split())
    return text if len(text) <= 160 else f"{text[:80]} ... {text[-60:]}"


def _block(cls: type, tree: Any, where: str, **given: str) -> Any:
    """One dataclass from one TOML table; given fields stand elsewhere, they are no keys of it."""
    if not isinstance(tree, dict):
        raise InputError(f"{where}: expected a table, got {short(tree)}")
    specs = {name: spec for name, spec in declared(cls).items() if name not in given}
    keys = {key_of(name, spec): (name, spec) for name, spec in specs.items()}
    values: dict[str, Any] = dict(given)
    for key, found in tree.items():
        if key not in keys:
            raise InputError(f"{where}: unknown key, expected {one_of(key, list(keys))}")
        name, spec = keys[key]
        values[name] = _value(spec, found, f"{where}, {key}")
    for key, (name, _) in keys.items():
        if name not in values and default_of(cls, name) is dataclasses.MISSING:
            raise InputError(f"{where}: {key} is missing, it must be given")
    try:
        return cls(**values)
    except InputError as error:
        raise InputError(f"{where}, {error}") from None


def _value(spec: Declared, found: Any, where: str) -> Any:
    """One field's SI value from what stands in the file."""
    match spec:
        case Quantity():
            return _number(spec, found, where)
        case Choice():
            if found not in spec.options:
                raise InputError(f"{where}: expected {one_of(found, spec.options)}")
            return found
        case Text():
            check_text(spec, found, where)
            return found
        case Part(many=True):
            return _several(spec, found, where)
        case Part(named=True):
            if not isinstance(found, dict):
                raise InputError(f"{where}: expected named tables, got {short(found)}")
            _check_length(spec, found, where)
            return tuple(
                _block(spec.kinds[0], one, f"{where}.{label(name)}", name=name)
                for name, one in found.items()
            )
        case Part():
            return _block(spec.kinds[0], found, where)


def _number(spec: Quantity, found: Any, where: str) -> float:
    """The SI value of a number in the shown unit."""
    if not is_number(found) or not -1e300 < found < 1e300:
        check_number(spec, found, where)  # says what is wrong with it
    value = spec.unit.to_si(float(found))
    if spec.whole and value.is_integer():
        value = int(value)
    check_number(spec, value, where)
    return value


def _several(spec: Part, found: Any, where: str) -> tuple:
    """A list of blocks; where several kinds are possible, `kind` says which."""
    if not isinstance(found, list):
        raise InputError(f"{where}: expected a list of tables, got {short(found)}")
    _check_length(spec, found, where)
    outer, _, last = where.rpartition(", ")
    singular = last.removesuffix("s")
    blocks = []
    for number, one in enumerate(found, start=1):
        place = f"{outer}, {singular} {number}"
        kind, tree = spec.kinds[0], dict(_table(one, place))
        if len(spec.kinds) > 1:
            word = tree.pop("kind", None)
            if not isinstance(word, str) or word not in spec.words:
                raise InputError(f"{place}, kind: expected {one_of(word, spec.words)}")
            kind, place = spec.kinds[spec.words.index(word)], f"{place} ({word})"
        blocks.append(_block(kind, tree, place))
    return tuple(blocks)


def _check_length(spec: Part, found: Any, where: str) -> None:
    if len(found) > spec.most:
        raise InputError(f"{where}: expected at most {spec.most}, got {len(found)}")


def _table(found: Any, where: str) -> dict:
    if not isinstance(found, dict):
        raise InputError(f"{where}: expected a table, got {short(found)}")
    return found


def dumps(scenario: Scenario) -> str:
    """TOML text that `loads` reads back to an equal scenario; defaults are left out."""
    return write(scenario, FORMAT)


def write(block: Any, form: str) -> str:
    """TOML text of a declared dataclass that `parse` reads back; defaults are left out."""
    import tomli_w

    return tomli_w.dumps({"format": form} | _tree(block))


def _tree(block: Any) -> dict[str, Any]:
    tree: dict[str, Any] = {}
    for name, spec in declared(type(block)).items():
        value = getattr(block, name)
        if value is None or value == default_of(type(block), name):
            continue
        if isinstance(spec, Quantity):
            value = value if spec.whole else round_trip(spec, value)
        elif isinstance(spec, Part) and spec.named:
            trees = {one.name: _tree(one) for one in value}
            value = {k: {x: y for x, y in t.items() if x != "name"} for k, t in trees.items()}
        elif isinstance(spec, Part) and spec.many:
            value = [_kind(spec, one) | _tree(one) for one in value]
        elif isinstance(spec, Part):
            value = _tree(value)
        tree[key_of(name, spec)] = value
    return tree


def _kind(spec: Part, block: Any) -> dict[str, str]:
    if len(spec.kinds) == 1:
        return {}
    return {"kind": spec.words[spec.kinds.index(type(block))]}


def round_trip(spec: Quantity, value: float) -> float:
    """The shortest number in the shown unit that reads back to the same float, if there is one.

    Every value read from a file has one; an SI value of other origin may come back a bit off.
    """
    shown = spec.unit.from_si(value)
    rounded = (float(f"{shown:.{digits}g}") for digits in range(1, 17))
    return next((one for one in rounded if spec.unit.to_si(one) == value), shown)
