"""Decays that are pushed: modes under a source that is a polynomial in time, step by step.

``z' = -rates z + push(t)`` in the amplitudes z of modes, the push going through given values at
five Radau points of each step. The answer is exact: a fading exponential and a polynomial, which
are the phi functions written out (Hochbruck and Ostermann, Exponential integrators, Acta Numerica
19, 2010, section 2.1).

M members, S steps, k or T times, q modes, p points, c coefficients.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.polynomial import Legendre

from washsim.engine.interval import spans
from washsim.engine.space import Array

POINTS = 0.5 + 0.5 * np.sort((Legendre.basis(5) - Legendre.basis(4)).roots().real)
"""Right Radau points of a step (Hairer and Wanner, Solving ODEs II, 2nd ed., 1996, IV.5)."""
POWERS = np.arange(len(POINTS))
TO_POWERS = np.linalg.inv(POINTS[:, None] ** POWERS)
"""(powers, points): coefficients of the polynomial with given values at the points."""
TERMS, NARROW = 16, 0.5
"""Of the power series of a mode that fades by less than this in a step: the next is rounding."""


def follow(source: Array, x: Array) -> Array:
    """Coefficients (c, ...) of a polynomial in the share of a step that answers a push.

    source (p, ...): the push's coefficients times the step's length; x (...): rates times lengths.
    A mode that fades quickly soon follows the polynomial that answers for ever, whatever its start;
    for a slow one that would divide rounding by x, and it is the power series from nothing.
    """
    found = np.empty((TERMS, *np.broadcast_shapes(source.shape[1:], x.shape)))
    quick = x >= NARROW
    narrow, slow = np.where(quick, 0.0, -x), np.where(quick, 0.0, 1.0)
    term = np.zeros(found.shape[1:])
    for power in range(TERMS):
        np.multiply(term, slow, out=found[power])
        term *= narrow
        if power < len(POWERS):
            term += source[power]
        term /= power + 1
    wide, ahead = np.where(quick, x, np.inf), np.zeros(found.shape[1:])
    for power in POWERS[::-1]:
        ahead *= -(power + 1)
        ahead += source[power]
        ahead /= wide
        found[power] += ahead
    return found


def answers(rates: Array, lengths: Array, asked: Array) -> tuple[Array, Array]:
    """What modes make of a step's start and of a push's values at POINTS, at shares asked (k,).

    rates (M, q), lengths (M,) s; fade (M, k, q) and weight (M, k, p, q).
    """
    x = lengths[:, None] * rates
    fade = np.exp(-x * asked[:, None, None])
    source = TO_POWERS[:, :, None, None] * lengths[:, None]
    follows = follow(source, x)
    powers = asked[:, None] ** np.arange(TERMS)
    weight = (powers @ follows.reshape(TERMS, -1)).reshape(len(asked), *follows.shape[1:])
    weight -= fade[:, None] * follows[0]
    return fade.swapaxes(0, 1), np.ascontiguousarray(weight.transpose(2, 0, 1, 3))


@dataclass(frozen=True, slots=True)
class Pushed:
    """Unknowns seen by compose (M, u, q) of pushed modes; asked as a `Decay` is.

    In a step that began at begins (M, S), of lengths (M, S) s, a mode is ``fading exp(-rate t)``
    and a polynomial in the share of the step that has passed: fading (M, S, q), follows
    (M, S, c, q). A member sits out the steps of no length.
    """

    compose: Array
    rates: Array
    begins: Array
    lengths: Array
    fading: Array
    follows: Array

    def by(self, compose: Array) -> Pushed:
        """The same, seen by other rows (M, o, q)."""
        some = np.flatnonzero(compose.any(axis=(0, 1)))
        if len(some) == compose.shape[2]:
            return replace(self, compose=compose)
        return Pushed(
            compose[..., some],
            self.rates[:, some],
            self.begins,
            self.lengths,
            self.fading[..., some],
            self.follows[..., some],
        )

    def at(self, seconds: Array, observe: Array | None = None) -> Array:
        """(M, T, u) at seconds (M, T); with observe (M, o, u), the (M, T, o) seen by its rows."""
        rows = self.compose if observe is None else observe @ self.compose
        seen = rows.swapaxes(1, 2)
        steps = (seconds[:, :, None] >= self.begins[:, None, 1:]).sum(axis=2)
        since = seconds - np.take_along_axis(self.begins, steps, axis=1)
        share = since / np.maximum(np.take_along_axis(self.lengths, steps, axis=1), 1e-300)
        members = np.arange(len(steps))[:, None]
        powers = share[..., None] ** np.arange(self.follows.shape[2])
        followed = (self.follows @ seen[:, None])[members, steps]
        found = (powers[:, :, None] @ followed)[:, :, 0]
        faded = np.exp(-self.rates[:, None] * since[..., None])
        return found + (faded * self.fading[members, steps]) @ seen

    def integral(self, seconds: Array, row: int) -> Array:
        """(M, T) the integral of unknown `row` from 0 to seconds (M, T)."""
        since = np.clip(seconds[:, :, None] - self.begins[:, None], 0.0, self.lengths[:, None])
        share = since / np.maximum(self.lengths[:, None], 1e-300)
        seen = self.compose[:, None, row, :, None]
        faded = self.fading[:, None] * spans(self.rates[:, None, None], since[..., None])
        orders = np.arange(self.follows.shape[2])
        passed = since[..., None] * share[..., None] ** orders / (orders + 1)
        followed = (self.follows @ seen)[:, None, :, :, 0]
        whole = (faded @ seen)[..., 0] + np.sum(passed * followed, axis=3)
        return np.asarray(whole.sum(axis=2))


def pushed(
    compose: Array, rates: Array, begins: Array, lengths: Array, amplitudes: Array, push: Array
) -> Pushed:
    """The answer of modes to a push, from its values (M, S, p, q) at POINTS of each step.

    amplitudes (M, S, q) at the begin of each step; the rest as in `Pushed`.
    """
    source = lengths[..., None] * np.einsum("cp,mspq->cmsq", TO_POWERS, push)
    follows = follow(source, rates[:, None] * lengths[..., None])
    return Pushed(
        compose, rates, begins, lengths, amplitudes - follows[0], follows.transpose(1, 2, 0, 3)
    )
