"""Laws that bend, laid around the modes: places that fill up, films that follow what they carry.

What exchanges linearly reaches far and is stiff, but its modes are known. What bends is little: the
trade of places at each node, local and slow (`crowd`), and a few fluxes beyond those of constant
films (`faces`). Both push the modes. Over a step each push is a polynomial in time through five
points, found by putting the answer back into the laws until it stays: exponential collocation
(Hochbruck and Ostermann, Exponential Runge-Kutta methods for parabolic problems, Appl. Numer.
Math. 53, 2005). A push only hands solute from one place to another, so nothing is made or lost,
however long the steps.

Steps are the interval halved some times over and the same for all members, so that what belongs to
a length is worked out once, and for many lengths together.

M members, C crowds, F = 2 C faces, U unknowns of a tank, q modes, k times in a step, p its points.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from washsim.engine.crowd import Crowd
from washsim.engine.faces import Faces
from washsim.engine.interval import Modes
from washsim.engine.pushed import POINTS, POWERS, TO_POWERS, Pushed, answers, pushed
from washsim.engine.space import Array

TOLERANCE = 1e-4
"""Solute moved wrongly in one step, over what the slab holds; amounts come out better."""
AT_FACES = 20.0
"""Times as much may be wrong where a flux is checked: the points weigh nearly all of it out."""
TRACE = 1e-5
"""A slab holding less than this share of what it could is measured against that share."""
CHECKS = np.array([0.05, 0.75])
"""Where in a step polynomials are held against the laws: early, where a jump bends them most, and
late, so that no kink slips through."""
ASKED = np.concatenate([POINTS, CHECKS])
AT_CHECKS = CHECKS[:, None] ** POWERS @ TO_POWERS
"""(checks, points): the polynomial there, from its values at the points."""
COUNT = len(POINTS)
FIRST = 0.1
"""Part of the quickest trade's time that a first step lasts; one that is too long costs a trial."""
SETTLED = 0.5
"""Share of the tolerance by which trades may still turn: the next time they do many times less."""
SWEEPS = 8
"""A step that does not settle in so many sweeps is halved."""
STEEP = 1.5
"""An error falls at least with this power of a step's length."""
EASY = 0.1
"""Share of the tolerance below which the next step may be twice as long."""
DEEPEST = 40
"""An interval halved so often is a step whatever its error: its law jumps there."""
AHEAD = 2
"""Lengths are worked out together, and some more: a first step may be too long."""


@dataclass(frozen=True, slots=True)
class Length:
    """What belongs to a length of step: fade (M, k, q), weight (M, k, p, q) as of `answers`.

    reach (M, k F, p F): the differences at faces that fluxes at the points make, if there are any.
    """

    fade: Array
    weight: Array
    reach: Array | None

    def answer(self, push: Array) -> Array:
        """(M, k, q) amplitudes that a push (M, p, q) makes."""
        return (self.weight * push[:, None]).sum(axis=2)


@dataclass(frozen=True, slots=True)
class _Step:
    """A step as tried: its push (M, p, q) and the amplitudes (M, q) at its end.

    trades: (M, p, u) of each crowd whose places fill up; film (M, F) at the end; error (M,).
    """

    push: Array
    end: Array
    trades: list[Array]
    film: Array
    error: Array


class _Steps:
    """Amplitudes (M, q) on their way through the steps of an interval of seconds (M,)."""

    def __init__(
        self,
        modes: Modes,
        start: Array,
        crowds: Sequence[Crowd],
        faces: Faces | None,
        seconds: Array,
        tolerance: float,
        lengths: list[Length],
    ) -> None:
        self.modes, self.faces, self.lengths = modes, faces, lengths
        self.seconds, self.tolerance = seconds, tolerance
        self.amplitudes = (modes.analyse @ start[:, :, None])[..., 0]
        self.compose = modes.compose.swapaxes(1, 2)
        self.analyse = modes.analyse.swapaxes(1, 2)
        if faces is not None:
            self.seen = (faces.seen @ modes.compose).swapaxes(1, 2)
            self.given = faces.given @ self.analyse
        # contents (M, C) kg/m2 of crowds are rows @ amplitudes + rest
        rows = [c.capacity.swapaxes(1, 2) @ modes.compose[:, c.rows] for c in crowds]
        self.rows = np.concatenate(rows, axis=1)
        sizes = np.concatenate([c.capacity.sum(axis=1) for c in crowds], axis=1)
        base = crowds[0].base
        self.rest = base[:, None] * sizes
        top = np.maximum(np.abs(start + base[:, None]).max(axis=1), np.abs(base))
        self.most = top[:, None] * sizes
        self.filling = [(i, c) for i, c in enumerate(crowds) if c.slab.bend is not None]

    def halved(self, rung: int) -> Length:
        """What belongs to the interval halved `rung` times."""
        known = len(self.lengths)
        if rung >= known:
            halvings = np.arange(known, rung + AHEAD)
            members, q = self.amplitudes.shape
            lengths = self.seconds[:, None] * 0.5**halvings
            rates = np.repeat(self.modes.rates, len(halvings), axis=0)
            found = answers(rates, lengths.ravel(), ASKED)
            fade = found[0].reshape(members, len(halvings), len(ASKED), q)
            weight = found[1].reshape(members, len(halvings), len(ASKED), COUNT, q)
            reach = None if self.faces is None else self._reach(weight)
            self.lengths += [
                Length(fade[:, i], weight[:, i], None if reach is None else reach[:, i])
                for i in range(len(halvings))
            ]
        return self.lengths[rung]

    def _reach(self, weight: Array) -> Array:
        members, block, k, p, q = weight.shape
        faces = self.given.shape[1]
        pairs = self.seen[:, :, :, None] * self.given.swapaxes(1, 2)[:, :, None]
        reach = weight.reshape(members, -1, q) @ pairs.reshape(members, q, -1)
        reach = reach.reshape(members, block, k, p, faces, faces).swapaxes(3, 4)
        return reach.reshape(members, block, k * faces, p * faces)

    def begin(self) -> tuple[list[Array], Array, int]:
        """Trades and films at the start, and how often to halve for a first step."""
        now = self.amplitudes[:, None] @ self.compose
        trades = [np.repeat(crowd.trade(now), COUNT, axis=1) for _, crowd in self.filling]
        quickest = [crowd.quickest() for _, crowd in self.filling]
        film = np.zeros((len(now), 0))
        if self.faces is not None:
            difference = self.amplitudes[:, None] @ self.seen
            film = self.faces.films(difference, np.zeros((len(now), 1)))[:, 0]
            flux = np.abs(film * difference[:, 0]).reshape(len(now), -1, 2).sum(axis=2)
            quickest.append((flux / np.maximum(self.most, 1e-300)).max(axis=1))
        steps = np.max(self.seconds * quickest) / FIRST
        return trades, film, int(np.clip(np.ceil(np.log2(max(steps, 1.0))), 0, DEEPEST))

    def attempt(self, rung: int, begin: Array, trades: list[Array], film: Array) -> _Step:
        """A step from begin (M,) s on, with trades and a film to begin with."""
        here, length = self.halved(rung), self.seconds * 0.5**rung
        held = (self.rows @ self.amplitudes[..., None])[..., 0] + self.rest
        held = np.maximum(held, TRACE * self.most)
        allowed = self.tolerance * held / np.maximum(length, 1e-300)[:, None]
        unpushed = here.fade * self.amplitudes[:, None]
        seconds = begin[:, None] + length[:, None] * ASKED
        through, flux = np.zeros_like(unpushed[:, :COUNT]), None
        for _ in range(SWEEPS):
            push, error = self._pushed_by(trades), np.zeros(len(length))
            if self.faces is not None and here.reach is not None:
                free = unpushed + here.answer(push) if self.filling else unpushed
                alone, enough = free @ self.seen, AT_FACES * np.repeat(allowed, 2, axis=1)
                if flux is None:
                    flux = self.faces.through(alone, here.reach, film)
                flux, law, film, left = self.faces.settle(alone, here.reach, flux, seconds, enough)
                missed = np.abs(law[:, COUNT:] - AT_CHECKS @ flux) / enough[:, None]
                error = np.maximum(missed.max(axis=(1, 2)), left)
                through = flux @ self.given
            if not self.filling:
                break
            states = (unpushed + here.answer(push + through)) @ self.compose
            trades, turned, missed = self._put_back(trades, states, allowed)
            settled = turned <= SETTLED
            error = np.maximum(error, np.maximum(missed, np.where(settled, 0.0, turned)))
            if settled.all():
                break
        # trades as put back last: nearer than those that have just been judged
        push = self._pushed_by(trades) + through
        end = unpushed[:, COUNT - 1] + (here.weight[:, COUNT - 1] * push).sum(axis=1)
        return _Step(push, end, trades, film, error)

    def _pushed_by(self, trades: list[Array]) -> Array:
        """(M, p, q) push of the trades (M, p, u) of crowds whose places fill up, if there are."""
        pairs = zip(trades, self.filling, strict=True)
        each = [trade @ self.analyse[:, crowd.rows] for trade, (_, crowd) in pairs]
        if not each:
            members, q = self.amplitudes.shape
            return np.zeros((members, COUNT, q))
        return each[0] if len(each) == 1 else np.sum(each, axis=0)

    def _put_back(
        self, trades: list[Array], states: Array, allowed: Array
    ) -> tuple[list[Array], Array, Array]:
        """Trades that states (M, k, U) call for; how far (M,) they turned, and missed the check."""
        fresh, turned, missed = [], [], []
        for old, (i, crowd) in zip(trades, self.filling, strict=True):
            found = crowd.trade(states)
            new = found[:, :COUNT]
            gaps = np.concatenate([new - old, found[:, COUNT:] - AT_CHECKS @ new], axis=1)
            wrong = crowd.moved(gaps) / allowed[:, i, None]
            fresh.append(new)
            turned.append(wrong[:, :COUNT].max(axis=1))
            missed.append(wrong[:, COUNT:].max(axis=1))
        return fresh, np.max(turned, axis=0), np.max(missed, axis=0)


def course(
    modes: Modes,
    start: Array,
    crowds: Sequence[Crowd],
    faces: Faces | None,
    seconds: Array,
    tolerance: float,
    lengths: list[Length],
) -> Pushed:
    """What a tank does in seconds (M,) from start (M, U), which counts from its crowds' base.

    modes: of all that is linear in it; faces: of all its crowds, in order, if films follow what
    they carry; lengths: what is known of halves of this interval, in order, and is added to.
    """
    steps = _Steps(modes, start, crowds, faces, seconds, tolerance, lengths)
    trades, film, rung = steps.begin()
    at, whole, taken = 0, 1 << DEEPEST, []
    while at < whole:
        length, begin = whole >> rung, seconds * (at / whole)
        step = steps.attempt(rung, begin, trades, film)
        worst = step.error.max()
        if worst > 1 and rung < DEEPEST:
            halvings = min(1 + int(np.log2(worst) / STEEP), DEEPEST - rung)
            trades = [_ahead(trade, 0.0, 0.5**halvings) for trade in trades]
            rung += halvings
            continue
        taken.append((begin, seconds * 0.5**rung, steps.amplitudes, step.push))
        steps.amplitudes, film = step.end, step.film
        at += length
        longer = bool(worst < EASY and rung and at % (2 * length) == 0)
        trades = [_ahead(trade, 1.0, 2.0 if longer else 1.0) for trade in step.trades]
        rung -= longer
    begins, spans, starts, pushes = (np.stack(each, axis=1) for each in zip(*taken, strict=True))
    return pushed(modes.compose, modes.rates, begins, spans, starts, pushes)


def _ahead(values: Array, begin: float, length: float) -> Array:
    """The polynomials through values (M, p, u) at the points of a step that begins, and is as long,
    in lengths of the step they are of."""
    onto = (begin + length * POINTS)[:, None] ** POWERS @ TO_POWERS
    return (onto @ values.reshape(len(values), COUNT, -1)).reshape(values.shape)
