"""What a run foretells of readings, and how likely the readings are by it."""

from __future__ import annotations

import numpy as np

from washsim.engine.segment import AIR
from washsim.engine.space import Array
from washsim.observing import Observation
from washsim.run import Run

_SHARED = np.linspace(-7.0, 7.0, 57)
"""Points over the error that a scale's readings share, in its standard errors: for a smooth bell
the plain sum over even points is exact to rounding as soon as they resolve it."""


def predict(run: Run, seen: tuple[Observation, ...]) -> Array:
    """(M, n) what each member says the readings should be: kg/m2, or kg/m3 for water.

    A face's reading is that of the half of the thickness nearer to it, stated as the residual of
    a sheet that is evenly soaked: so the strips of a scale are.
    """
    members = len(run.slab.mobile)
    found = np.empty((members, len(seen)))
    for i, one in enumerate(seen):
        if one.what == "water":
            found[:, i] = _water(run, one.lot, one.at)
            continue
        rows = run.slab.capacity
        if one.what != "whole":
            half = run.slab.under(run.slab.space.window(*_half(run, one.what)))
            rows = half * (rows.sum(axis=1) / half.sum(axis=1))[:, None]
        found[:, i] = run.see_all(one.lot, np.array([one.at]), rows[:, None])[:, 0, 0]
    return found


def _half(run: Run, face: str) -> tuple[float, float]:
    """Where the half nearer to a face begins and ends, counted in layers."""
    depths = np.cumsum([0.0, *(layer.thickness for layer in run.paper.layers)])
    middle = float(np.interp(depths[-1] / 2, depths, np.arange(len(depths))))
    return (0.0, middle) if face == "front" else (middle, float(len(depths) - 1))


def _water(run: Run, lot: int, at: float) -> Array:
    """(M,) kg/m3 around a lot; in the air, what clung to it when it was lifted."""
    wet = [s for s in run.of_lot[lot] if s.tank != AIR and np.any(s.start <= at)]
    found = np.zeros(len(wet[0].base))
    for segment in wet:
        seconds = np.clip(at - segment.start, 0.0, segment.stop - segment.start)
        here = segment.water_at(seconds[:, None])[:, 0, 0]
        found = np.where(segment.start <= at, here, found)
    return found


def log_likelihood(logs: Array, seen: tuple[Observation, ...]) -> Array:
    """(N,) log probability of what was seen, given ln of the true residuals (N, n).

    Of a value: density in its logarithm. The error of each scale is integrated out numerically.
    """
    from scipy.special import logsumexp  # slow to import, and a plain run needs none of it

    total = np.zeros(len(logs))
    weights = np.exp(-0.5 * _SHARED**2)
    for scale in {one.scale for one in seen}:
        which = [i for i, one in enumerate(seen) if one.scale == scale]
        read = tuple(seen[i] for i in which)
        shared = np.array([one.shared for one in read])
        if not np.any(shared):
            total += chances(logs[:, which], read).sum(axis=-1)
            continue
        shifted = logs[:, None, which] + _SHARED[:, None] * shared
        each = chances(shifted, read).sum(axis=-1)
        total += logsumexp(each, axis=1, b=weights / weights.sum())
    return total


def chances(logs: Array, seen: tuple[Observation, ...]) -> Array:
    """(..., n) log probability of each reading by its own error, given ln of what it reads."""
    from scipy.special import log_ndtr

    own = np.array([one.own for one in seen])
    with np.errstate(divide="ignore"):
        low, high = np.log([one.low for one in seen]), np.log([one.high for one in seen])
    value = low == high
    found = np.empty(logs.shape)
    off = (low - logs)[..., value] / own[value]
    found[..., value] = -0.5 * off**2 - np.log(own[value] * np.sqrt(2 * np.pi))
    below, above = ((end - logs)[..., ~value] / own[~value] for end in (low, high))
    # on the right of the middle the same interval mirrored, where the tail is not lost to 1
    mirror = below > 0
    below, above = np.where(mirror, -above, below), np.where(mirror, -below, above)
    top, cut = log_ndtr(above), log_ndtr(below)
    found[..., ~value] = top + np.log1p(-np.exp(np.minimum(cut - top, -1e-15)))
    return found
