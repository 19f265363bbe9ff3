"""One interval of constant conditions, solved exactly in time.

Capacity (diagonal) and conductance (symmetric, positive semi-definite) describe everything that
exchanges solute in one tank: nodes of slabs, held solute, the tank's water and its dead part.
With y the concentrations above the supply's own, ``capacity dy/dt = -conductance y``, so one
symmetric eigenproblem gives y at every time (Golub and Van Loan, Matrix Computations, 8.7.2).
"""

from __future__ import annotations

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
    """

    free_diffusivity: Array
    quickening: Array
    film: Array
    inflow: Array
    supply: Array
    dead_share: Array
    dead_rate: Array
    boundless: bool = False


@dataclass(frozen=True, slots=True)
class Modes:
    """Eigenmodes of one composition: rates (M, q) 1/s; analyse (M, q, u); compose (M, u, q)."""

    rates: Array
    analyse: Array
    compose: Array


def modes(capacity: Array, conductance: Array) -> Modes:
    """Modes of capacity (M, u) and conductance (M, u, u), which must be symmetric."""
    root = np.sqrt(capacity)
    scaled = conductance / root[:, :, None] / root[:, None, :]
    rates, vectors = np.linalg.eigh(scaled)
    return Modes(
        # a closed tank has one zero rate, which rounding may put below zero
        rates=np.maximum(rates, 0.0),
        analyse=vectors.swapaxes(1, 2) * root[:, None, :],
        compose=vectors / root[:, :, None],
    )


def slab_conductance(slab: Slab, at: Conditions, film: Array) -> Array:
    """(M, u, u) m/s conductance of one square metre of slab in still, given surroundings."""
    members, n = len(at.free_diffusivity), slab.space.size
    matrix = np.zeros((members, slab.size, slab.size))
    matrix[:, :n, :n] = at.free_diffusivity[:, None, None] * slab.diffusion
    matrix[:, 0, 0] += film[:, 0]
    matrix[:, n - 1, n - 1] += film[:, 1]
    if len(slab.where):
        release = slab.release * at.quickening[:, None]
        held = np.arange(n, slab.size)
        matrix[:, slab.where, slab.where] += release
        matrix[:, held, held] = release
        matrix[:, slab.where, held] = matrix[:, held, slab.where] = -release
    return matrix


def tank_system(
    groups: list[tuple[Slab, Array, Array]], at: Conditions, volume: Array, dead: Array | None
) -> tuple[Array, Array]:
    """Capacity (M, u) m3 and conductance (M, u, u) m3/s of slabs and water together.

    groups: (slab, film (M, 2), area (M,) m2 of all slabs alike); volume, dead (M,) m3 of moving
    and dead water. Unknowns in order: each group's area-weighted mean state, the moving water,
    the dead water unless it is None.
    """
    sizes = [slab.size for slab, _, _ in groups]
    water = sum(sizes)
    unknowns = water + 1 + (dead is not None)
    capacity = np.empty((len(volume), unknowns))
    matrix = np.zeros((len(volume), unknowns, unknowns))
    first = 0
    for (slab, film, area), size in zip(groups, sizes, strict=True):
        here = slice(first, first + size)
        capacity[:, here] = area[:, None] * slab.capacity
        matrix[:, here, here] = area[:, None, None] * slab_conductance(slab, at, film)
        for face, node in enumerate((first, first + slab.space.size - 1)):
            exchange = area * film[:, face]
            matrix[:, node, water] -= exchange
            matrix[:, water, node] -= exchange
            matrix[:, water, water] += exchange
        first += size
    matrix[:, water, water] += at.inflow
    capacity[:, water] = volume
    if dead is not None:
        # a member without a dead part keeps a trace of one, so that capacities stay positive
        capacity[:, -1] = np.maximum(dead, 1e-12)
        exchange = capacity[:, -1] * at.dead_rate
        matrix[:, water, water] += exchange
        matrix[:, -1, -1] += exchange
        matrix[:, water, -1] -= exchange
        matrix[:, -1, water] -= exchange
    return capacity, matrix


@dataclass(frozen=True, slots=True)
class Decay:
    """A sum of decaying modes: compose (M, u, q), rates (M, q), amplitudes (M, q)."""

    compose: Array
    rates: Array
    amplitudes: Array

    def at(self, seconds: Array, observe: Array | None = None) -> Array:
        """(M, T, u) at seconds (M, T); with observe (M, o, u), the (M, T, o) seen by its rows."""
        seen = self.compose if observe is None else observe @ self.compose
        faded = np.exp(-self.rates[:, None, :] * seconds[:, :, None])
        return (faded * self.amplitudes[:, None, :]) @ seen.swapaxes(1, 2)

    def integral(self, seconds: Array, row: int) -> Array:
        """(M,) the integral of unknown `row` from 0 to seconds (M,)."""
        decay = self.rates * seconds[:, None]
        slow = decay < 1e-12
        rates = np.where(slow, 1.0, self.rates)
        spans = np.where(slow, seconds[:, None], -np.expm1(-decay) / rates)
        return np.sum(self.compose[:, row] * self.amplitudes * spans, axis=1)


def decay(modes: Modes, start: Array) -> Decay:
    """The decay of start (M, u) by these modes."""
    amplitudes = (modes.analyse @ start[:, :, None])[:, :, 0]
    return Decay(modes.compose, modes.rates, amplitudes)
