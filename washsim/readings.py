"""Readings of test strips as a printer takes them, and the scale of stains they are read on.

A stain lies between two steps of a scale; nothing visible is below the first step, never zero; off
the scale is above the last. All amounts are those of the thiosulfate ion per area of one side.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from washsim import files, tables
from washsim.errors import InputError
from washsim.fields import check, choice, part, quantity, text
from washsim.ladders import Ladder

FORMAT = "washsim-readings-1"
FACES = ("whole", "front", "back")


def _sheet() -> Any:
    return quantity("", 1, 300, "number of the sheet (strip) tested", default=1, whole=True)


def _washed() -> Any:
    return quantity(
        "min", 0, 6000, "time since that sheet left the fixer; else the evening's end", default=None
    )


def _place() -> Any:
    return text("where it lay: slot, centre, back, corner", default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class Drop:
    """A silver nitrate drop, read between two steps of the scale or two known residuals.

    Only the upper of the two: nothing visible there. Only the lower: off the scale.
    """

    sheet: int = _sheet()
    washed: float | None = _washed()
    face: str = choice(FACES, "face dropped on; 'whole' for the mean of both", default="whole")
    lighter_than: int | None = quantity(
        "", 1, 60, "step of the ladder, counted from the strongest", default=None, whole=True
    )
    darker_than: int | None = quantity(
        "", 1, 60, "step of the ladder, counted from the strongest", default=None, whole=True
    )
    below: float | None = quantity("g_m2", 1e-5, 100, "residual it is lighter than", default=None)
    above: float | None = quantity("g_m2", 1e-5, 100, "residual it is darker than", default=None)
    waited: float = quantity("min", 0.1, 600, "from the drop to the look", default=120.0)
    reagent_age: float | None = quantity("days", 0, 5000, "age of the reagent", default=None)
    blank: str = choice(
        ("none", "clear", "stained"), "a drop on paper known to be washed", default="none"
    )
    place: str = _place()

    def __post_init__(self) -> None:
        check(self)
        steps, known = (self.lighter_than, self.darker_than), (self.below, self.above)
        if any(x is not None for x in steps) == any(x is not None for x in known):
            raise InputError(
                "drop: expected lighter_than and darker_than, or below_g_m2 and above_g_m2; "
                "one of a pair is enough"
            )
        if None not in steps and self.lighter_than >= self.darker_than:  # type: ignore[operator]
            raise InputError(
                "darker_than: expected a weaker step, of higher number, than lighter_than, "
                f"got {self.darker_than}"
            )
        if None not in known and self.below <= self.above:  # type: ignore[operator]
            raise InputError(f"below_g_m2: expected more than above_g_m2, got {1e3 * self.below:g}")  # type: ignore[operator]

    @property
    def late(self) -> bool:
        """Whether the look came so late that blank paper darkens too."""
        return self.waited > 60 * tables.datum("limits.reading.drop_wait").high


@dataclass(frozen=True, slots=True, kw_only=True)
class Laboratory:
    """A value of a laboratory, by a method of ISO 18917, or its limit of detection."""

    sheet: int = _sheet()
    washed: float | None = _washed()
    residual: float | None = quantity("g_m2", 1e-6, 100, "value reported", default=None)
    below: float | None = quantity("g_m2", 1e-6, 100, "'less than', if so reported", default=None)
    error: float = quantity(
        "percent",
        0.5,
        200,
        "standard error of the value, relative",
        default=tables.datum("limits.reading.laboratory_error").value,
        source="limits.reading.laboratory_error",
    )
    method: str = choice(
        ("iodine_amylose", "methylene_blue", "silver_sulfide"),
        "which of the standard's methods",
        default="iodine_amylose",
    )
    age: float | None = quantity("days", 0, 5000, "from washing to the analysis", default=None)
    place: str = _place()

    def __post_init__(self) -> None:
        check(self)
        if (self.residual is None) == (self.below is None):
            raise InputError("laboratory: expected either residual_g_m2 or below_g_m2")


@dataclass(frozen=True, slots=True, kw_only=True)
class Drip:
    """A permanganate drip: it tests the water on a print, so it only bounds what is in the water.

    Colour that stays says less than the bound, colour that fades says more.
    """

    sheet: int = _sheet()
    washed: float | None = _washed()
    colour: str = choice(("stays", "fades"), "what the drip's violet did")
    bound: float = quantity(
        "mg_l",
        0.01,
        1000,
        "thiosulfate in the water at which it fades",
        default=tables.datum("limits.reading.drip_bound").si,
        source="limits.reading.drip_bound",
    )
    place: str = _place()

    def __post_init__(self) -> None:
        check(self)


Reading = Drop | Laboratory | Drip
KINDS: dict[str, type] = {"drop": Drop, "laboratory": Laboratory, "drip": Drip}


@dataclass(frozen=True, slots=True, kw_only=True)
class Tests:
    """What was read on one evening, and the scale it was read on."""

    __test__ = False  # pytest: not a test class

    title: str = text("what it is called on screen", default="Readings")
    ladder: Ladder | None = part(Ladder, meaning="the scale of stains", default=None)
    readings: tuple[Reading, ...] = part(
        *KINDS.values(), meaning="readings", many=True, words=tuple(KINDS), default=()
    )

    def __post_init__(self) -> None:
        check(self)
        rungs = len(self.ladder.steps) if self.ladder else 0
        for number, one in enumerate(self.readings, start=1):
            for step in (getattr(one, "lighter_than", None), getattr(one, "darker_than", None)):
                if step is not None and step > rungs:
                    raise InputError(
                        f"reading {number}: expected a step of the ladder, which has "
                        f"{rungs or 'none'}, got {step}"
                    )


def load(path: str | Path) -> Tests:
    """Read a file of readings; InputError in one sentence."""
    found, place = files.read(path)
    return loads(found, place)


def loads(found: str, where: str = "readings") -> Tests:
    """Readings from TOML text; `where` begins every message."""
    tests: Tests = files.parse(Tests, FORMAT, found, where)
    return tests


def dumps(tests: Tests) -> str:
    """TOML text that `loads` reads back to equal readings."""
    return files.write(tests, FORMAT)
