"""Finite differences across a layered slab: nodes, weights, difference matrices.

Each layer is mapped to [0, 1]. Its difference matrix Dm has the summation-by-parts property, so
the stiffness ``Dm.T @ diag(v * De) @ Dm`` is symmetric, its rows sum to zero (nothing is created)
and faces and interfaces are nodes, shared by the layers that meet there. The stiffness is kept as
its factor, the fluxes ``sqrt(v * De) * Dm``. Two node families:

* ``even``: evenly spaced, second order, monotone: the text-book scheme (Crank, The Mathematics of
  Diffusion, 2nd ed., 1975, ch. 8) and the independent check of the other;
* ``lobatto``: Gauss-Lobatto nodes, of the highest order a layer's node count allows
  (Canuto, Hussaini, Quarteroni, Zang, Spectral Methods, 2006, ch. 2).

M is the number of members (parameter sets solved side by side), L layers, n nodes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Space:
    """The nodes of a layered slab, before any thickness or diffusivity is known.

    nodes (n,) position in layer units: layer j covers [j, j+1]; weights (L, n) quadrature
    weights of each layer of unit thickness; flux (f, n) the rows sqrt(v) Dm of layers of unit
    thickness and diffusivity, and layer (f,) the layer of each row.
    """

    family: str
    intervals: tuple[int, ...]
    nodes: Array
    weights: Array
    flux: Array
    layer: NDArray[np.intp]

    @property
    def size(self) -> int:
        return len(self.nodes)

    def sample(self, positions: Array) -> Array:
        """(P, n) matrix that interpolates nodal values at positions (P,) in layer units.

        Even nodes interpolate linearly, Lobatto nodes by their polynomial.
        """
        positions = np.asarray(positions, dtype=float)
        layer = np.clip(positions.astype(int), 0, len(self.intervals) - 1)
        matrix = np.zeros((len(positions), self.size))
        first = 0
        for j, count in enumerate(self.intervals):
            rows = np.flatnonzero(layer == j)
            here = slice(first, first + count + 1)
            matrix[rows, here] = _interpolation(self.family, self.nodes[here], positions[rows])
            first += count
        return matrix

    def window(self, start: float, stop: float) -> Array:
        """(L, n) weights of each layer's part between two positions in layer units."""
        weights = np.zeros_like(self.weights)
        points, gauss = legendre.leggauss(max(self.intervals) + 2)
        for j in range(len(self.intervals)):
            low, high = max(start, j), min(stop, j + 1)
            # even nodes interpolate in pieces, Lobatto nodes by one polynomial a layer
            cuts = [s for s in self.nodes if low < s < high and self.family == "even"]
            for a, b in pairwise([low, *cuts, max(low, high)]):
                inside = 0.5 * (a + b) + 0.5 * (b - a) * points
                # a point on an interface belongs to this layer: nudge it inside
                inside = np.clip(inside, j, np.nextafter(j + 1, j))
                weights[j] += 0.5 * (b - a) * gauss @ self.sample(inside)
        return weights


def _interpolation(family: str, nodes: Array, positions: Array) -> Array:
    """(P, n) values at positions (P,) of the nodal basis functions of one layer."""
    gaps = positions[:, None] - nodes
    if family == "even":
        spacing = (nodes[-1] - nodes[0]) / (len(nodes) - 1)
        return np.maximum(1.0 - np.abs(gaps) / spacing, 0.0)
    hit = gaps == 0
    terms = _barycentric(nodes) / np.where(hit, 1.0, gaps)
    return np.where(hit.any(axis=1)[:, None], hit, terms / terms.sum(axis=1)[:, None])


def _barycentric(nodes: Array) -> Array:
    gaps = nodes[:, None] - nodes
    np.fill_diagonal(gaps, 1.0)
    # times 4 per factor keeps the products of differences in [0, 1] near one
    return 1.0 / np.prod(4.0 * gaps, axis=1)


def even_layer(intervals: int) -> tuple[Array, Array, Array]:
    """Nodes (n,), weights (n,) and fluxes (n - 1, n) of one evenly spaced layer on [0, 1]."""
    nodes = np.linspace(0.0, 1.0, intervals + 1)
    weights = np.full(intervals + 1, 1.0 / intervals)
    weights[[0, -1]] *= 0.5
    # a slope of 1 / spacing, weighted by the root of the spacing
    return nodes, weights, np.sqrt(intervals) * np.diff(np.eye(intervals + 1), axis=0)


def lobatto_layer(intervals: int) -> tuple[Array, Array, Array]:
    """Nodes (n,), weights (n,) and fluxes (n, n) of one Gauss-Lobatto layer on [0, 1]."""
    basis = legendre.Legendre.basis(intervals)
    inner = np.sort(np.real(basis.deriv().roots()))
    nodes = np.concatenate([[-1.0], inner, [1.0]])
    nodes = 0.5 * (nodes - nodes[::-1])  # the roots are symmetric, their rounding is not
    weights = 2.0 / (intervals * (intervals + 1) * basis(nodes) ** 2)
    scale = _barycentric(nodes)
    gaps = nodes[:, None] - nodes
    np.fill_diagonal(gaps, 1.0)
    difference = scale / scale[:, None] / gaps
    np.fill_diagonal(difference, 0.0)
    np.fill_diagonal(difference, -difference.sum(axis=1))
    # on [0, 1] weights halve and slopes double
    return 0.5 * (nodes + 1), 0.5 * weights, np.sqrt(2.0 * weights)[:, None] * difference


@lru_cache(maxsize=64)
def space(family: str, intervals: tuple[int, ...]) -> Space:
    """The nodes of a slab of len(intervals) layers; family is 'even' or 'lobatto'."""
    build = {"even": even_layer, "lobatto": lobatto_layer}[family]
    size = sum(intervals) + 1
    nodes = np.zeros(size)
    weights = np.zeros((len(intervals), size))
    fluxes = []
    first = 0
    for j, count in enumerate(intervals):
        here = slice(first, first + count + 1)
        local, weights[j, here], own = build(count)
        nodes[here] = j + local
        fluxes.append(np.zeros((len(own), size)))
        fluxes[-1][:, here] = own
        first += count
    layer = np.repeat(np.arange(len(intervals)), [len(own) for own in fluxes])
    return Space(family, intervals, nodes, weights, np.concatenate(fluxes), layer)


@dataclass(frozen=True, slots=True)
class Slab:
    """A layered slab on its nodes, per square metre.

    mobile (M, n) m, capacity for the mobile solute; flux (M, f, n) m^-1/2, fluxes per root of free
    diffusivity; where (h,) the nodes that hold solute; held (M, h) m, capacity of
    the held solute; release (M, h) m/s, conductance between held and mobile at quickening 1;
    shares (M, 2, L) m, mobile and held capacity of each layer; bend (M, h) m3/kg, how soon what
    holds it fills up, None where it never does (see `crowd`).
    A slab's state (M, u = n + h) is the mobile concentration at the nodes followed by the
    concentration that each held amount would be in equilibrium with, all kg/m3.
    """

    space: Space
    thickness: Array
    mobile: Array
    flux: Array
    where: NDArray[np.intp]
    held: Array
    release: Array
    shares: Array
    bend: Array | None = None

    @property
    def size(self) -> int:
        return self.space.size + len(self.where)

    @property
    def capacity(self) -> Array:
        """(M, u) m."""
        return np.concatenate([self.mobile, self.held], axis=1)

    def under(self, weights: Array) -> Array:
        """(M, u) m, the capacity under weights (L, n), such as those of `Space.window`."""
        mobile, held = self.shares[:, 0] @ weights, self.shares[:, 1] @ weights
        return np.concatenate([mobile, held[:, self.where]], axis=1)


def slab(
    space: Space,
    *,
    thickness: Array,
    porosity: Array,
    hindrance: Array,
    retardation: Array,
    retention: Array,
    release_rate: Array,
    bend: Array | None = None,
) -> Slab:
    """Put layers of given properties (each (M, L); metres, 1/s, else dimensionless) on nodes.

    bend, m3/kg, is one over the concentration at which half of what holds solute is filled.
    """
    shares = np.stack([thickness * porosity * retardation, thickness * retention], axis=1)
    held = shares[:, 1] @ space.weights
    where = np.flatnonzero(np.any(held > 0, axis=0))
    bends = None
    if bend is not None and np.any(bend * retention > 0):
        # between layers as much as each of them holds there
        bends = ((shares[:, 1] * bend) @ space.weights / np.maximum(held, 1e-300))[:, where]
    return Slab(
        space=space,
        thickness=thickness,
        mobile=shares[:, 0] @ space.weights,
        flux=np.sqrt(porosity * hindrance / thickness)[:, space.layer, None] * space.flux,
        where=where,
        held=held[:, where],
        release=((shares[:, 1] * release_rate) @ space.weights)[:, where],
        shares=shares,
        bend=bends,
    )
