"""Trade between the mobile and the held solute of each node alone, as if nothing else moved.

M members, u unknowns of a slab, h nodes that hold; see `space.Slab` for the state.
"""

from __future__ import annotations

import numpy as np

from washsim.engine.space import Array, Slab

SHARE = 0.1
"""Of what could trade at a node, the most that one midpoint step moves."""


def released(slab: Slab, state: Array, extra: Array) -> Array:
    """A slab's state (M, u), kg/m3, after trading for extra (M, h) s."""
    n, where = slab.space.size, slab.where
    mobile, held, bound = slab.mobile[:, where], slab.held, state[:, n:]
    rate = slab.release * (1 / mobile + 1 / held)
    free = state[:, where]
    if slab.bend is None:
        # exact: the two part by exp(-rate t)
        moved = mobile * held / (mobile + held) * (free - bound) * -np.expm1(-rate * extra)
    else:
        steps = max(1, int(np.ceil((rate * extra).max() / SHARE)))
        left = free
        for _ in range(steps):
            left = _midpoint(slab, left, bound + (free - left) * mobile / held, extra / steps)
        moved = (free - left) * mobile
    state = state.copy()
    state[:, where] -= moved / mobile
    state[:, n:] += moved / held
    return state


def _midpoint(slab: Slab, free: Array, bound: Array, extra: Array) -> Array:
    """Mobile concentration (M, h) after a midpoint step, whose middle solves a quadratic.

    Second order; for short steps nothing turns negative.
    """
    assert slab.bend is not None
    ratio, half = slab.held / slab.mobile[:, slab.where], 0.5 * extra * slab.release / slab.held
    # (1 + bend c) ((1 + half) c - have) + half ratio c = 0 for c in the middle
    have = free + half * (free + ratio * bound)
    # high-order nodes ring a little below zero, where the law goes on in proportion
    bend = np.where(have > 0, slab.bend, 0.0)
    slope = 1 + half - bend * have + half * ratio
    middle = 2 * have / (slope + np.sqrt(slope * slope + 4 * bend * (1 + half) * have))
    return 2 * middle - free
