"""A scenario: everything the printer can tell us about tonight, as one hashable value.

Equal scenarios give equal results, so a scenario is the cache key, the undo step and the file.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from washsim import tables
from washsim.errors import InputError
from washsim.evening import expand
from washsim.fields import check, choice, declared, one_of, part, quantity, text
from washsim.fixers import Fixing
from washsim.papers import Sheet
from washsim.recipes import STEPS, Drain, Late, Step, Stuck
from washsim.timeline import Timeline
from washsim.vessels import Handling, Vessel, Water

TARGETS = ("film_limit", "strict", "everyday", "own")


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """The residual to get under."""

    preset: str = choice(TARGETS, "where the number comes from", default="film_limit")
    residual: float | None = quantity(
        "g_m2",
        1e-4,
        10,
        "own target, thiosulfate ion per area; only with preset = 'own'",
        default=None,
    )

    def __post_init__(self) -> None:
        check(self)
        if (self.preset == "own") != (self.residual is not None):
            raise InputError("residual_g_m2: expected with preset = 'own', and only with it")

    @property
    def limit(self) -> float:
        """kg/m2."""
        if self.residual is not None:
            return self.residual
        return tables.datum(f"limits.target.{self.preset}.value").si


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """How finely to compute."""

    nodes: str = choice(
        ("auto", "lobatto", "even"), "node family; auto takes the first good one", default="auto"
    )
    outputs: int = quantity("", 10, 5000, "points on each curve", default=300, whole=True)
    accuracy: float = quantity(
        "",
        1e-8,
        0.1,
        "largest numerical error allowed, relative to residual + 1 mg/m²",
        default=1e-4,
    )

    def __post_init__(self) -> None:
        check(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """Sheets, fixing, water, vessels, steps, target."""

    title: str = text("what it is called on screen", default="Untitled wash")
    sheet: Sheet = part(Sheet, meaning="the prints", default=Sheet())
    fixing: Fixing = part(Fixing, meaning="how they were fixed", default=Fixing())
    water: Water = part(Water, meaning="the wash water", default=Water())
    handling: Handling = part(Handling, meaning="what hands do between", default=Handling())
    vessels: tuple[Vessel, ...] = part(
        Vessel, meaning="trays, washers and tubs, by name", named=True
    )
    steps: tuple[Step, ...] = part(
        *STEPS.values(), meaning="the wash, in order", many=True, words=tuple(STEPS)
    )
    late: tuple[Late, ...] = part(Late, meaning="sheets that join late", many=True, default=())
    stuck: tuple[Stuck, ...] = part(Stuck, meaning="sheets that stick", many=True, default=())
    target: Target = part(Target, meaning="the residual to get under", default=Target())
    settings: Settings = part(Settings, meaning="how finely to compute", default=Settings())

    def __post_init__(self) -> None:
        check(self)
        if not self.steps:
            raise InputError("steps: expected at least one, got none")
        names = [vessel.name for vessel in self.vessels]
        if len(set(names)) < len(names):
            raise InputError("vessels: expected each name once")
        joined = [(f"late {i}", late.step) for i, late in enumerate(self.late, start=1)]
        joined += [(f"stuck {i}", stuck.step) for i, stuck in enumerate(self.stuck, start=1)]
        for name, step in joined:
            if step > len(self.steps) or isinstance(self.steps[step - 1], Drain):
                raise InputError(
                    f"{name}, step: expected the number of a step in water, got {step}"
                )

    @property
    def timeline(self) -> Timeline:
        """What happens when. InputError where the steps cannot be carried out as written."""
        return expand(
            self.sheet,
            self.fixing,
            self.steps,
            self.vessels,
            self.water,
            self.handling,
            self.late,
            self.stuck,
        )

    @property
    def temperatures(self) -> tuple[tuple[float, float], ...]:
        """(start, end) K of the water of each step; the wash water's for one in the air."""
        usual = self.water.temperature
        found = []
        for step in self.steps:
            start = getattr(step, "temperature", None) or usual
            found.append((start, getattr(step, "temperature_end", None) or start))
        return tuple(found)

    @property
    def carried_liquid(self) -> float:
        """What a sheet carries from bath to bath, inside and on its faces, m3/m2."""
        return self.sheet.material.held_liquid + self.handling.film(self.handling.drain)

    @property
    def fixer_silver(self) -> float:
        """Dissolved silver in the last fixing bath, kg/m3."""
        liquid = self.carried_liquid * self.sheet.area
        return self.fixing.silver_in_last_bath(self.sheet, liquid)

    @property
    def paper_area(self) -> float:
        """One side of the sheets that are in the wash together, late ones included, m2."""
        return (self.sheet.count + len(self.late)) * self.sheet.area

    def but(self, changes: dict[str, Any] | None = None, **paths: Any) -> Scenario:
        """A copy with other values: ``but({'fixing.duration': 60.0, 'steps.2.baths': 4})``.

        Values are SI. Vessels and layers go by name, steps and late sheets by number from 1;
        a single-part path may be a keyword. InputError names the nearest right path.
        """
        scenario = self
        for path, value in {**(changes or {}), **paths}.items():
            scenario = _with(scenario, path.split("."), value, path)
        return scenario


def value_at(scenario: Any, path: str) -> Any:
    """What stands at a path as `but` takes it."""
    here = scenario
    for piece in path.split("."):
        here = _child(here, piece, path)
    return here


def _with(node: Any, pieces: list[str], value: Any, path: str) -> Any:
    piece, *rest = pieces
    if isinstance(node, tuple):
        index = _index(node, piece, path)
        new = _with(node[index], rest, value, path) if rest else value
        return (*node[:index], new, *node[index + 1 :])
    child = _child(node, piece, path)
    new = _with(child, rest, value, path) if rest else value
    try:
        return replace(node, **{piece: new})
    except InputError as error:
        # say the path that was asked for, not the inner field alone
        message = str(error)
        raise InputError(message if path in message else f"{path}: {message}") from None


def _child(node: Any, piece: str, path: str) -> Any:
    if isinstance(node, tuple):
        return node[_index(node, piece, path)]
    known = list(declared(type(node))) if hasattr(type(node), "__dataclass_fields__") else []
    if piece not in known:
        if not known:
            raise InputError(f"{path}: nothing below {piece!r}")
        raise InputError(f"{path}: expected {one_of(piece, known)}")
    return getattr(node, piece)


def _index(node: tuple, piece: str, path: str) -> int:
    names = [getattr(item, "name", None) for item in node]
    if piece in names:
        return names.index(piece)
    if piece.isdigit() and 1 <= int(piece) <= len(node):
        return int(piece) - 1
    allowed = [name for name in names if name] or [str(i + 1) for i in range(len(node))]
    if not allowed:
        raise InputError(f"{path}: nothing to name there, the scenario has none")
    raise InputError(f"{path}: expected {one_of(piece, allowed)}")
