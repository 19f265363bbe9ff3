"""One interval of constant conditions, solved exactly in time.

Capacity C (diagonal) and fluxes B describe everything that exchanges solute in one tank: nodes of
slabs, held solute, the tank's water and its dead part. A row of B is the root of a conductance
times a difference of concentrations, so that with y the concentrations above the supply's own
``C dy/dt = -B' B y``. The singular values and vectors of B C^-1/2 give y at every time.

Why not the eigenvalues of C^-1/2 B'B C^-1/2, the same numbers? Rates spread over ten decades when
a film is fast; squaring first loses the slow ones, on which the wash and the balance of solute
hang, to the rounding of the fast ones (Golub and Van Loan, Matrix Computations, 4th ed., 8.6).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from washsim.engine.space import Array, Slab


@dataclass(frozen=True, slots=True)
class Conditions:
    """What a tank does to its contents until told otherwise; every array (M,), SI.

    free_diffusivity m2/s; quickening, factor on the release of held solute; film (M, 2) m/s,
    transfer coefficient at the front and back face; inflow m3/s that really mixes in; supply
    kg/m3, concentration of that inflow; dead_share, part of the volume that mixes slowly;
    dead_rate 1/s, exchange of that part per its own volume. A boundless tank stays at `supply`.
    pooled: the dead part is the water beneath the slabs, and all that their backs meet.
    currents, if any, makes the film (M, T, 2) from the difference (M, T, 2) between the faces and
    the moving water, kg/m3, and the seconds (M, T, 1) since a hand last moved that.
    fed_by: the tank whose outflow is this one's inflow, if it is not fed from a supply.
    """

    free_diffusivity: Array
    quickening: Array
    film: Array
    inflow: Array
    supply: Array
    dead_share: Array
    dead_rate: Array
    boundless: bool = False
    pooled: bool = False
    currents: Callable[[Array, Array], Array] | None = None
    fed_by: int | None = None


@dataclass(frozen=True, slots=True)
class Modes:
    """Eigenmodes of one composition: rates (M, q) 1/s; analyse (M, q, u); compose (M, u, q).

    flows (M, r, q) is what each flux, a row of B, makes of each mode.
    """

    rates: Array
    analyse: Array
    compose: Array
    flows: Array


def modes(capacity: Array, fluxes: Array) -> Modes:
    """Modes of capacity (M, u) and fluxes (M, r, u), slowest first; r is at least u."""
    root = np.sqrt(capacity)
    left, values, vectors = np.linalg.svd(fluxes / root[:, None, :], full_matrices=False)
    values, analyse = values[:, ::-1], vectors[:, ::-1]
    return Modes(
        rates=values**2,
        analyse=analyse * root[:, None, :],
        compose=analyse.swapaxes(1, 2) / root[:, :, None],
        flows=left[:, :, ::-1] * values[:, None, :],
    )


def slab_fluxes(slab: Slab, at: Conditions, film: Array) -> Array:
    """(M, r, u + 1) fluxes of one square metre of slab; the last column is the water's.

    Rows in order: diffusion inside, the film at the front and at the back (film_rows), release.
    """
    members, (inside, n) = len(at.free_diffusivity), slab.flux.shape[1:]
    held = np.arange(len(slab.where))
    rows = np.zeros((members, inside + 2 + len(held), slab.size + 1))
    rows[:, :inside, :n] = np.sqrt(at.free_diffusivity)[:, None, None] * slab.flux
    films = np.sqrt(film)
    rows[:, inside, 0], rows[:, inside, -1] = films[:, 0], -films[:, 0]
    rows[:, inside + 1, n - 1], rows[:, inside + 1, -1] = films[:, 1], -films[:, 1]
    # what fills up trades apart from diffusion, see `crowd`
    trade = slab.release * at.quickening[:, None] if slab.bend is None else 0.0 * slab.release
    release = np.sqrt(trade)
    rows[:, inside + 2 + held, slab.where] = release
    rows[:, inside + 2 + held, n + held] = -release
    return rows


def film_rows(slab: Slab) -> tuple[int, int]:
    """The rows of the front's and the back's film among a slab's fluxes."""
    inside = slab.flux.shape[1]
    return inside, inside + 1


def tank_system(
    groups: list[tuple[Slab, Array, Array]], at: Conditions, volume: Array, dead: Array | None
) -> tuple[Array, Array]:
    """Capacity (M, u) m3 and fluxes (M, r, u) of slabs and water together.

    groups: (slab, film (M, 2), area (M,) m2 of all slabs alike); volume, dead (M,) m3 of moving
    and dead water. Unknowns in order: each group's area-weighted mean state, the moving water,
    the dead water unless it is None.
    """
    water = sum(slab.size for slab, _, _ in groups)
    unknowns = water + 1 + (dead is not None)
    capacity = np.empty((len(volume), unknowns))
    blocks = []
    first = 0
    for slab, film, area in groups:
        here = slice(first, first + slab.size)
        capacity[:, here] = area[:, None] * slab.capacity
        own = np.sqrt(area)[:, None, None] * slab_fluxes(slab, at, film)
        block = np.zeros((*own.shape[:2], unknowns))
        block[:, :, here], block[:, :, water] = own[:, :, :-1], own[:, :, -1]
        if at.pooled and dead is not None:
            back = film_rows(slab)[1]
            block[:, back, -1], block[:, back, water] = own[:, back, -1], 0.0
        blocks.append(block)
        first = here.stop
    capacity[:, water] = volume
    outside = np.zeros((len(volume), 1 + (dead is not None), unknowns))
    outside[:, 0, water] = np.sqrt(at.inflow)
    if dead is not None:
        # a member without a dead part keeps a trace of one, so that capacities stay positive
        capacity[:, -1] = np.maximum(dead, 1e-20)
        outside[:, 1, water] = np.sqrt(capacity[:, -1] * at.dead_rate)
        outside[:, 1, -1] = -outside[:, 1, water]
    return capacity, np.concatenate([*blocks, outside], axis=1)


@dataclass(frozen=True, slots=True)
class Decay:
    """A sum of decaying modes: compose (M, u, q), rates (M, q), amplitudes (M, q).

    Its unknowns are concentrations, or the flows that belong to them.
    """

    compose: Array
    rates: Array
    amplitudes: Array

    def at(self, seconds: Array, observe: Array | None = None) -> Array:
        """(M, T, u) at seconds (M, T); with observe (M, o, u), the (M, T, o) seen by its rows."""
        seen = self.compose if observe is None else observe @ self.compose
        faded = self.faded(seconds)
        return (faded * self.amplitudes[:, None, :]) @ seen.swapaxes(1, 2)

    def faded(self, seconds: Array) -> Array:
        """(M, T, q) what is left of each mode at seconds (M, T)."""
        return np.exp(-self.rates[:, None, :] * seconds[:, :, None])

    def integral(self, seconds: Array, row: int) -> Array:
        """(M, T) the integral of unknown `row` from 0 to seconds (M, T)."""
        passed = spans(self.rates[:, None, :], seconds[:, :, None])
        return (passed @ (self.compose[:, row] * self.amplitudes)[:, :, None])[:, :, 0]

    def by(self, compose: Array) -> Decay:
        """The same, seen by other rows (M, o, q)."""
        return Decay(compose, self.rates, self.amplitudes)


def spans(rates: Array, seconds: Array) -> Array:
    """The integral of exp(-rates t) over t from 0 to seconds, s."""
    decay = rates * seconds
    slow = decay < 1e-12
    return np.where(slow, seconds, -np.expm1(-decay) / np.where(slow, 1.0, rates))


def decay(modes: Modes, start: Array) -> Decay:
    """The decay of start (M, u) by these modes."""
    amplitudes = (modes.analyse @ start[:, :, None])[:, :, 0]
    return Decay(modes.compose, modes.rates, amplitudes)
