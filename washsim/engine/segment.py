"""What one tank did between two events: it answers for any time inside.

M is the number of members, u the unknowns of one slab, T times.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from washsim.engine.faces import Following
from washsim.engine.interval import Decay
from washsim.engine.pushed import Pushed
from washsim.engine.space import Array

Course = Decay | Pushed
"""What some unknowns do in an interval: asked for any time and for integrals."""
AIR = -1
"""The tank number of segments that a lot spends in the air, its faces closed."""


@dataclass(frozen=True, slots=True)
class Segment:
    """What one tank did between start (M,) and stop (M,).

    `parts[lot]` are decays whose sum, plus base (M,), is the state of that lot's slabs, and
    `faces[lot]` says which of its faces (front, back) were open; `water`
    those of the moving and any dead water, of volumes (M, 1 or 2) m3. A boundless tank and the
    air have no water of their own. inflow (M,) m3/s pushes as much moving water to the drain, or
    to the tank that this one feeds (onward). films: those that follow what they carry, if any.
    """

    tank: int
    start: Array
    stop: Array
    base: Array
    parts: dict[int, tuple[Course, ...]]
    faces: dict[int, tuple[float, float]]
    water: Course | None = None
    volumes: Array | None = None
    inflow: Array | None = None
    onward: bool = False
    films: Following | None = None

    def slab_at(self, lot: int, seconds: Array, observe: Array | None = None) -> Array:
        """(M, T, u) state of a lot at seconds (M, T) after start, or (M, T, o) seen by observe."""
        parts = self.parts[lot]
        seen = parts[0].at(seconds, observe)
        for part in parts[1:]:
            seen += part.at(seconds, observe)
        if observe is None:
            return seen + self.base[:, None, None]
        return seen + (self.base[:, None] * observe.sum(axis=2))[:, None, :]

    def amounts_at(self, seconds: Array, row: Array) -> dict[int, Array]:
        """(M, T) of every lot at seconds (M, T) after start, its state seen by a row (M, u)."""
        fades: dict[int, Array] = {}
        found = {}
        for lot, parts in self.parts.items():
            seen = self.base[:, None] * row.sum(axis=1)[:, None]
            for part in parts:
                if isinstance(part, Decay):
                    # lots in one tank share modes, and most of the time goes into how these fade
                    key = id(part.rates)
                    if key not in fades:
                        fades[key] = part.faded(seconds)
                    of_modes = (row[:, None] @ part.compose)[:, 0] * part.amplitudes
                    seen = seen + (fades[key] @ of_modes[:, :, None])[:, :, 0]
                else:
                    seen = seen + part.at(seconds, row[:, None])[:, :, 0]
            found[lot] = seen
        return found

    def rates_at(self, lot: int, seconds: Array) -> Array:
        """(M, q) 1/s, in no order, of what goes on around a lot at seconds (M,) after start."""
        return self.parts[lot][0].rates if self.films is None else self.films.rates(seconds)

    def water_at(self, seconds: Array) -> Array:
        """(M, T, 1 or 2) kg/m3 of the moving and any dead water at seconds (M, T) after start."""
        if self.water is None:
            return np.broadcast_to(self.base[:, None, None], (*seconds.shape, 1))
        return self.water.at(seconds) + self.base[:, None, None]

    def solute_at(self, seconds: Array) -> Array:
        """(M, T) kg in the water of a bounded tank."""
        if self.volumes is None:
            return np.zeros(seconds.shape)
        return np.sum(self.water_at(seconds) * self.volumes[:, None, :], axis=2)

    def drained_by(self, seconds: Array) -> Array:
        """(M, T) kg that went to the drain with the flow in the first seconds (M, T)."""
        return np.zeros(seconds.shape) if self.onward else self.passed_by(seconds)

    def drained(self) -> Array:
        """(M,) kg that went to the drain with the flow in all."""
        return self.drained_by((self.stop - self.start)[:, None])[:, 0]

    def passed_by(self, seconds: Array) -> Array:
        """(M, T) kg that left a bounded tank with the flow in the first seconds (M, T)."""
        if self.water is None or self.inflow is None:
            return np.zeros(seconds.shape)
        known = self.base[:, None] * seconds
        return self.inflow[:, None] * (self.water.integral(seconds, 0) + known)

    def passed(self) -> Array:
        """(M,) kg that left a bounded tank with the flow in all."""
        return self.passed_by((self.stop - self.start)[:, None])[:, 0]
