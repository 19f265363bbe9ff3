"""Random evenings for the engine: every kind of event, in any order that hands could carry out."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from washsim.engine import acts, march, space
from washsim.engine.interval import Conditions

Array = np.ndarray
FIXER = 100.0  # kg/m3
FIXING, TRAYS = 0, (1, 2)
SCALES = np.array([1.0, 0.6, 1.7])
"""Members differ: times, volumes and films are multiplied by these."""
FACES = [(1.0, 1.0), (1.0, 0.0), (0.0, 1.0), (0.0, 0.0)]


def some(examples: int) -> settings:
    """The same examples every time, and no clock: machines differ."""
    return settings(
        max_examples=examples,
        deadline=None,
        derandomize=True,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )


def paper(family: str, intervals: tuple[int, int], members: int = 1) -> space.Slab:
    """Emulsion and base, fixer held in the base; members differ in the base."""
    scale = SCALES[:members, None]
    one = np.ones((members, 1))
    return space.slab(
        space.space(family, intervals),
        thickness=np.concatenate([25e-6 * one, 300e-6 * one], axis=1),
        porosity=np.concatenate([0.85 * one, 0.58 / scale**0.5], axis=1),
        hindrance=np.concatenate([0.5 * one, 0.08 * scale], axis=1),
        retardation=np.concatenate([1.5 * one, one], axis=1),
        retention=np.concatenate([0 * one, 0.05 * scale], axis=1),
        release_rate=np.concatenate([0 * one, 1e-3 * one], axis=1),
    )


@dataclass(slots=True)
class Evening:
    """Events under construction, and enough of a memory to keep them possible."""

    draw: st.DrawFn
    members: int
    events: list[acts.Event] = field(default_factory=list)
    now: float = 0.0
    inside: set[int] = field(default_factory=set)

    @property
    def scale(self) -> Array:
        return SCALES[: self.members]

    @property
    def at(self) -> Array:
        return self.now * self.scale

    def each(self, value: float) -> Array:
        return np.full(self.members, value)

    def share(self, low: float, high: float) -> float:
        """A number in the range, to a thousandth of it: no hand pours 1e-200 m3."""
        return low + (high - low) * self.draw(st.integers(0, 1000)) / 1000

    def perhaps(self, low: float, high: float) -> float:
        return self.share(low, high) if self.draw(st.booleans()) else 0.0

    def set(self, tank: int, lot: int) -> None:
        fixer = tank == FIXING
        film = 10.0 ** self.share(-7, -4)
        dead = [0.0 if fixer else self.perhaps(0, 0.6) for _ in range(self.members)]
        at = Conditions(
            free_diffusivity=self.each(1e-9 * self.share(0.5, 2.0)),
            quickening=self.each(self.share(0.5, 20.0)),
            film=film * self.scale[:, None] * np.array([[1.0, self.share(0.1, 1.0)]]),
            inflow=self.scale * (0.0 if fixer else self.perhaps(1e-6, 1e-4)),
            supply=self.each(FIXER if fixer else self.perhaps(0, 1)),
            # a dead part in some members and none in others
            dead_share=np.array(dead),
            dead_rate=self.each(self.share(1e-4, 1e-2)),
            boundless=fixer,
        )
        self.events.append(acts.Set(self.at, tank, at))

    def fill(self, tank: int, lot: int) -> None:
        volume, strength = self.share(2e-4, 2e-2), self.perhaps(0, 1)
        self.events.append(acts.Fill(self.at, tank, volume * self.scale, self.each(strength)))

    def dump(self, tank: int, lot: int) -> None:
        self.events.append(acts.Dump(self.at, tank, self.share(0, 1e-3) * self.scale))

    def place(self, tank: int, lot: int) -> None:
        if lot not in self.inside:
            tank, faces = self.draw(st.sampled_from((tank, FIXING))), self.faces()
            self.events.append(acts.Place(self.at, lot, tank, faces))
            self.inside.add(lot)

    def lift(self, tank: int, lot: int) -> None:
        if lot in self.inside:
            self.events.append(acts.Lift(self.at, lot, self.share(0, 1e-5) * self.scale))
            self.inside.remove(lot)

    def expose(self, tank: int, lot: int) -> None:
        if lot in self.inside:
            self.events.append(acts.Expose(self.at, lot, self.faces()))

    def release(self, tank: int, lot: int) -> None:
        if lot in self.inside:
            extra = np.full((self.members, 1), self.share(0, 1000.0))  # alike at all nodes
            self.events.append(acts.Release(self.at, lot, extra))

    def faces(self) -> tuple[float, float]:
        return self.draw(st.sampled_from(FACES))

    def pass_time(self) -> None:
        span = self.draw(st.sampled_from([0.0, 0.1, 10.0, 300.0, 3000.0]))
        self.now += span * self.share(0.5, 1.0)


@st.composite
def evenings(draw: st.DrawFn, lots: int = 3, members: int = 1, most: int = 12) -> list[acts.Event]:
    """Events for lots 0.. in one boundless fixer and two trays; all clocks end at one time."""
    evening = Evening(draw, members)
    for tank in (FIXING, *TRAYS):
        evening.set(tank, 0)
    for tank in TRAYS:
        evening.fill(tank, 0)
    evening.events.append(acts.Place(evening.at, 0, FIXING))
    evening.inside.add(0)
    evening.now += 10.0  # so that there is fixer to keep account of
    deeds = (Evening.place, Evening.lift, Evening.set, Evening.fill, Evening.dump)
    deeds += (Evening.place, Evening.expose, Evening.release)
    for _ in range(draw(st.integers(3, most))):
        evening.pass_time()
        deed = draw(st.sampled_from(deeds))
        deed(evening, draw(st.sampled_from(TRAYS)), draw(st.integers(0, lots - 1)))
    evening.now += 600.0
    for lot in sorted(evening.inside):
        evening.events.append(acts.Lift(evening.at, lot, evening.each(0.0)))
    for tank in TRAYS:
        evening.events.append(acts.Dump(evening.at, tank, evening.each(1e3)))  # empties nothing
    return evening.events


def state(kind: space.Slab, lots: int, members: int = 1) -> march.March:
    """Lots of 0.1, 0.2, ... m2, free of fixer, and three tanks."""
    areas = [np.full(members, 0.1 * (1 + i)) for i in range(lots)]
    return march.March([kind], [(0, area, np.zeros(members)) for area in areas], 3, members)
