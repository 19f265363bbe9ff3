"""Held solute whose places fill up, beside linear diffusion.

At each node the held amount tends to ``held c / (1 + bend c)`` (Langmuir): proportional to the
mobile concentration c where that is small, and no more than held / bend. The trade bends, but it is
local, slow and smooth; diffusion reaches far and is stiff, but it is linear and its modes are
known. So the modes are those without the trade, and the trade pushes them. Over a step it is a
polynomial in time through five points, found by putting the answer back into the law until it
stays: exponential collocation (Hochbruck and Ostermann, Exponential Runge-Kutta methods for
parabolic problems, Appl. Numer. Math. 53, 2005). It only moves solute between the mobile and the
held of one node, so nothing is made or lost, however long the steps.

M members, L lots, u unknowns of a slab, h nodes that hold, q modes, k times in a step.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from washsim.engine.interval import Modes
from washsim.engine.pushed import POINTS, POWERS, TO_POWERS, Pushed, answers
from washsim.engine.space import Array, Slab

TOLERANCE = 1e-4
"""Solute moved wrongly in one step, over what the slab holds; amounts come out better."""
TRACE = 1e-5
"""A slab holding less than this share of what it could is measured against that share."""
CHECK = 0.07
"""Where in a step the polynomial is held against the law: early, where a jump bends it most."""
ASKED = np.append(POINTS[1:], CHECK)
AT_CHECK = CHECK**POWERS @ TO_POWERS
FIRST = 0.05
"""Part of the quickest trade's time that a first step lasts; one that is too long costs a trial."""
SETTLED = 0.1
"""Share of the tolerance below which putting back has settled."""
SWEEPS = 8
"""A step that does not settle in so many sweeps is halved."""


@dataclass(frozen=True, slots=True)
class Crowd:
    """Lots of one kind of slab with the same faces open.

    rows: theirs among the unknowns of the tank; areas (M, L) m2; states (M, L, u) above the base;
    alone: the modes of one of them in water that stays, None if it shares the tank with no other.
    """

    slab: Slab
    rows: slice
    areas: Array
    states: Array
    alone: Modes | None

    def mean(self, changes: Array) -> Array:
        """(M, k, 1, u) area-weighted, of changes (M, k, L, u)."""
        areas = self.areas[:, None, :, None]
        return (areas * changes).sum(axis=2, keepdims=True) / areas.sum(axis=2, keepdims=True)

    def quickest(self, quickening: Array) -> Array:
        """(M,) 1/s, the rate of the quickest trade at any node, were nothing filled up."""
        slab = self.slab
        if slab.bend is None:
            return np.full(len(quickening), 1e-30)
        rate = slab.release * (1 / slab.held + 1 / slab.mobile[:, slab.where])
        return rate.max(axis=1) * quickening

    def trade(self, states: Array, quickening: Array) -> Array:
        """(M, k, L, u) kg/(m3 s), the change of states (M, k, L, u) by what nodes trade."""
        slab, n = self.slab, self.slab.space.size
        change = np.zeros_like(states)
        if slab.bend is None:
            return change
        free, bound = states[..., slab.where], states[..., n:]
        # high-order nodes ring a little below zero, where the law is continued as an odd function
        wanted = free / (1 + slab.bend[:, None, None] * np.abs(free))
        release = (slab.release * quickening[:, None])[:, None, None]
        flow = release * (wanted - bound)
        change[..., slab.where] = -flow / slab.mobile[:, None, None, slab.where]
        change[..., n:] = flow / slab.held[:, None, None]
        return change


class _Family:
    """Amplitudes (M, L, q) of some modes on their way through the steps."""

    def __init__(self, modes: Modes, states: Array) -> None:
        self.modes = modes
        self.analyse = modes.analyse.swapaxes(1, 2)[:, None]
        self.compose = modes.compose.swapaxes(1, 2)[:, None]
        self.start = states @ self.analyse[:, 0]
        self.steps: list[tuple[Array, Array]] = []

    def prepare(self, lengths: Array) -> None:
        """Be ready for steps of lengths (M,)."""
        self.fade, self.weight = answers(self.modes.rates, lengths, ASKED)

    def now(self) -> Array:
        """(M, 1, L, u) the states at the start of the step."""
        return self.start[:, None] @ self.compose

    def answer(self, change: Array) -> Array:
        """(M, k, L, u) states at ASKED under a change (M, p, L, u) of them at POINTS."""
        self.push = change @ self.analyse
        still = self.fade[:, :, None] * self.start[:, None]
        self.answered = still + (self.weight[:, :, :, None] * self.push[:, None]).sum(axis=2)
        return self.answered @ self.compose

    def keep(self, good: NDArray[np.bool_]) -> None:
        """Take the step where it is good (M,)."""
        push = np.einsum("ps,mslq->mplq", TO_POWERS, self.push)
        self.steps.append((self.start, push))
        self.start = np.where(good[:, None, None], self.answered[:, -2], self.start)

    def pushed(self, begins: Array, lengths: Array) -> list[Pushed]:
        """One an L."""
        starts = np.stack([start for start, _ in self.steps], axis=1)
        pushes = np.stack([push for _, push in self.steps], axis=1)
        compose, rates = self.modes.compose, self.modes.rates
        return [
            Pushed(compose, rates, begins, lengths, starts[:, :, lot], pushes[:, :, :, lot])
            for lot in range(starts.shape[2])
        ]


class _Stepper:
    """Crowds in the modes of their means with the water, and each lot's modes apart from them."""

    def __init__(
        self,
        crowds: Sequence[Crowd],
        together: Modes | None,
        start: Array,
        base: Array,
        quickening: Array,
    ) -> None:
        self.crowds, self.base, self.quickening = crowds, base, quickening
        self.common = None if together is None else _Family(together, start[:, None])
        self.rests: list[_Family | None] = []
        for crowd in crowds:
            apart = crowd.states
            if self.common is not None:
                apart = apart - start[:, None, crowd.rows]
            self.rests.append(None if crowd.alone is None else _Family(crowd.alone, apart))
        self.families = [f for f in (self.common, *self.rests) if f is not None]
        tops = [np.abs(c.states + base[:, None, None]).max(axis=(1, 2)) for c in crowds]
        top = np.max([np.abs(base), *tops], axis=0)
        self.quickest = np.max([c.quickest(quickening) for c in crowds], axis=0)
        self.trace = [TRACE * (top * c.slab.capacity.sum(axis=1))[:, None] for c in crowds]

    def _joined(self, mean: Array | None, rests: Sequence[Array | None]) -> list[Array]:
        """(M, k, L, u) of each crowd: base, the mean with the water, and what parts from it."""
        base = self.base[:, None, None, None]
        found = []
        for crowd, rest in zip(self.crowds, rests, strict=True):
            state = base if mean is None else base + mean[..., crowd.rows]
            found.append(state if rest is None else state + rest)
        return found

    def now(self) -> list[Array]:
        """(M, 1, L, u) states of each crowd at the start of the step."""
        mean = None if self.common is None else self.common.now()
        return self._joined(mean, [None if rest is None else rest.now() for rest in self.rests])

    def states(self, changes: list[Array]) -> list[Array]:
        """(M, k, L, u) states of each crowd at ASKED, under changes (M, p, L, u) at POINTS."""
        mean: Array | None = None
        if self.common is not None:
            width = self.common.modes.analyse.shape[2]
            total = np.zeros((*changes[0].shape[:2], 1, width))
            for crowd, change in zip(self.crowds, changes, strict=True):
                total[..., crowd.rows] = crowd.mean(change)
            mean = self.common.answer(total)
            changes = [c - crowd.mean(c) for crowd, c in zip(self.crowds, changes, strict=True)]
        pairs = zip(self.rests, changes, strict=True)
        return self._joined(mean, [None if rest is None else rest.answer(c) for rest, c in pairs])

    def trades(self, states: list[Array]) -> list[Array]:
        pairs = zip(self.crowds, states, strict=True)
        return [crowd.trade(state, self.quickening) for crowd, state in pairs]

    def settle(self, changes: list[Array], allowed: list[Array]) -> tuple[list[Array], Array]:
        """Put the answer back into the law until it stays; the changes, and how wrong (M,).

        changes (M, p, L, u) are right at the start of the step; allowed (M, L) kg/(m2 s).
        """
        for _ in range(SWEEPS):
            found = self.trades(self.states(changes))
            fresh = [
                np.concatenate([old[:, :1], new[:, :-1]], axis=1)
                for old, new in zip(changes, found, strict=True)
            ]
            turned = self._most([a - b for a, b in zip(fresh, changes, strict=True)], allowed)
            changes = fresh
            if np.all(turned <= SETTLED):
                break
        expected = [np.einsum("p,mplu->mlu", AT_CHECK, change)[:, None] for change in changes]
        gaps = [new[:, -1:] - e for new, e in zip(found, expected, strict=True)]
        return changes, np.maximum(self._most(gaps, allowed), turned)

    def _most(self, gaps: list[Array], allowed: list[Array]) -> Array:
        """(M,) the most that gaps (M, k, L, u) move wrongly, over what is allowed."""
        found = []
        for crowd, gap, limit in zip(self.crowds, gaps, allowed, strict=True):
            # what leaves the mobile part arrives in the held one
            moved = 0.5 * (np.abs(gap) @ crowd.slab.capacity[:, None, :, None])[..., 0]
            found.append((moved.max(axis=1) / limit).max(axis=1))
        return np.max(found, axis=0)


def course(
    crowds: Sequence[Crowd],
    together: Modes | None,
    start: Array,
    base: Array,
    quickening: Array,
    seconds: Array,
    tolerance: float = TOLERANCE,
) -> tuple[Pushed | None, list[list[Pushed]]]:
    """What crowds and their water do in seconds (M,): the means with the water, each lot's rest.

    together: modes of the means and the water, start (M, all) their unknowns; None where the
    water stays as base (M,), from which all states count. A crowd that is alone in its water has
    no rest. Each member takes steps of its own.
    """
    stepper = _Stepper(crowds, together, start, base, quickening)
    begin, length = np.zeros_like(seconds), FIRST / stepper.quickest
    begins, lengths = [], []
    before: list[Array] | None = None
    last = ready = np.zeros_like(seconds)
    while np.any(begin < seconds):
        length = np.minimum(length, seconds - begin)
        if np.any(length != ready):
            for family in stepper.families:
                family.prepare(length)
            ready = length
        states = stepper.now()
        guess = _guess(stepper.trades(states), before, length / np.maximum(last, 1e-300))
        allowed = []
        for crowd, state, trace in zip(crowds, states, stepper.trace, strict=True):
            held = np.maximum((state[:, 0] @ crowd.slab.capacity[:, :, None])[..., 0], trace)
            allowed.append(tolerance * held / np.maximum(length, 1e-300)[:, None])
        changes, error = stepper.settle(guess, allowed)
        good = error <= 1
        begins.append(begin)
        lengths.append(np.where(good, length, 0.0))
        for family in stepper.families:
            family.keep(good)
        begin = np.where(good & (length >= seconds - begin), seconds, begin + lengths[-1])
        before, last = (changes if good.all() else None), length
        factor = np.clip(0.9 * np.maximum(error, 1e-9) ** (-1 / 6), 0.2, 3.0)
        length = length * np.where(good & (factor > 0.95) & (factor < 1.3), 1.0, factor)
    spans = np.stack(begins, axis=1), np.stack(lengths, axis=1)
    whole = None if stepper.common is None else stepper.common.pushed(*spans)[0]
    return whole, [[] if rest is None else rest.pushed(*spans) for rest in stepper.rests]


def _guess(now: list[Array], before: list[Array] | None, ratio: Array) -> list[Array]:
    """Changes (M, p, L, u) in a step `ratio` (M,) times as long as the one before.

    The polynomials of the step before go on; without one, what changes now.
    """
    if before is None:
        return [np.repeat(change, len(POINTS), axis=1) for change in now]
    ahead = (1.0 + ratio[:, None] * POINTS)[..., None] ** POWERS @ TO_POWERS
    found = [np.einsum("mps,mslu->mplu", ahead, values) for values in before]
    for values, change in zip(found, now, strict=True):
        values[:, :1] = change
    return found
