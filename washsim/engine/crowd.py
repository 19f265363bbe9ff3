"""Slabs of one history, and held solute in them whose places fill up.

At each node the held amount tends to ``held c / (1 + bend c)`` (Langmuir): proportional to the
mobile concentration c where that is small, and no more than held / bend.

M members, U unknowns of a tank, u of a slab, k times.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from washsim.engine.space import Array, Slab


@dataclass(frozen=True)
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

    @cached_property
    def capacity(self) -> Array:
        """(M, u, 1) m."""
        return self.slab.capacity[:, :, None]

    @cached_property
    def _paces(self) -> tuple[Array, Array]:
        """(M, 1, h) 1/s at which a node's mobile and held concentrations follow their trade."""
        slab = self.slab
        flow = slab.release * self.quickening[:, None]
        return (-flow / slab.mobile[:, slab.where])[:, None], (flow / slab.held)[:, None]

    def trade(self, states: Array) -> Array:
        """(M, k, u) kg/(m3 s), what the places change in states (M, k, U), node by node.

        It only moves solute between the mobile and the held of one node.
        """
        slab, n = self.slab, self.slab.space.size
        mine = states[..., self.rows] + self.base[:, None, None]
        free, bound = mine[..., slab.where], mine[..., n:]
        assert slab.bend is not None
        # high-order nodes ring a little below zero, where the law is continued as an odd function
        gap = free / (1 + slab.bend[:, None] * np.abs(free)) - bound
        to_free, to_bound = self._paces
        change = np.zeros_like(mine)
        change[..., slab.where] = to_free * gap
        change[..., n:] = to_bound * gap
        return change

    def quickest(self) -> Array:
        """(M,) 1/s, the rate of the quickest trade at any node, were nothing filled up."""
        to_free, to_bound = self._paces
        return (to_bound - to_free).max(axis=(1, 2))

    def moved(self, changes: Array) -> Array:
        """(M, k) kg/(m2 s) that changes (M, k, u) move."""
        # what leaves the mobile part arrives in the held one
        return 0.5 * (np.abs(changes) @ self.capacity)[..., 0]
