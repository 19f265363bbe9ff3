"""One interval of one tank: what its lots and its water do under constant conditions.

M is the number of members, u the unknowns of one slab; amounts in kg, SI throughout.
"""

from __future__ import annotations

import numpy as np

from washsim.engine.interval import (
    Conditions,
    Modes,
    decay,
    film_rows,
    modes,
    slab_fluxes,
    tank_system,
)
from washsim.engine.saturation import Crowd, course
from washsim.engine.segment import Course, Segment
from washsim.engine.space import Array, Slab
from washsim.engine.state import Lot, State, Tank

Groups = dict[tuple[int, tuple[float, float]], list[int]]
"""Kind of slab and faces open (front, back) -> the lots that are so."""
Known = dict[tuple, Modes]
"""Modes by what they are modes of."""


KEPT = 40
"""Modes that are kept at once: a batch that comes one by one needs two dozen."""


class Solving(State):
    """The state, and intervals that advance it; tolerance: of `saturation`.

    known: where modes are kept once computed; to be shared by marches of the same slabs only.
    """

    def __init__(
        self,
        slabs: list[Slab],
        lots: list[tuple[int, Array, Array]],
        tanks: int,
        members: int,
        tolerance: float,
        known: Known | None = None,
    ) -> None:
        super().__init__(slabs, lots, tanks, members)
        self.tolerance = tolerance
        self.known: Known = {} if known is None else known

    def boundless(self, index: int, at: Conditions, start: Array) -> Segment:
        """Each lot decays by itself towards a concentration that never changes."""
        tank = self.tanks[index]
        seconds = tank.clock - start
        parts: dict[int, tuple[Course, ...]] = {}
        for number in tank.lots:
            lot = self.lots[number]
            alone = self.alone(lot, at, lot.open_faces)
            part = self.by_itself(lot, alone, at, at.supply, seconds)
            parts[number] = (part,)
            # from the flows: behind a fast film a face differs from the bath by mere rounding
            through = part.by(alone.flows)
            roots = np.sqrt(at.film * np.array(lot.open_faces))
            for face, row in enumerate(film_rows(self.slabs[lot.slab])):
                given = roots[:, face] * through.integral(seconds, row)
                self.tally.taken = self.tally.taken - lot.area * given
            lot.state = part.at(seconds[:, None])[:, 0] + at.supply[:, None]
        return Segment(index, start, tank.clock, at.supply, parts, self._faces(tank))

    def bounded(self, index: int, at: Conditions, start: Array) -> Segment:
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
                    found[number] = decay(self.alone(lot, at, lot.open_faces), apart)
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
            alone = self.alone(lots[0], at, faces) if len(lots) > 1 else None
            crowds.append(Crowd(self.slabs[kind], rows, areas, states, alone))
            first = rows.stop
        together, rests = course(crowds, found, y, base, at.quickening, seconds, self.tolerance)
        assert together is not None
        apart: dict[int, Course] = {}
        for numbers, owns in zip(groups.values(), rests, strict=True):
            # a group of one lot has nothing that parts from its mean
            apart |= dict(zip(numbers, owns, strict=False))
        return together, apart

    def by_itself(
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

    def alone(self, lot: Lot, at: Conditions, faces: tuple[float, float]) -> Modes:
        """Modes of one slab in water that does not change; computed once."""
        key: tuple = (lot.slab, faces, _fingerprint(at.free_diffusivity, at.quickening, at.film))
        if key not in self.known:
            slab = self.slabs[lot.slab]
            fluxes = slab_fluxes(slab, at, at.film * np.array(faces))
            self._keep(key, modes(slab.capacity, fluxes[:, :, :-1]))
        return self.known[key]

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
        if key not in self.known:
            system = [
                (self.slabs[kind], at.film * np.array(faces), area)
                for (kind, faces), area in zip(groups, areas, strict=True)
            ]
            dead = tank.dead_volume if parted else None
            self._keep(key, modes(*tank_system(system, at, tank.volume, dead)))
        return self.known[key]

    def _keep(self, key: tuple, found: Modes) -> None:
        if len(self.known) >= KEPT:
            del self.known[next(iter(self.known))]
        self.known[key] = found


def _fingerprint(*arrays: Array) -> bytes:
    return b"".join(array.tobytes() for array in arrays)
