"""A third solver: several sheets, each with its own history, in shared stirred tubs; no washsim here.

Nodes on an even grid in every layer, interfaces and faces being nodes (Crank 1975, ch. 8); time by
SciPy's stiff solve_ivp with the exact sparse Jacobian. Unlike finite_volume.py it lets sheets come
and go one by one. Concentrations in X per m3, amounts in X, everything else SI.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, sparse

from tests.references.layered import Layer

Array = NDArray[np.float64]


@dataclass(slots=True, kw_only=True)
class Print:
    """One sheet: layers, intervals in each, area m2; concentration at its nodes, held fixer per c.

    tub: the tub it lies in or, while `airborne`, the one it comes from, whose liquid goes on
    working inside; clings: (m3, X) of water on it in the air.
    """

    layers: tuple[Layer, ...]
    intervals: tuple[int, ...]
    area: float
    tub: int = 0
    airborne: bool = True
    clings: tuple[float, float] = (0.0, 0.0)
    mobile: Array = field(init=False)
    held: Array = field(init=False)

    def __post_init__(self) -> None:
        size = sum(self.intervals) + 1
        self.mobile, self.held = np.zeros(size), np.zeros(size)

    def lumped(self, value: Array) -> Array:
        """A layer property (L,) times the length around each node, (nodes,)."""
        widths = [x.thickness / n for x, n in zip(self.layers, self.intervals, strict=True)]
        lumps = np.zeros(self.mobile.size)
        start = 0
        for width, count, v in zip(widths, self.intervals, value, strict=True):
            lumps[start : start + count] += v * width / 2
            lumps[start + 1 : start + count + 1] += v * width / 2
            start += count
        return lumps

    @property
    def capacity(self) -> Array:
        return self.lumped(np.array([x.capacity for x in self.layers]))

    @property
    def holding(self) -> Array:
        return self.lumped(np.array([x.held for x in self.layers]))

    @property
    def releasing(self) -> Array:
        """m/s between pores and held fixer at each node."""
        return self.lumped(np.array([x.held * x.release for x in self.layers]))

    def joints(self, diffusivity: float) -> Array:
        """m/s between neighbouring nodes."""
        each = [
            x.porosity * x.hindrance * diffusivity * n / x.thickness
            for x, n in zip(self.layers, self.intervals, strict=True)
        ]
        return np.repeat(each, self.intervals)

    @property
    def residual(self) -> float:
        """X/m2."""
        return float(self.capacity @ self.mobile + self.holding @ self.held)


@dataclass(slots=True, kw_only=True)
class Tub:
    """Stirred water: volume m3 (inf: never changes), flow m3/s of `supply`, film m/s, D m2/s.

    quicken: factor on release in this liquid.
    """

    volume: float
    diffusivity: float
    film: float
    flow: float = 0.0
    supply: float = 0.0
    quicken: float = 1.0
    concentration: float = 0.0


@dataclass(slots=True)
class Bench:
    """Sheets and tubs; carry it forward in time and move things between."""

    prints: list[Print]
    tubs: list[Tub]
    rtol: float = 1e-9

    def lift(self, which: int, film: float) -> None:
        """Take a sheet out with `film` m3 of its tub's water on it."""
        one = self.prints[which]
        tub = self.tubs[one.tub]
        tub.volume -= film
        one.airborne, one.clings = True, (film, film * tub.concentration)

    def place(self, which: int, tub: int) -> None:
        """Put a sheet in; what clings to it mixes with the tub at once."""
        one, water = self.prints[which], self.tubs[tub]
        film, solute = one.clings
        if np.isfinite(water.volume):
            water.concentration = (water.volume * water.concentration + solute) / (
                water.volume + film
            )
            water.volume += film
        one.tub, one.airborne, one.clings = tub, False, (0.0, 0.0)

    def refill(self, tub: int, volume: float, kept: float) -> None:
        """Dump all but `kept` m3 and pour clean water on it."""
        water = self.tubs[tub]
        water.concentration *= kept / (kept + volume)
        water.volume = kept + volume

    def run(self, seconds: float) -> None:
        """Carry everything forward; sheets in the air exchange nothing."""
        matrix, source = self._rates()
        start = np.concatenate(
            [[t.concentration for t in self.tubs], *((p.mobile, p.held) for p in self.prints)],
            axis=None,
        )
        solved = integrate.solve_ivp(
            lambda _, y: matrix @ y + source,
            (0.0, seconds),
            start,
            method="Radau",
            jac=matrix,
            rtol=self.rtol,
            atol=1e-4 * self.rtol * max(start.max(), 1.0),
        )
        if not solved.success:
            raise RuntimeError(solved.message)
        end, first = solved.y[:, -1], len(self.tubs)
        for tub, value in zip(self.tubs, end, strict=False):
            tub.concentration = float(value)
        for one in self.prints:
            size = one.mobile.size
            one.mobile, one.held = end[first : first + size], end[first + size : first + 2 * size]
            first += 2 * size

    def _rates(self) -> tuple[sparse.csc_matrix, Array]:
        entries: list[tuple[int, int, float]] = []
        size = len(self.tubs) + 2 * sum(p.mobile.size for p in self.prints)
        source = np.zeros(size)

        def exchange(i: int, j: int, rate: float, size_i: float, size_j: float) -> None:
            entries.extend(
                [
                    (i, j, rate / size_i),
                    (i, i, -rate / size_i),
                    (j, i, rate / size_j),
                    (j, j, -rate / size_j),
                ]
            )

        for number, tub in enumerate(self.tubs):
            entries.append((number, number, -tub.flow / tub.volume))
            source[number] = tub.flow * tub.supply / tub.volume
        first = len(self.tubs)
        for one in self.prints:
            tub = self.tubs[one.tub]
            sizes, count = one.capacity, one.mobile.size
            for node, rate in enumerate(one.joints(tub.diffusivity)):
                exchange(first + node, first + node + 1, rate, sizes[node], sizes[node + 1])
            for node in np.flatnonzero(one.holding):
                rate = tub.quicken * one.releasing[node]
                exchange(first + node, first + count + node, rate, sizes[node], one.holding[node])
            if not one.airborne:
                for node in (0, count - 1):
                    exchange(first + node, one.tub, tub.film, sizes[node], tub.volume / one.area)
            first += 2 * count
        rows, columns, values = zip(*entries, strict=True)
        return sparse.csc_matrix((values, (rows, columns)), shape=(size, size)), source


def residuals(prints: Sequence[Print]) -> Array:
    """X/m2 of each sheet."""
    return np.array([one.residual for one in prints])
