"""What readings taught of a paper, as a scenario carries it: draws of its numbers, side by side.

A fit leaves draws that agree with the readings, and what they share: where the base is more open,
more fixer is held. A middle and a spread for each number would lose that, and with it most of what
was learnt. So a few of the draws themselves are kept, as factors on the paper's own numbers, in
order of how well each washes; the one in the middle is the paper of the scenario as it stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from washsim.errors import InputError
from washsim.fields import check, one_of, part, short, text

DRAWS = 65
"""Draws that are kept: three beyond either end of a band, and lines that fit a screen's width."""
OF_LAYER = ("thickness", "porosity", "hindrance")
OF_WHOLE = ("held_pool", "release", "saturation")
_MOST = 129
_RANGE = 1e-3, 1e3


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """One of the paper's numbers in every draw."""

    name: str = text("layer and number, such as base.hindrance, or held_pool, release, saturation")
    factors: str = text(
        "factor on the paper's own number in each draw, best washing first", longest=900
    )

    def __post_init__(self) -> None:
        check(self)
        parsed(self.factors)


@lru_cache(maxsize=1024)
def parsed(factors: str) -> tuple[float, ...]:
    """Factors as numbers; InputError for what is none, or out of range."""
    found = []
    for word in factors.split():
        try:
            value = float(word)
        except ValueError:
            value = float("nan")
        if not _RANGE[0] <= value <= _RANGE[1]:
            raise InputError(
                f"factors: expected numbers from {_RANGE[0]:g} to {_RANGE[1]:g} with blanks "
                f"between, got {short(word)}"
            )
        found.append(value)
    if not 1 <= len(found) <= _MOST:
        raise InputError(f"factors: expected 1 to {_MOST}, got {len(found)}")
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class Learnt:
    """Draws of a paper's numbers that agree with readings."""

    paper: str = text("the paper it is of: on another it does not count")
    explanation: str = text("the explanation it was learnt under: under another it does not count")
    basis: str = text("what it rests on, in words", default="")
    numbers: tuple[Number, ...] = part(Number, meaning="the paper's numbers", many=True)

    def __post_init__(self) -> None:
        check(self)
        lengths = {len(parsed(one.factors)) for one in self.numbers}
        if len(lengths) != 1:
            raise InputError("numbers: expected one at least, and as many factors for each")
        names = [one.name for one in self.numbers]
        if len(set(names)) < len(names):
            raise InputError("numbers: expected each name once")

    @property
    def factors(self) -> dict[str, NDArray[np.float64]]:
        """Name -> factor in each draw."""
        return {one.name: np.array(parsed(one.factors)) for one in self.numbers}

    def middle(self, name: str) -> float:
        """Factor of the draw in the middle; 1 for a number that is not among them."""
        found = self.factors.get(name)
        return 1.0 if found is None else float(found[len(found) // 2])

    def check_names(self, layers: tuple[str, ...]) -> None:
        """InputError for a name that a paper of these layers has no number for."""
        known = [f"{layer}.{key}" for layer in layers for key in OF_LAYER] + list(OF_WHOLE)
        for one in self.numbers:
            if one.name not in known:
                raise InputError(f"learnt, name: expected {one_of(one.name, known)}")
