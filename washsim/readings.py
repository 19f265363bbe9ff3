"""Readings of test strips as a printer takes them, and the scale of stains they are read on.

A stain lies between two steps of a scale; nothing visible is below the first step, never zero; off
the scale is above the last. All amounts are those of the thiosulfate ion per area of one side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from washsim import files, tables
from washsim.errors import InputError
from washsim.fields import check, choice, part, quantity, text
from washsim.liquids import density
from washsim.scenario import Scenario
from washsim.timeline import Lift
from washsim.units import celsius

FORMAT = "washsim-readings-1"
FACES = ("whole", "front", "back")


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """A reading as the fit takes it, SI: what was seen lies from low to high, errors are of ln.

    what: 'whole', 'front', 'back' (kg/m2) or 'water' (kg/m3, around the lot). low 0 and high
    infinite where the reading is open; equal for a value. own: error of this reading alone;
    shared: that of the scale, common to all readings on the scale of that number.
    """

    what: str
    lot: int
    at: float
    low: float
    high: float
    own: float
    shared: float
    scale: int = 0

    @property
    def middle(self) -> float:
        """kg/m2 or kg/m3: the middle of the two bounds on a log scale, or the one bound."""
        if self.low == 0.0:
            return self.high
        return self.low if math.isinf(self.high) else math.sqrt(self.low * self.high)

    @property
    def spread(self) -> float:
        """Standard error of ln(middle): the scale, the reading, and where between the bounds."""
        between = 0.0
        if self.low > 0 and math.isfinite(self.high):
            between = math.log(self.high / self.low) / math.sqrt(12)
        return math.hypot(self.own, self.shared, between)


def observations(scenario: Scenario, tests: Tests, scale: int = 0) -> tuple[Observation, ...]:
    """Readings on the scenario's own sheets and clock. InputError names the reading.

    scale: a number that tells readings on one scale from those on another.
    """
    timeline = scenario.timeline
    steps = tests.ladder.residuals(scenario) if tests.ladder else ()
    found = []
    for number, one in enumerate(tests.readings, start=1):
        lots = [i for i, lot in enumerate(timeline.lots) for _ in range(lot.count)]
        if one.sheet > len(lots):
            raise InputError(
                f"reading {number}, sheet: expected one of the scenario's {len(lots)}, "
                f"got {one.sheet}"
            )
        lot = lots[one.sheet - 1]
        lifted = [e.at for e in timeline.events if isinstance(e, Lift) and e.lot == lot]
        left = lifted[scenario.fixing.baths - 1]
        at = timeline.end if one.washed is None else left + one.washed
        if at > timeline.end + 1.0:
            raise InputError(
                f"reading {number}, washed_min: expected at most the "
                f"{(timeline.end - left) / 60:.4g} min the scenario washes that sheet, "
                f"got {(at - left) / 60:g}"
            )
        what, low, high, own, shared = _bounds(one, steps)
        one_more = Observation(
            what=what, lot=lot, at=at, low=low, high=high, own=own, shared=shared, scale=scale
        )
        found.append(one_more)
    return tuple(found)


def _bounds(one: Reading, steps: tuple[float, ...]) -> tuple[str, float, float, float, float]:
    """What was seen, its bounds (SI) and its own and shared error of the logarithm."""
    match one:
        case Drop():
            low, high = one.above or 0.0, one.below or math.inf
            if one.darker_than is not None:
                low = steps[one.darker_than - 1]
            if one.lighter_than is not None:
                high = steps[one.lighter_than - 1]
            if one.late or one.blank == "stained":
                # such a stain is at most what it seems; a clear patch still is clear
                low = 0.0
            own = tables.datum("limits.reading.observer_error").value
            return one.face, low, high, own, tables.datum("limits.reading.ladder_error").value
        case Laboratory():
            value = one.residual
            own = math.log1p(one.error)
            if value is None:
                assert one.below is not None
                return "whole", 0.0, one.below, own, 0.0
            return "whole", value, value, own, 0.0
        case Drip():
            low, high = (0.0, one.bound) if one.colour == "stays" else (one.bound, math.inf)
            return "water", low, high, tables.datum("limits.reading.drip_error").value, 0.0


def said(one: Observation) -> str:
    """The reading in words, darkroom units."""
    factor, unit = (1e3, "mg/L") if one.what == "water" else (1e3, "g/m²")
    low, high = f"{factor * one.low:.2g}", f"{factor * one.high:.2g}"
    if one.low == 0.0 and math.isinf(one.high):
        amount = "nothing that counts"
    elif one.low == one.high:
        amount = f"{low} {unit}"
    elif one.low == 0.0:
        amount = f"below {high} {unit}"
    elif math.isinf(one.high):
        amount = f"above {low} {unit}"
    else:
        amount = f"{low} to {high} {unit}"
    where = {"whole": "", "front": "front, ", "back": "back, ", "water": "water, "}[one.what]
    return f"{where}{amount} at {one.at / 60:.0f} min"


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
