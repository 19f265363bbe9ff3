"""A scale of stains of one's own: strips soaked in dilutions of one's own fixer. SI."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from washsim.errors import InputError
from washsim.fields import check, part, quantity
from washsim.liquids import density
from washsim.scenario import Scenario
from washsim.units import celsius


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One step of the scale: a strip soaked in the printer's own fixer, diluted."""

    one_in: float = quantity("", 2, 1e6, "litres of the dilution that hold one litre of fixer")

    def __post_init__(self) -> None:
        check(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder:
    """A scale of stains: washed strips of the same paper, soaked in dilutions of the fixer.

    What a step means is strength over dilution, times the liquid that a blotted strip holds.
    """

    thiosulfate: float | None = quantity(
        "g_l", 1, 700, "thiosulfate ion in the fixer diluted; else the scenario's", default=None
    )
    width: float = quantity("cm", 0.5, 200, "width of the strip weighed", default=0.05)
    height: float = quantity("cm", 0.5, 500, "height of the strip weighed", default=0.10)
    dry: float | None = quantity("g", 0.01, 1e4, "weight of that strip dry", default=None)
    wet: float | None = quantity(
        "g", 0.01, 1e4, "its weight wet, blotted as for the drop", default=None
    )
    steps: tuple[Rung, ...] = part(Rung, meaning="steps, strongest first", many=True)

    def __post_init__(self) -> None:
        check(self)
        if (self.dry is None) != (self.wet is None):
            raise InputError("wet_g: expected together with dry_g")
        if self.dry is not None and self.wet is not None and self.wet <= self.dry:
            raise InputError(f"wet_g: expected more than dry_g, got {1e3 * self.wet:g}")
        if not self.steps or any(a.one_in >= b.one_in for a, b in pairwise(self.steps)):
            raise InputError("steps: expected at least one, each more dilute than the one before")

    def held_liquid(self, scenario: Scenario) -> float:
        """m3/m2 in a blotted strip: as weighed, else what the scenario's paper holds."""
        if self.dry is None or self.wet is None:
            return scenario.sheet.material.held_liquid
        return (self.wet - self.dry) / density(celsius(20)) / (self.width * self.height)

    def residuals(self, scenario: Scenario) -> tuple[float, ...]:
        """kg/m2 that each step stands for, strongest first."""
        strength = self.thiosulfate or scenario.fixing.concentration
        held = self.held_liquid(scenario)
        return tuple(strength / rung.one_in * held for rung in self.steps)


def dilutions(residuals: tuple[float, ...], strength: float, held: float) -> tuple[float, ...]:
    """One part in how many makes strips of these residuals (kg/m2).

    strength: thiosulfate ion in the fixer, kg/m3; held: liquid in a blotted strip, m3/m2.
    """
    return tuple(strength * held / residual for residual in residuals)
