"""The march through time: intervals of constant conditions and the jumps between them.

Tanks only meet when a lot (one or more slabs that share one history) moves from one to another,
so each tank keeps its own clock and advances only when something happens to it. `march` yields a
`Segment` per interval; a segment answers for any time inside it, exactly.

M is the number of members, u the unknowns of one slab, T times; amounts in kg, SI throughout.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from washsim.engine.acts import Event, Expose, Lift, Place, Release
from washsim.engine.interval import (
    Conditions,
    Modes,
    decay,
    film_rows,
    modes,
    slab_fluxes,
    tank_system,
)
from washsim.engine.release import released
from washsim.engine.saturation import TOLERANCE, Crowd, course
from washsim.engine.segment import AIR, Course, Segment
from washsim.engine.space import Array, Slab
from washsim.engine.state import Lot, State, Tank

DRIFT = 0.1
"""Part by which films change in a piece; residuals are good to a thousandth, laws to a third."""
_FIRST = 1e-3
"""An interval with currents begins with a piece of this part of it."""
_TRIALS = 8
"""A piece is tried so often; as it is shortened each time, more are hardly ever needed."""
_SEEN = np.array([0.0, 0.5 - np.sqrt(0.15), 0.5, 0.5 + np.sqrt(0.15)])
_WEIGHTS = np.array([0.0, 5.0, 8.0, 5.0]) / 18
"""A piece is looked at where it begins and at its Gauss points (Abramowitz and Stegun, 25.4)."""
Groups = dict[tuple[int, tuple[float, float]], list[int]]
"""Kind of slab and faces open (front, back) -> the lots that are so."""


class March(State):
    """The state on its way: `run(events)` advances it and yields the segments.

    slabs: the kinds of slab; lots: (kind, area (M,), start concentration (M,)); tanks: count;
    tolerance: of `saturation`, for slabs that fill up; drift: part by which films may change in
    one piece of an interval with currents. All start at time zero: tanks empty, lots in the air.
    """

    def __init__(
        self,
        slabs: list[Slab],
        lots: list[tuple[int, Array, Array]],
        tanks: int,
        members: int,
        tolerance: float = TOLERANCE,
        drift: float = DRIFT,
    ) -> None:
        super().__init__(slabs, lots, tanks, members)
        self.tolerance, self.drift = tolerance, drift
        self._modes: dict[tuple, Modes] = {}

    def run(self, events: Iterable[Event]) -> Iterator[Segment]:
        """Carry out events, which must come in order of time for each tank and lot."""
        for event in events:
            match event:
                case Lift():
                    yield from self._advance(self.lots[event.lot].tank, event.at)
                    self.lift(event)
                case Place():
                    yield from self._rest(event.lot, event.at)
                    yield from self._advance(event.tank, event.at)
                    self.place(event)
                case Expose() | Release():
                    tank = self.lots[event.lot].tank
                    if tank == AIR:
                        yield from self._rest(event.lot, event.at)
                    else:
                        yield from self._advance(tank, event.at)
                    if isinstance(event, Expose):
                        self.lots[event.lot].open_faces = event.open_faces
                    else:
                        lot = self.lots[event.lot]
                        lot.state = released(self.slabs[lot.slab], lot.state, event.extra)
                case _:
                    yield from self._advance(event.tank, event.at)
                    self.change(event, self.tanks[event.tank])

    # intervals

    def _rest(self, number: int, until: Array) -> Iterator[Segment]:
        """A lot in the air evens out inside, behind closed faces."""
        lot = self.lots[number]
        seconds, start, lot.clock = until - lot.clock, lot.clock, until
        if lot.conditions is None or not seconds.any():
            return
        nothing = np.zeros(self.members)
        alone = self._alone(lot, lot.conditions, (0.0, 0.0))
        rest = self._by_itself(lot, alone, lot.conditions, nothing, seconds)
        parts: dict[int, tuple[Course, ...]] = {number: (rest,)}
        segment = Segment(AIR, start, until, nothing, parts, {number: (0.0, 0.0)})
        lot.state = segment.slab_at(number, seconds[:, None])[:, 0]
        yield segment

    def _advance(self, index: int, until: Array) -> Iterator[Segment]:
        tank = self.tanks[index]
        seconds, start, tank.clock = until - tank.clock, tank.clock, until
        if (seconds < 0).any():
            raise ValueError(f"tank {index}: an event lies {-seconds.min():g} s in its past")
        at = tank.conditions
        if at is None or not seconds.any() or (at.boundless and not tank.lots):
            return
        if not (at.boundless or tank.volume.all()):
            return  # an empty tank: whatever lies in it only waits
        if at.currents is not None and tank.lots and not at.boundless:
            yield from self._drifting(index, at, start)
            return
        solve = self._boundless if at.boundless else self._bounded
        yield solve(index, at, start)

    def _drifting(self, index: int, at: Conditions, start: Array) -> Iterator[Segment]:
        """Pieces of an interval in which the films of a tank change with what they carry.

        A piece keeps its films, so it is an interval like any other. They are the mean, in the
        logarithm, of what its differences call for: at its ends these lean to one side, since a
        face follows its film. Pieces are as long as lets films change by about `drift`; the error
        falls with its square.
        """
        tank, drift = self.tanks[index], self.drift
        until, begin, span = tank.clock, start, _FIRST * (tank.clock - start)
        last = np.log(self._called_for(tank, at, None, begin, begin[:, None])[:, 0])
        trend, middle = np.zeros_like(last), begin
        while (begin < until).any():
            span = np.minimum(span, until - begin)
            before = self.kept(tank)
            guess = last + trend * (begin + 0.5 * span - middle)[:, None]
            for trial in range(_TRIALS):
                if trial:
                    self.put_back(tank, before)
                tank.clock = np.where(span < until - begin, begin + span, until)
                segment = self._bounded(index, replace(at, film=np.exp(guess)), begin)
                seen = np.log(self._called_for(tank, at, segment, begin, span[:, None] * _SEEN))
                large, missed = np.ptp(seen, axis=1).max(axis=1), _WEIGHTS @ seen - guess
                if large.max() <= 2 * drift and np.abs(missed).max() <= 0.5 * drift**2:
                    break
                # a face sinks as its film quickens, which takes back a fifth or so
                guess = guess + missed / 1.2
                span = np.where(large > 2 * drift, 0.3 * span, span)
            yield segment
            now = 0.5 * (begin + tank.clock)
            if (begin > start).any():
                trend = (guess - last) / np.maximum(now - middle, 1e-30)[:, None]
            last, middle, begin = guess, now, tank.clock
            span = span * np.clip(drift / np.maximum(large, 1e-30), 0.3, 3.0)

    def _called_for(
        self, tank: Tank, at: Conditions, segment: Segment | None, begin: Array, seconds: Array
    ) -> Array:
        """(M, T, 2) films that currents make at seconds (M, T) into a segment, or of now.

        All lots in a tank share them: those of the mean difference, by open area.
        """
        assert at.currents is not None
        water = tank.moving[:, None] if segment is None else segment.water_at(seconds)[..., 0]
        difference, open_area = 0.0, np.full((self.members, 1, 2), 1e-30)
        for number in tank.lots:
            lot = self.lots[number]
            faces = np.zeros((self.members, 2, self.slabs[lot.slab].size))
            faces[:, 0, 0] = faces[:, 1, self.slabs[lot.slab].space.size - 1] = 1.0
            if segment is None:
                seen = lot.state[:, None] @ faces.swapaxes(1, 2)
            else:
                seen = segment.slab_at(number, seconds, faces)
            area = lot.area[:, None, None] * np.array(lot.open_faces)
            difference = difference + area * (seen - water[..., None])
            open_area = open_area + area
        still = (begin - tank.still)[:, None] + (0.0 if segment is None else seconds)
        return at.currents(difference / open_area, still[..., None])

    def _boundless(self, index: int, at: Conditions, start: Array) -> Segment:
        """Each lot decays by itself towards a concentration that never changes."""
        tank = self.tanks[index]
        seconds = tank.clock - start
        parts: dict[int, tuple[Course, ...]] = {}
        for number in tank.lots:
            lot = self.lots[number]
            alone = self._alone(lot, at, lot.open_faces)
            part = self._by_itself(lot, alone, at, at.supply, seconds)
            parts[number] = (part,)
            # from the flows: behind a fast film a face differs from the bath by mere rounding
            through = part.by(alone.flows)
            roots = np.sqrt(at.film * np.array(lot.open_faces))
            for face, row in enumerate(film_rows(self.slabs[lot.slab])):
                given = roots[:, face] * through.integral(seconds, row)
                self.tally.taken = self.tally.taken - lot.area * given
            lot.state = part.at(seconds[:, None])[:, 0] + at.supply[:, None]
        return Segment(index, start, tank.clock, at.supply, parts, self._faces(tank))

    def _bounded(self, index: int, at: Conditions, start: Array) -> Segment:
        """Slabs of a kind split into their mean, which meets the water, and deviations from it.

        The deviations sum to zero over the slabs, so they decay as if the water stayed clear:
        the cost is linear in the number of lots.
        """
        tank = self.tanks[index]
        parts: dict[int, tuple[Course, ...]] = {}
        groups = self._groups(tank)
        base = np.where(at.inflow > 0, at.supply, 0.0)
        areas, means = self._means(groups)
        parted = bool(at.dead_share.any())
        water = [tank.moving, tank.dead] if parted else [tank.moving]
        y = np.concatenate([*means, np.array(water).T], axis=1) - base[:, None]
        seconds = tank.clock - start
        found = self._together(tank, at, groups, areas, parted)
        together: Course
        apart: dict[int, Course]
        if any(self.slabs[kind].bend is not None for kind, _ in groups):
            together, apart = self._kicked(found, groups, y, at, base, seconds)
        else:
            together, apart = decay(found, y), self._apart(groups, means, at)
        end = together.at(seconds[:, None])[:, 0] + base[:, None]
        first = 0
        for numbers, mean in zip(groups.values(), means, strict=True):
            rows = slice(first, first + mean.shape[1])
            common = together.by(together.compose[:, rows])
            for number in numbers:
                lot = self.lots[number]
                parts[number], lot.state = (common,), end[:, rows]
                if number in apart:
                    own = apart[number]
                    parts[number] += (own,)
                    lot.state = lot.state + own.at(seconds[:, None])[:, 0]
            first = rows.stop
        surface = together.by(together.compose[:, first:])
        volumes = np.array([tank.volume, tank.dead_volume][: len(water)]).T
        segment = Segment(
            index, start, tank.clock, base, parts, self._faces(tank), surface, volumes, at.inflow
        )
        if at.inflow.any():
            self.tally.taken = self.tally.taken + at.inflow * at.supply * seconds
            self.tally.drained = self.tally.drained + segment.drained_by(seconds)
        tank.moving, tank.dead = end[:, first], end[:, -1]
        return segment

    def _apart(self, groups: Groups, means: list[Array], at: Conditions) -> dict[int, Course]:
        """How lots part from the mean of their group, where they do."""
        found: dict[int, Course] = {}
        for numbers, mean in zip(groups.values(), means, strict=True):
            for number in numbers if len(numbers) > 1 else ():
                lot = self.lots[number]
                apart = lot.state - mean
                if apart.any():
                    found[number] = decay(self._alone(lot, at, lot.open_faces), apart)
        return found

    def _kicked(
        self, found: Modes, groups: Groups, y: Array, at: Conditions, base: Array, seconds: Array
    ) -> tuple[Course, dict[int, Course]]:
        """The same two where slabs fill up: of the means y with the water, and of lots apart."""
        crowds, first = [], 0
        for (kind, faces), numbers in groups.items():
            lots = [self.lots[number] for number in numbers]
            rows = slice(first, first + self.slabs[kind].size)
            areas = np.stack([lot.area for lot in lots], axis=1)
            states = np.stack([lot.state for lot in lots], axis=1) - base[:, None, None]
            alone = self._alone(lots[0], at, faces) if len(lots) > 1 else None
            crowds.append(Crowd(self.slabs[kind], rows, areas, states, alone))
            first = rows.stop
        together, rests = course(crowds, found, y, base, at.quickening, seconds, self.tolerance)
        assert together is not None
        apart: dict[int, Course] = {}
        for numbers, owns in zip(groups.values(), rests, strict=True):
            # a group of one lot has nothing that parts from its mean
            apart |= dict(zip(numbers, owns, strict=False))
        return together, apart

    def _by_itself(
        self, lot: Lot, alone: Modes, at: Conditions, base: Array, seconds: Array
    ) -> Course:
        """One lot in these modes of its own, around a base (M,) that stays."""
        above, slab = lot.state - base[:, None], self.slabs[lot.slab]
        if slab.bend is None:
            return decay(alone, above)
        crowd = Crowd(slab, slice(0, slab.size), lot.area[:, None], above[:, None], alone)
        _, [[own]] = course([crowd], None, above, base, at.quickening, seconds, self.tolerance)
        return own

    def _faces(self, tank: Tank) -> dict[int, tuple[float, float]]:
        return {number: self.lots[number].open_faces for number in tank.lots}

    def _groups(self, tank: Tank) -> Groups:
        """Lots that differ only in their history: same kind of slab, same faces open."""
        groups: Groups = {}
        for number in tank.lots:
            lot = self.lots[number]
            groups.setdefault((lot.slab, lot.open_faces), []).append(number)
        return groups

    def _means(self, groups: Groups) -> tuple[list[Array], list[Array]]:
        """Area (M,) and area-weighted mean state (M, u) of each group."""
        areas, means = [], []
        for numbers in groups.values():
            lots = [self.lots[number] for number in numbers]
            area, mean = lots[0].area, lots[0].state
            if len(lots) > 1:
                area = np.sum([lot.area for lot in lots], axis=0)
                mean = np.sum([lot.area[:, None] * lot.state for lot in lots], 0) / area[:, None]
            areas.append(area)
            means.append(mean)
        return areas, means

    def _alone(self, lot: Lot, at: Conditions, faces: tuple[float, float]) -> Modes:
        """Modes of one slab in water that does not change; computed once."""
        key: tuple = (lot.slab, faces, _fingerprint(at.free_diffusivity, at.quickening, at.film))
        if key not in self._modes:
            slab = self.slabs[lot.slab]
            fluxes = slab_fluxes(slab, at, at.film * np.array(faces))
            self._modes[key] = modes(slab.capacity, fluxes[:, :, :-1])
        return self._modes[key]

    def _together(
        self, tank: Tank, at: Conditions, groups: Groups, areas: list[Array], parted: bool
    ) -> Modes:
        """Modes of groups of slabs and the water between them; computed once per composition."""
        numbers = (at.free_diffusivity, at.quickening, at.film, at.inflow, at.dead_rate)
        key = (
            at.pooled,
            tuple(groups),
            _fingerprint(*numbers, tank.volume, tank.dead_volume, *areas),
        )
        if key not in self._modes:
            system = [
                (self.slabs[kind], at.film * np.array(faces), area)
                for (kind, faces), area in zip(groups, areas, strict=True)
            ]
            dead = tank.dead_volume if parted else None
            self._modes[key] = modes(*tank_system(system, at, tank.volume, dead))
        return self._modes[key]


def _fingerprint(*arrays: Array) -> bytes:
    return b"".join(array.tobytes() for array in arrays)
