"""One interval of one tank: what its lots and its water do under constant conditions.

M is the number of members, u the unknowns of one slab; amounts in kg, SI throughout.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from washsim.engine.bending import Length, course
from washsim.engine.crowd import Crowd
from washsim.engine.faces import Following
from washsim.engine.interval import (
    Conditions,
    Decay,
    Modes,
    decay,
    film_rows,
    modes,
    slab_fluxes,
    tank_system,
)
from washsim.engine.segment import Course, Segment
from washsim.engine.space import Array, Slab
from washsim.engine.state import Lot, State, Tank
from washsim.engine.whole import faces, whole

Groups = dict[tuple[int, tuple[float, float]], list[int]]
"""Kind of slab and faces open (front, back) -> the lots that are so."""
Courses = tuple[Course, dict[int, tuple[Course, ...]], dict[int, Array], Array, Following | None]
"""Waters' and each lot's; each lot's state (M, u) and the waters (M, 1 or 2) at the end; films."""
Known = dict[tuple, Modes]
"""Modes by what they are modes of."""
KEPT = 30
"""Modes that are kept at once: a batch that comes one by one needs two dozen, and those of many
draws take megabytes each."""


class Solving(State):
    """The state, and intervals that advance it; tolerance: of `bending`.

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
        self._recent: tuple[Modes, Array, list[Length]] | None = None

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
                given = roots[:, face] * through.integral(seconds[:, None], row)[:, 0]
                self.tally.taken = self.tally.taken - lot.area * given
            lot.state = part.at(seconds[:, None])[:, 0] + at.supply[:, None]
        return Segment(index, start, tank.clock, at.supply, parts, self._faces(tank))

    def bounded(self, index: int, at: Conditions, start: Array) -> Segment:
        """Lots and the water they share, advanced to the tank's clock."""
        tank = self.tanks[index]
        groups = self._groups(tank)
        seconds, base = tank.clock - start, np.where(at.inflow > 0, at.supply, 0.0)
        parts = 2 if at.dead_share.any() else 1
        volumes = np.stack([tank.volume, tank.dead_volume][:parts], axis=1)
        water = np.stack([tank.moving, tank.dead][:parts], axis=1) - base[:, None]
        follows = at.currents is not None and bool(tank.lots)
        if follows or any(self.slabs[kind].bend is not None for kind, _ in groups):
            at = at if follows else replace(at, currents=None)
            still = start - tank.still
            found = self._bent(tank, groups, at, base, water, volumes, still, seconds)
        else:
            found = self._linear(tank, groups, at, base, water, seconds)
        surface, lots, states, end, films = found
        for number, state in states.items():
            self.lots[number].state = state + base[:, None]
        opened = self._faces(tank)
        segment = Segment(
            index, start, tank.clock, base, lots, opened, surface, volumes, at.inflow, films=films
        )
        if at.inflow.any():
            self.tally.taken = self.tally.taken + at.inflow * at.supply * seconds
            self.tally.drained = self.tally.drained + segment.drained()
        tank.moving, tank.dead = end[:, 0] + base, end[:, -1] + base
        return segment

    def _linear(
        self, tank: Tank, groups: Groups, at: Conditions, base: Array, water: Array, seconds: Array
    ) -> Courses:
        """Slabs of a kind split into their mean, which meets the water, and deviations from it.

        The deviations sum to zero over the slabs, so they decay as if the water stayed clear:
        the cost is linear in the number of lots. water (M, 1 or 2) kg/m3 above base.
        """
        areas, means = self._means(groups)
        found = self._together(tank, at, groups, areas, water.shape[1] > 1)
        above = [mean - base[:, None] for mean in means]
        together = decay(found, np.concatenate([*above, water], axis=1))
        apart = self._apart(groups, means, at, seconds)
        end = together.at(seconds[:, None])[:, 0]
        parts: dict[int, tuple[Course, ...]] = {}
        states: dict[int, Array] = {}
        first = 0
        for numbers, mean in zip(groups.values(), means, strict=True):
            rows = slice(first, first + mean.shape[1])
            common = together.by(together.compose[:, rows])
            for number in numbers:
                parts[number], states[number] = (common,), end[:, rows]
                if number in apart:
                    own, left = apart[number]
                    parts[number] += (own,)
                    states[number] = states[number] + left
            first = rows.stop
        return together.by(together.compose[:, first:]), parts, states, end[:, first:], None

    def _apart(
        self, groups: Groups, means: list[Array], at: Conditions, seconds: Array
    ) -> dict[int, tuple[Course, Array]]:
        """How lots part from the mean of their group, where they do; and (M, u) at the end."""
        found: dict[int, tuple[Course, Array]] = {}
        for numbers, mean in zip(groups.values(), means, strict=True):
            if len(numbers) == 1:
                continue
            apart = np.stack([self.lots[number].state - mean for number in numbers], axis=1)
            if not apart.any():
                continue
            lot = self.lots[numbers[0]]
            alone = self.alone(lot, at, lot.open_faces)
            amplitudes = apart @ alone.analyse.swapaxes(1, 2)
            faded = np.exp(-alone.rates * seconds[:, None])[:, None]
            left = (amplitudes * faded) @ alone.compose.swapaxes(1, 2)
            for i, number in enumerate(numbers):
                own = Decay(alone.compose, alone.rates, amplitudes[:, i])
                found[number] = own, left[:, i]
        return found

    def _bent(
        self,
        tank: Tank,
        groups: Groups,
        at: Conditions,
        base: Array,
        water: Array,
        volumes: Array,
        still: Array,
        seconds: Array,
    ) -> Courses:
        """The same where a law bends, which each crowd of lots alike follows on its own.

        volumes m3 of water; still (M,) s since a hand moved it. Films that follow their differences
        are in the modes as what they are without any.
        """
        if at.currents is not None:
            none = np.zeros((self.members, 1, 2))
            at = replace(at, film=at.currents(none, none[..., :1])[:, 0])
        areas, _ = self._means(groups)
        together = self._together(tank, at, groups, areas, water.shape[1] > 1)
        crowds, numbers = self._crowds(groups, base, at.quickening)
        alone = [
            self.alone(self.lots[n[0]], at, opened) if len(crowd) > 1 else together
            for crowd, ((_, opened), n) in zip(crowds, groups.items(), strict=True)
        ]
        found, flat = whole(together, crowds, alone), [c for group in crowds for c in group]
        films = None
        if at.currents is not None:
            films = faces(at.currents, at.film, still, flat, volumes, at.pooled)
        states = [self.lots[alike[0]].state - base[:, None] for alike in numbers]
        start = np.concatenate([*states, water], axis=1)
        lengths = self._lengths(found, seconds)
        tank_course = course(found, start, flat, films, seconds, self.tolerance, lengths)
        end, first = tank_course.at(seconds[:, None])[:, 0], flat[-1].rows.stop
        parts: dict[int, tuple[Course, ...]] = {}
        ends: dict[int, Array] = {}
        for crowd, alike in zip(flat, numbers, strict=True):
            own = tank_course.by(found.compose[:, crowd.rows])
            for number in alike:
                parts[number], ends[number] = (own,), end[:, crowd.rows]
        following = None if films is None else Following(films, found, tank_course)
        return tank_course.by(found.compose[:, first:]), parts, ends, end[:, first:], following

    def _lengths(self, found: Modes, seconds: Array) -> list[Length]:
        """What is known of such an interval: a bath after another like it asks for the same."""
        recent = self._recent
        if recent is None or recent[0] is not found or not np.array_equal(recent[1], seconds):
            self._recent = recent = (found, seconds, [])
        return recent[2]

    def _crowds(
        self, groups: Groups, base: Array, quickening: Array
    ) -> tuple[list[list[Crowd]], list[list[int]]]:
        """The crowds of each group, lots in one state being one, and the lots of each crowd."""
        crowds: list[list[Crowd]] = []
        numbers: list[list[int]] = []
        row = 0
        for (kind, opened), lots in groups.items():
            alike: list[list[int]] = []
            for number in lots:
                state = self.lots[number].state
                for some in alike:
                    if np.array_equal(self.lots[some[0]].state, state):
                        some.append(number)
                        break
                else:
                    alike.append([number])
            slab, group = self.slabs[kind], []
            for some in alike:
                area = np.sum([self.lots[number].area for number in some], axis=0)
                rows = slice(row, row + slab.size)
                group.append(Crowd(slab, rows, area, opened, base, quickening))
                row = rows.stop
            crowds.append(group)
            numbers += alike
        return crowds, numbers

    def by_itself(
        self, lot: Lot, alone: Modes, at: Conditions, base: Array, seconds: Array
    ) -> Course:
        """One lot in these modes of its own, around a base (M,) that stays."""
        above, slab = lot.state - base[:, None], self.slabs[lot.slab]
        if slab.bend is None:
            return decay(alone, above)
        rows = slice(0, slab.size)
        crowd = Crowd(slab, rows, lot.area, lot.open_faces, base, at.quickening)
        return course(alone, above, [crowd], None, seconds, self.tolerance, [])

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
