"""Slabs of one history, and held solute in them whose places fill up.

At each node the held amount tends to ``held c / (1 + bend c)`` (Langmuir): proportional to the
mobile concentration c where that is small, and no more than held / bend.

M members, U unknowns of a tank, u of a slab, k times.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from washsim.engine.space import Array, Slab


@dataclass(frozen=True, slots=True)
class Crowd:
    """Slabs that are alike, in one tank; all that counts here is of one square metre of them.

    rows: theirs among the unknowns of the tank, which count from base (M,) kg/m3; area (M,) m2 of
    one side of them all; open: faces (front, back), 1.0 or 0.0; quickening (M,) of the trade.
    """

    slab: Slab
    rows: slice
    area: Array
    open: tuple[float, float]
    base: Array
    quickening: Array

    def trade(self, states: Array) -> Array:
        """(M, k, u) kg/(m3 s), what the places change in states (M, k, U), node by node.

        It only moves solute between the mobile and the held of one node.
        """
        slab, n = self.slab, self.slab.space.size
        mine = states[..., self.rows] + self.base[:, None, None]
        free, bound = mine[..., slab.where], mine[..., n:]
        assert slab.bend is not None
        # high-order nodes ring a little below zero, where the law is continued as an odd function
        wanted = free / (1 + slab.bend[:, None] * np.abs(free))
        flow = (slab.release * self.quickening[:, None])[:, None] * (wanted - bound)
        change = np.zeros_like(mine)
        change[..., slab.where] = -flow / slab.mobile[:, None, slab.where]
        change[..., n:] = flow / slab.held[:, None]
        return change

    def quickest(self) -> Array:
        """(M,) 1/s, the rate of the quickest trade at any node, were nothing filled up."""
        slab = self.slab
        rate = slab.release * (1 / slab.held + 1 / slab.mobile[:, slab.where])
        return rate.max(axis=1) * self.quickening

    def moved(self, change: Array) -> Array:
        """(M,) kg/(m2 s) that changes (M, k, u) move, the most of the k."""
        # what leaves the mobile part arrives in the held one
        return 0.5 * (np.abs(change) @ self.slab.capacity[:, :, None])[..., 0].max(axis=1)
