"""Readings as the fit takes them: amounts between bounds, when and where they were seen. SI."""

from __future__ import annotations

import math
from dataclasses import dataclass

from washsim import tables
from washsim.errors import InputError
from washsim.readings import Drip, Drop, Laboratory, Reading, Tests
from washsim.scenario import Scenario
from washsim.timeline import Lift


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
