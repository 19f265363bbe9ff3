"""The march through time: intervals of constant conditions and the jumps between them.

Tanks only meet when a lot (one or more slabs that share one history) moves from one to another, or
where one feeds the next; else each keeps its own clock and advances only when something happens to
it. `run` yields a `Segment` per interval; a segment answers for any time inside it. Intervals are
exact but where held solute fills up, currents make films, or tanks stand in a row.

M is the number of members, u the unknowns of one slab, T times; amounts in kg, SI throughout.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from washsim.engine.acts import Event, Expose, Lift, Place, Release, Set
from washsim.engine.interval import Conditions
from washsim.engine.release import released
from washsim.engine.saturation import TOLERANCE
from washsim.engine.segment import AIR, Course, Segment
from washsim.engine.solving import Known, Solving
from washsim.engine.space import Array, Slab
from washsim.engine.state import Tank

DRIFT = 0.1
"""Part by which films, or waters in a row, change in a piece: good to a thousandth."""
_FIRST = 1e-3
"""An interval with currents begins with a piece of this part of it."""
_IN_A_ROW = 0.33
"""Part of `drift` by which waters in a row change in a piece: each passes its error on."""
_TRIALS = 8
"""A piece is tried so often; as it is shortened each time, more are hardly ever needed."""
_SEEN = np.array([0.0, 0.5 - np.sqrt(0.15), 0.5, 0.5 + np.sqrt(0.15)])
_WEIGHTS = np.array([0.0, 5.0, 8.0, 5.0]) / 18
"""A piece is looked at where it begins and at its Gauss points (Abramowitz and Stegun, 25.4)."""


class March(Solving):
    """The state on its way: `run(events)` advances it and yields the segments.

    slabs: the kinds of slab; lots: (kind, area (M,), start concentration (M,)); tanks: count;
    tolerance: of `saturation`, for slabs that fill up; drift: part by which films may change in
    one piece of an interval with currents, and the waters of a row of tanks; known: modes of the
    same slabs, to be used and added to. All start at time zero: tanks empty, lots in the air.
    """

    def __init__(
        self,
        slabs: list[Slab],
        lots: list[tuple[int, Array, Array]],
        tanks: int,
        members: int,
        tolerance: float = TOLERANCE,
        drift: float = DRIFT,
        known: Known | None = None,
    ) -> None:
        super().__init__(slabs, lots, tanks, members, tolerance, known)
        self.drift = drift

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
                    if isinstance(event, Set) and event.conditions.fed_by is not None:
                        yield from self._advance(event.conditions.fed_by, event.at)
                    self.change(event, self.tanks[event.tank])

    # intervals

    def _rest(self, number: int, until: Array) -> Iterator[Segment]:
        """A lot in the air evens out inside, behind closed faces."""
        lot = self.lots[number]
        seconds, start, lot.clock = until - lot.clock, lot.clock, until
        if lot.conditions is None or not seconds.any():
            return
        nothing = np.zeros(self.members)
        alone = self.alone(lot, lot.conditions, (0.0, 0.0))
        rest = self.by_itself(lot, alone, lot.conditions, nothing, seconds)
        parts: dict[int, tuple[Course, ...]] = {number: (rest,)}
        segment = Segment(AIR, start, until, nothing, parts, {number: (0.0, 0.0)})
        lot.state = segment.slab_at(number, seconds[:, None])[:, 0]
        yield segment

    def _advance(self, index: int, until: Array) -> Iterator[Segment]:
        tank, at = self.tanks[index], self.tanks[index].conditions
        if at is not None and (tank.feeds is not None or at.fed_by is not None):
            yield from self._in_a_row(index, until)
            return
        seconds, start, tank.clock = until - tank.clock, tank.clock, until
        if (seconds < 0).any():
            raise ValueError(f"tank {index}: an event lies {-seconds.min():g} s in its past")
        if at is None or not seconds.any() or (at.boundless and not tank.lots):
            return
        if not (at.boundless or tank.volume.all()):
            return  # an empty tank: whatever lies in it only waits
        if at.boundless:
            yield self.boundless(index, at, start)
        else:
            yield from self._pieces(index, at, start)

    def _pieces(self, index: int, at: Conditions, start: Array) -> Iterable[Segment]:
        """An interval of a bounded tank, whole or in pieces."""
        if at.currents is not None and self.tanks[index].lots:
            return self._drifting(index, at, start)
        return [self.bounded(index, at, start)]

    def _in_a_row(self, index: int, until: Array) -> Iterator[Segment]:
        """Tanks of which each feeds the next, advanced together.

        In pieces in which waters change by a part of `drift` of the richest, each is fed the mean
        of what has just left the one before: nothing is lost, and the error falls with the square.
        """
        while (feeder := self._conditions(index).fed_by) is not None:
            index = feeder
        row = [index]
        while (fed := self.tanks[row[-1]].feeds) is not None:
            row.append(fed)
        inflow = self._conditions(row[0]).inflow
        lasts = np.min([self.tanks[i].volume for i in row], axis=0) / np.maximum(inflow, 1e-30)
        begin = self.tanks[row[0]].clock
        part = _IN_A_ROW * self.drift
        span = part * lasts
        while (begin < until).any():
            span = np.minimum(span, until - begin)
            before = np.array([self.tanks[i].moving for i in row])
            yield from self._one_piece(row, np.where(span < until - begin, begin + span, until))
            begin = self.tanks[row[0]].clock
            after = np.array([self.tanks[i].moving for i in row])
            top = np.maximum(np.maximum(before, after).max(axis=0), 1e-30)
            changed = np.abs(after - before).max(axis=0) / top
            span = span * np.clip(part / np.maximum(changed, 1e-30), 0.5, 1.5)

    def _one_piece(self, row: list[int], stop: Array) -> Iterator[Segment]:
        passed = np.zeros(self.members)
        for index in row:
            tank, at = self.tanks[index], self._conditions(index)
            start, tank.clock = tank.clock, stop
            if index != row[0]:
                flowed = np.maximum(at.inflow * (stop - start), 1e-30)
                at = replace(at, supply=passed / flowed)
                self.tally.taken = self.tally.taken - passed
            pieces = list(self._pieces(index, at, start))
            passed = np.sum([one.passed_by(one.stop - one.start) for one in pieces], axis=0)
            onward = index != row[-1]
            if onward:
                self.tally.drained = self.tally.drained - passed
            yield from (replace(one, onward=onward) for one in pieces)

    def _conditions(self, index: int) -> Conditions:
        found = self.tanks[index].conditions
        assert found is not None
        return found

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
                segment = self.bounded(index, replace(at, film=np.exp(guess)), begin)
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
