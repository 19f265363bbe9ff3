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
from washsim.engine.bending import TOLERANCE
from washsim.engine.interval import Conditions
from washsim.engine.release import released
from washsim.engine.segment import AIR, Course, Segment
from washsim.engine.solving import Known, Solving
from washsim.engine.space import Array, Slab

DRIFT = 0.033
"""Part by which waters in a row change in a piece: good to a thousandth."""


class March(Solving):
    """The state on its way: `run(events)` advances it and yields the segments.

    slabs: the kinds of slab; lots: (kind, area (M,), start concentration (M,)); tanks: count;
    tolerance: of `bending`, for laws that bend; drift: part by which the waters of a row of tanks
    may change in one piece; known: modes of the same slabs, to be used and added to. All start at
    time zero: tanks empty, lots in the air.
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
            yield self.bounded(index, at, start)

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
        part = self.drift
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
            piece = self.bounded(index, at, start)
            passed = piece.passed()
            onward = index != row[-1]
            if onward:
                self.tally.drained = self.tally.drained - passed
            yield replace(piece, onward=onward)

    def _conditions(self, index: int) -> Conditions:
        found = self.tanks[index].conditions
        assert found is not None
        return found
