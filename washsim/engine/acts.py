"""What hands do to tanks and lots, and when: one dataclass an event.

M is the number of members; volumes m3, concentrations kg/m3, times s.
"""

from __future__ import annotations

from dataclasses import dataclass

from washsim.engine.interval import Conditions
from washsim.engine.space import Array


@dataclass(frozen=True, slots=True)
class Set:
    """From now on this tank imposes these conditions."""

    at: Array
    tank: int
    conditions: Conditions


@dataclass(frozen=True, slots=True)
class Fill:
    """Pour volume (M,) of concentration (M,) into the tank."""

    at: Array
    tank: int
    volume: Array
    concentration: Array


@dataclass(frozen=True, slots=True)
class Dump:
    """Empty the tank but for a puddle of keep (M,) m3."""

    at: Array
    tank: int
    keep: Array


@dataclass(frozen=True, slots=True)
class Lift:
    """Take a lot out of its tank into the air, with `film` (M,) m3 of the tank's water on it."""

    at: Array
    lot: int
    film: Array


@dataclass(frozen=True, slots=True)
class Place:
    """Put a lot that is in the air into a tank, where the film on it mixes in.

    open_faces: (front, back), 1.0 open, 0.0 covered.
    """

    at: Array
    lot: int
    tank: int
    open_faces: tuple[float, float] = (1.0, 1.0)


@dataclass(frozen=True, slots=True)
class Expose:
    """From now on the faces (front, back) of a lot are open (1.0) or covered (0.0)."""

    at: Array
    lot: int
    open_faces: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Release:
    """Let held and mobile solute of a lot trade as if for `extra` (M, h) more seconds.

    For a release that something else in the pores quickens: its extra part is split off from the
    interval (Strang) and solved exactly at each node, so nothing is lost or turns negative.
    """

    at: Array
    lot: int
    extra: Array


Event = Set | Fill | Dump | Lift | Place | Expose | Release
