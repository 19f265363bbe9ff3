"""Wash methods in the printer's words.

A step either takes each sheet as it comes (rinse, aid, transfer, drain) or gathers them and lets
them go together (bath, running, hold).
"""

from __future__ import annotations

from dataclasses import dataclass

from washsim.errors import InputError
from washsim.fields import check, choice, quantity, text
from washsim.vessels import WATERS


def _vessel() -> str:
    return text("name of the vessel it happens in")


def _temperature() -> float | None:
    return quantity("c", 1, 45, "temperature here, if not the wash water's", default=None)


def _water() -> str | None:
    return choice(WATERS, "kind of water here, if not the wash water's", default=None)


def _temperature_end() -> float | None:
    return quantity("c", 1, 45, "temperature here at the end, if it drifts", default=None)


BEGINNINGS = ("fresh", "kept")


def _begin() -> str:
    return choice(
        BEGINNINGS,
        "first water: fresh, or kept if some stands there from a step or a batch before",
        default="fresh",
    )


def _per_fill() -> int:
    return quantity(
        "", 0, 200, "sheets after which the bath is made fresh; 0 never", default=0, whole=True
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rinse:
    """Each sheet, as it comes, lies in a small bath for a while."""

    vessel: str = _vessel()
    duration: float = quantity("min", 0.01, 600, "time each sheet stays")
    sheets_per_fill: int = _per_fill()
    temperature: float | None = _temperature()
    water: str | None = _water()

    def __post_init__(self) -> None:
        check(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Aid:
    """Each sheet, as it comes, lies in a 2 % sulfite bath, which makes held fixer let go."""

    vessel: str = _vessel()
    duration: float = quantity("min", 0.01, 600, "time each sheet stays")
    sheets_per_fill: int = _per_fill()
    used: float = quantity(
        "m2_l", 0, 100, "paper that went through each litre of this bath before", default=0.0
    )
    temperature: float | None = _temperature()

    def __post_init__(self) -> None:
        check(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bath:
    """Standing baths: fill, wait, dump, as often as said; all sheets stay in."""

    vessel: str = _vessel()
    baths: int = quantity("", 1, 60, "how many fillings in all", default=1, whole=True)
    duration: float = quantity("min", 0.01, 3000, "time in each filling, from when all are in")
    begin: str = _begin()
    temperature: float | None = _temperature()
    water: str | None = _water()
    temperature_end: float | None = _temperature_end()

    def __post_init__(self) -> None:
        check(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """The tap runs through the vessel from the first sheet on.

    A vessel of several slots in a row shares its water and its sheets out evenly among them; the
    water of one feeds the next, and the first sheets stand where it comes in.
    """

    vessel: str = _vessel()
    duration: float = quantity("min", 0.01, 3000, "time after the last sheet is in")
    slots: int = quantity(
        "",
        1,
        30,
        "slots in a row, each fed by the one before; 1 for one water",
        default=1,
        whole=True,
    )
    begin: str = _begin()
    temperature: float | None = _temperature()
    water: str | None = _water()
    temperature_end: float | None = _temperature_end()

    def __post_init__(self) -> None:
        check(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """Sheets wait in standing water until the last has come."""

    vessel: str = _vessel()
    changes: int = quantity(
        "", 0, 60, "times the water is renewed, spread over the sheets", default=0, whole=True
    )
    duration: float = quantity("min", 0, 3000, "time after the last sheet is in", default=0.0)
    begin: str = _begin()
    temperature: float | None = _temperature()
    water: str | None = _water()
    temperature_end: float | None = _temperature_end()

    def __post_init__(self) -> None:
        check(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Transfer:
    """Each sheet moves through a row of trays towards the cleanest; the water moves the other way.

    After every `sheets_per_fill` sheets the first tray is dumped, filled afresh and put last.
    """

    vessel: str = _vessel()
    trays: int = quantity("", 1, 20, "trays in the row", whole=True)
    duration: float = quantity("min", 0.01, 600, "from one tray to the next, draining included")
    sheets_per_fill: int = _per_fill()
    temperature: float | None = _temperature()
    water: str | None = _water()

    def __post_init__(self) -> None:
        check(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drain:
    """Sheets hang in the air; this replaces the usual drain time before the next step."""

    duration: float = quantity("s", 0, 3600, "time in the air")

    def __post_init__(self) -> None:
        check(self)


Step = Rinse | Aid | Bath | Running | Hold | Transfer | Drain
STEPS: dict[str, type] = {
    "rinse": Rinse,
    "aid": Aid,
    "bath": Bath,
    "running": Running,
    "hold": Hold,
    "transfer": Transfer,
    "drain": Drain,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Late:
    """A sheet that joins a step after it began, straight from the fixer or after a rinse."""

    step: int = quantity("", 1, 60, "number of the step it joins", whole=True)
    after: float = quantity("min", 0, 3000, "time after that step began")
    rinse_volume: float = quantity("l", 0, 100, "water it is rinsed in first; 0 none", default=0.0)
    rinse_duration: float = quantity("min", 0.01, 600, "time in that rinse", default=60.0)

    def __post_init__(self) -> None:
        check(self)


STICKINGS = ("back_to_back", "face_to_face", "face_to_back", "back_to_wall", "face_to_wall")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stuck:
    """Two sheets stuck together, or one stuck to a wall, for part of a step.

    Faces that touch let nothing through. For two equal sheets back to back or face to face that
    is exact; face to back, it leaves out what the one would give the other.
    """

    sheet: int = quantity("", 1, 200, "number of the sheet", whole=True)
    other: int | None = quantity(
        "", 1, 200, "number of the sheet it sticks to; none at a wall", default=None, whole=True
    )
    how: str = choice(STICKINGS, "which faces touch: the sheet's own first")
    step: int = quantity("", 1, 60, "number of the step", whole=True)
    after: float = quantity("min", 0, 3000, "time after that step began", default=0.0)
    duration: float = quantity("min", 0.01, 3000, "for how long", default=180000.0)

    def __post_init__(self) -> None:
        check(self)
        if self.how.endswith("wall") != (self.other is None):
            raise InputError("other: expected the number of the other sheet, or none at a wall")
        if self.other == self.sheet:
            raise InputError(f"other: expected another sheet than {self.sheet}, got it again")

    def covered(self) -> dict[int, str]:
        """Sheet number -> its covered face, 'front' or 'back'."""
        own, _, its = self.how.partition("_to_")
        name = {"face": "front", "back": "back"}
        found = {self.sheet: name[own]}
        if self.other is not None:
            found[self.other] = name[its]
        return found
