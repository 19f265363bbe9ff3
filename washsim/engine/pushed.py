"""Decays that are pushed: modes under a source that is a polynomial in time, step by step.

``z' = -rates z + push(t)`` in the amplitudes z of modes, the push going through given values at
five Lobatto points of each step. The answer is exact, by the phi functions (Hochbruck and
Ostermann, Exponential integrators, Acta Numerica 19, 2010, section 2.1).

M members, S steps, k or T times, L lots, q modes, p points.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import factorial

import numpy as np
from numpy.typing import NDArray

from washsim.engine.space import Array

POINTS = 0.5 + 0.5 * np.array([-1.0, -np.sqrt(3 / 7), 0.0, np.sqrt(3 / 7), 1.0])
"""Gauss-Lobatto points of a step (Abramowitz and Stegun, table 25.6)."""
POWERS = np.arange(len(POINTS))
TO_POWERS = np.linalg.inv(POINTS[:, None] ** POWERS)
"""(powers, points): coefficients of the polynomial with given values at the points."""
FACTORIALS = np.array([float(factorial(m)) for m in POWERS])


def phi(x: Array, highest: int) -> Array:
    """phi_0 .. phi_highest of -x for x >= 0, (highest + 1, ...): exp(-x) and its averages.

    Recurrence upwards where x is one or more; below, the series of the highest and recurrence
    downwards, since upwards would divide rounding by x.
    """
    found = np.empty((highest + 1, *x.shape))
    wide = np.maximum(x, 1.0)
    found[0] = np.exp(-x)
    found[1] = -np.expm1(-wide) / wide
    for m in range(1, highest):
        found[m + 1] = (1 / factorial(m) - found[m]) / wide
    # what is held does not fade by itself: for many modes x is nothing
    narrow = (x < 1.0) & (x > 1e-15)
    near = x[narrow]
    found[1:, x <= 1e-15] = [[1 / factorial(m)] for m in range(1, highest + 1)]
    term = np.zeros_like(near)
    for j in range(12, -1, -1):
        term = 1 / factorial(j + highest) - near * term
    for m in range(highest, 0, -1):
        found[m][narrow] = term
        term = 1 / factorial(m - 1) - near * term
    return found


def answers(rates: Array, lengths: Array, asked: Array) -> tuple[Array, Array]:
    """What modes make of a step's start and of a push's values at POINTS, at shares asked (k,).

    rates (M, q), lengths (M,) s; fade (M, k, q) and weight (M, k, p, q).
    """
    seconds = lengths[:, None] * asked
    functions = phi(seconds[:, :, None] * rates[:, None, :], len(POINTS))
    powers = FACTORIALS * asked[:, None] ** POWERS
    scaled = functions[1:] * (powers.T[:, None, :] * seconds)[..., None]
    by_point = TO_POWERS.T @ scaled.reshape(len(POWERS), -1)
    by_point = by_point.reshape(len(POINTS), *functions[0].shape)
    return functions[0], by_point.transpose(1, 2, 0, 3)


@dataclass(frozen=True, slots=True)
class Pushed:
    """Unknowns seen by compose (M, u, q) of pushed modes; asked as a `Decay` is.

    begins, lengths (M, S) s; amplitudes (M, S, q) at each begin; push (M, S, powers, q) in the
    share of the step that has passed. A member sits out the steps of no length.
    """

    compose: Array
    rates: Array
    begins: Array
    lengths: Array
    amplitudes: Array
    push: Array

    def by(self, compose: Array) -> Pushed:
        """The same, seen by other rows (M, o, q)."""
        return Pushed(compose, self.rates, self.begins, self.lengths, self.amplitudes, self.push)

    def at(self, seconds: Array, observe: Array | None = None) -> Array:
        """(M, T, u) at seconds (M, T); with observe (M, o, u), the (M, T, o) seen by its rows."""
        rows = self.compose if observe is None else observe @ self.compose
        seen = rows.swapaxes(1, 2)
        steps = (seconds[:, :, None] >= self.begins[:, None, 1:]).sum(axis=2)
        since = seconds - np.take_along_axis(self.begins, steps, axis=1)
        # what is held does not fade by itself: for those modes a push just adds up
        idle = np.all(self.rates * self.lengths.max() < 1e-12, axis=0)
        found = self._answer(steps, since, 0, ~idle) @ seen[:, ~idle]
        members, share = np.arange(len(steps))[:, None], self._share(steps, since)
        found += (self.amplitudes[:, :, idle] @ seen[:, idle])[members, steps]
        pushed = (self.push[..., idle] @ seen[:, None, idle])[members, steps]
        added = since[..., None] * share[..., None] ** POWERS / (POWERS + 1)
        return found + (added[:, :, None] @ pushed)[:, :, 0]

    def integral(self, seconds: Array, row: int) -> Array:
        """(M, T) the integral of unknown `row` from 0 to seconds (M, T)."""
        passed = seconds[:, :, None] - self.begins[:, None]
        since = np.clip(passed, 0.0, self.lengths[:, None])
        steps = np.broadcast_to(np.arange(since.shape[2]), since.shape)
        flat = (len(since), -1)
        whole = self._answer(steps.reshape(flat), since.reshape(flat), 1, slice(None))
        return (whole @ self.compose[:, row, :, None]).reshape(since.shape).sum(axis=2)

    def _share(self, steps: NDArray[np.intp], since: Array) -> Array:
        return since / np.maximum(np.take_along_axis(self.lengths, steps, axis=1), 1e-300)

    def _answer(
        self,
        steps: NDArray[np.intp],
        since: Array,
        integrals: int,
        which: NDArray[np.bool_] | slice,
    ) -> Array:
        """(M, T, q) amplitudes of some modes, or their integrals, since s into steps (M, T)."""
        members = np.arange(len(steps))[:, None]
        functions = phi(since[..., None] * self.rates[:, None, which], len(POINTS) + integrals)
        share = self._share(steps, since)
        powers = FACTORIALS * share[..., None] ** POWERS * since[..., None]
        shown = functions[integrals] * self.amplitudes[..., which][members, steps]
        push = self.push[..., which]
        for power in POWERS:
            here = push[:, :, power][members, steps]
            shown += functions[1 + integrals + power] * powers[..., power, None] * here
        return shown * since[..., None] if integrals else shown
