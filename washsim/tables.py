"""Numbers about the world, each with its band, standing and source; they live in data/*.toml."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

from washsim.errors import DataError
from washsim.units import UNITS

STANDINGS = ("source", "library", "derived", "practice", "memory", "estimate")


@dataclass(frozen=True, slots=True)
class Source:
    """Where a number was read."""

    key: str
    author: str
    title: str
    year: int | str
    kind: str
    note: str

    @property
    def citation(self) -> str:
        return ", ".join(str(piece) for piece in (self.author, self.title, self.year) if piece)


@dataclass(frozen=True, slots=True)
class Datum:
    """A number in `unit`, its honest band and where it comes from."""

    path: str
    value: float
    low: float
    high: float
    unit: str
    standing: str
    source: str
    note: str

    @property
    def si(self) -> float:
        """The value in SI."""
        return UNITS[_suffix(self.unit)].to_si(self.value)

    @property
    def origin(self) -> str:
        """One line: standing, citation, note."""
        cited = f" ({source(self.source).citation})" if self.source else ""
        return f"{self.standing}{cited}: {self.note}"


def _suffix(unit: str) -> str:
    return {"1": "", "g/l per g/l": "", "1/m3": "per_m3"}.get(unit, unit.lower().replace("/", "_"))


@lru_cache
def table(name: str) -> dict[str, Any]:
    """One of data/*.toml as nested dicts."""
    try:
        with (files("washsim") / "data" / f"{name}.toml").open("rb") as stream:
            return tomllib.load(stream)
    except (OSError, tomllib.TOMLDecodeError) as error:
        raise DataError(f"data/{name}.toml: {error}") from error


def entry(path: str) -> Any:
    """Whatever stands at a dotted path such as 'papers.fibre_double.label'."""
    name, *keys = path.split(".")
    found: Any = table(name)
    for key in keys:
        if not isinstance(found, dict) or key not in found:
            raise DataError(f"data/{name}.toml: nothing at {path}")
        found = found[key]
    return found


@lru_cache
def datum(path: str) -> Datum:
    """The datum at a dotted path, as its table gives it (not yet SI)."""
    found = entry(path)
    try:
        return Datum(path=path, **found)
    except TypeError as error:
        raise DataError(f"data: {path} is not a datum ({error})") from error


@lru_cache
def source(key: str) -> Source:
    """The source of that key."""
    return Source(key=key, **entry(f"sources.{key}"))


def data(name: str) -> list[Datum]:
    """Every datum of one table, in order."""
    found: list[Datum] = []

    def walk(node: Any, path: str) -> None:
        if isinstance(node, dict) and "value" in node and "standing" in node:
            found.append(datum(path))
        elif isinstance(node, dict):
            for key, child in node.items():
                walk(child, f"{path}.{key}")

    walk(table(name), name)
    return found
