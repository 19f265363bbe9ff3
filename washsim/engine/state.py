"""What there is at a moment, lots and tanks, and how events change it at once.

M is the number of members, u the unknowns of one slab; amounts in kg, SI throughout.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from washsim.engine.acts import Dump, Fill, Lift, Place, Set
from washsim.engine.interval import Conditions
from washsim.engine.segment import AIR
from washsim.engine.space import Array, Slab


@dataclass(slots=True)
class Lot:
    """Slabs that share one history: kind of slab, area (M,) of one side of them all, state.

    film (M,) m3 and film_solute (M,) kg are what clings to it in the air; conditions those of
    the tank it was last in.
    """

    slab: int
    area: Array
    state: Array
    clock: Array
    film: Array
    film_solute: Array
    tank: int = AIR
    open_faces: tuple[float, float] = (0.0, 0.0)
    conditions: Conditions | None = None


@dataclass(slots=True)
class Tank:
    """Volume (M,) m3 and concentration (M,) kg/m3 of a tank's moving and of its dead water.

    clock (M,) s, how far it has come; still (M,) s, when its water was last moved by hand; feeds:
    the tank that its outflow goes to, if not to the drain.
    """

    clock: Array
    still: Array
    volume: Array
    dead_volume: Array
    moving: Array
    dead: Array
    conditions: Conditions | None = None
    lots: list[int] = field(default_factory=list)
    feeds: int | None = None

    def solute(self) -> Array:
        return self.volume * self.moving + self.dead_volume * self.dead

    def mix(self, volume: Array, solute: Array) -> None:
        """Hold this much, evenly mixed, split into its moving and its dead part."""
        share = 0.0 if self.conditions is None else self.conditions.dead_share
        self.volume, self.dead_volume = (1 - share) * volume, share * volume
        self.moving = self.dead = solute / np.maximum(volume, 1e-30)


@dataclass(slots=True)
class Tally:
    """Amounts (M,) kg that crossed the border: taken from boundless tanks and supplies, drained."""

    taken: Array
    drained: Array


class State:
    """All lots and tanks. slabs: the kinds of slab; lots: (kind, area (M,), start (M,) kg/m3)."""

    def __init__(
        self, slabs: list[Slab], lots: list[tuple[int, Array, Array]], tanks: int, members: int
    ) -> None:
        zero = np.zeros(members)
        self.members, self.slabs = members, slabs
        self.lots = [
            Lot(kind, area, np.repeat(start[:, None], slabs[kind].size, 1), zero, zero, zero)
            for kind, area, start in lots
        ]
        self.tanks = [Tank(zero, zero, zero, zero, zero, zero) for _ in range(tanks)]
        self.tally = Tally(zero, zero)

    def content(self) -> Array:
        """(M,) kg in all lots, in the film on them and in all bounded tanks."""
        total = np.zeros(self.members)
        for lot in self.lots:
            inside = np.sum(self.slabs[lot.slab].capacity * lot.state, axis=1)
            total = total + lot.area * inside + lot.film_solute
        for tank in self.tanks:
            if tank.conditions is None or not tank.conditions.boundless:
                total = total + tank.solute()
        return total

    def change(self, event: Set | Fill | Dump, tank: Tank) -> None:
        tally = self.tally
        match event:
            case Set(conditions=conditions):
                before, tank.conditions = tank.conditions, conditions
                if before is not None and before.fed_by is not None:
                    self.tanks[before.fed_by].feeds = None
                if conditions.fed_by is not None:
                    self.tanks[conditions.fed_by].feeds = event.tank
                if conditions.boundless:
                    tank.moving = tank.dead = conditions.supply
                elif before is None or (before.dead_share != conditions.dead_share).any():
                    tank.mix(tank.volume + tank.dead_volume, tank.solute())
            case Fill(volume=volume, concentration=concentration):
                poured = volume * concentration
                tally.taken = tally.taken + poured
                tank.mix(tank.volume + tank.dead_volume + volume, tank.solute() + poured)
                tank.still = event.at
            case Dump(keep=keep):
                volume, solute = tank.volume + tank.dead_volume, tank.solute()
                left = np.minimum(keep, volume)
                kept = solute * left / np.maximum(volume, 1e-30)
                tally.drained = tally.drained + solute - kept
                tank.mix(left, kept)

    def lift(self, event: Lift) -> None:
        lot = self.lots[event.lot]
        tank = self.tanks[lot.tank]
        tank.lots.remove(event.lot)
        tank.still = event.at
        assert tank.conditions is not None
        lot.conditions, lot.clock, lot.tank = tank.conditions, event.at, AIR
        if tank.conditions.boundless:
            lot.film = event.film
            self.tally.taken = self.tally.taken + event.film * tank.moving
        else:
            lot.film = np.minimum(event.film, tank.volume)
            tank.volume = tank.volume - lot.film
        lot.film_solute = lot.film * tank.moving

    def place(self, event: Place) -> None:
        lot, tank = self.lots[event.lot], self.tanks[event.tank]
        if tank.conditions is None:
            raise ValueError(f"tank {event.tank} needs conditions before a lot enters it")
        tank.lots.append(event.lot)
        tank.still = event.at
        lot.tank, lot.open_faces = event.tank, event.open_faces
        if tank.conditions.boundless:
            self.tally.drained = self.tally.drained + lot.film_solute
        else:
            volume = tank.volume + lot.film
            solute = tank.volume * tank.moving + lot.film_solute
            tank.moving = solute / np.maximum(volume, 1e-30)
            tank.volume = volume
        lot.film = lot.film_solute = np.zeros(self.members)
