"""Writes the events of an evening: fills, flows and moves, in the order they are called for."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from washsim.recipes import (
    Aid,
    Bath,
    Hold,
    Rinse,
    Running,
    Transfer,
)
from washsim.timeline import (
    Basin,
    Dump,
    Event,
    Fill,
    Flow,
    Lift,
    Place,
    Stage,
)
from washsim.vessels import Handling, Vessel, Water

Drifting = Bath | Running | Hold
InWater = Drifting | Rinse | Aid | Transfer


@dataclass(slots=True)
class Coming:
    """A lot on its way: when it may leave where it lies, and how long it will drain."""

    lot: int
    ready: float
    drain: float
    hung: bool = False
    sheets: int = 1
    inside: int | None = None
    late: bool = False


@dataclass(slots=True)
class Writer:
    """Collects the events of an evening."""

    vessels: dict[str, Vessel]
    water: Water
    handling: Handling
    basins: list[Basin] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    stages: list[Stage] = field(default_factory=list)
    filled: dict[int, float] = field(default_factory=dict)
    """When a basin was last in use, s; absent while it is dry."""

    def basin(self, label: str, vessel: Vessel | None) -> int:
        """The number of the basin of that name, made on first call."""
        wanted = Basin(label=label, vessel=vessel)
        if wanted not in self.basins:
            self.basins.append(wanted)
        return self.basins.index(wanted)

    def fresh(self, basin: int, at: float, step: int) -> None:
        """Dump what is in a basin and fill it; at first it holds its puddle of plain water."""
        vessel = self.basins[basin].vessel
        assert vessel is not None, "a fixing bath is never filled here"
        if basin in self.filled:
            self.events.append(Dump(at=at, vessel=basin, puddle=vessel.puddle, step=step))
            self.events.append(Fill(at=at, vessel=basin, volume=vessel.volume, step=step))
        else:
            # the puddle of the rinsed tray is nobody's litre: step -1
            self.events.append(Fill(at=at, vessel=basin, volume=vessel.puddle, step=-1))
            self.events.append(Fill(at=at, vessel=basin, volume=vessel.volume, step=step))
        self.filled[basin] = at

    def begin(self, basin: int, at: float, number: int, step: Drifting) -> None:
        """Fill a basin for a step, unless that keeps what stands there."""
        if step.begin == "fresh" or basin not in self.filled:
            self.fresh(basin, at, number)

    def tap(
        self,
        basin: int,
        at: float,
        step: int,
        spec: InWater,
        rate: float = 0.0,
        warmer: float = 0.0,
        fed_by: int | None = None,
    ) -> None:
        """Say what a basin holds, how warm, and whether water runs through it, and from where."""
        own = self.water.temperature if spec.temperature is None else spec.temperature
        self.events.append(
            Flow(
                at=at,
                vessel=basin,
                water=getattr(spec, "water", None) or "",
                temperature=own + warmer,
                rate=rate,
                step=step,
                fed_by=fed_by,
            )
        )

    def drift(
        self,
        basin: int,
        start: float,
        stop: float,
        step: int,
        spec: Drifting,
        rate: float,
        fed_by: int | None = None,
    ) -> None:
        """Let the temperature run evenly to its end, in steps of at most one kelvin."""
        if spec.temperature_end is None:
            return
        own = self.water.temperature if spec.temperature is None else spec.temperature
        rise = spec.temperature_end - own
        pieces = max(1, math.ceil(abs(rise)))
        for piece in range(pieces):
            at = start + (stop - start) * piece / pieces
            self.tap(basin, at, step, spec, rate, rise * (piece + 0.5) / pieces, fed_by)

    def move(self, coming: Coming, basin: int, lifted: bool = False) -> float:
        """Carry a lot to a basin unless it lies there already; when it arrives, s.

        lifted: even then, out of the basin and back into it, as after hanging in the air.
        """
        if coming.inside == basin and not (lifted or coming.hung):
            return coming.ready
        arrival = coming.ready
        if coming.inside is not None:
            film = self.handling.film(coming.drain)
            self.events.append(Lift(at=coming.ready, lot=coming.lot, film=film))
            arrival += coming.drain
        self.events.append(Place(at=arrival, lot=coming.lot, vessel=basin))
        coming.inside, coming.drain, coming.hung = basin, self.handling.drain, False
        return arrival
