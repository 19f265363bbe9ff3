"""A wash with laws that bend, written out node by node; nothing here imports washsim.

One homogeneous layer on evenly spaced nodes (Crank, The Mathematics of Diffusion, 2nd ed. 1975,
ch. 8), any number of sheets in one stirred water, in time by ODEPACK's LSODA or by Radau (scipy).
SI, kg/m3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import integrate

Array = np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Wash:
    """Paper and water.

    thickness m; porosity; inside m2/s, De / porosity; held K; release 1/s; saturation kg/m3; film
    m/s, the least; free m/s at `difference` kg/m3 and its power; areas m2 of each sheet; volume
    m3 (inf: water stays); inflow m3/s of supply kg/m3; dead m3, renewed at dead_rate 1/s.
    """

    intervals: int
    thickness: float
    porosity: float
    inside: float
    held: float
    release: float
    saturation: float
    film: float
    free: float = 0.0
    difference: float = 1.0
    power: float = 0.0
    areas: tuple[float, ...] = (0.05,)
    volume: float = 4e-3
    inflow: float = 0.0
    supply: float = 0.0
    dead: float = 0.0
    dead_rate: float = 0.0

    def rate(self, _: float, y: Array) -> Array:
        """y: each sheet's mobile, then its held values over K; moving water, dead water."""
        n = self.intervals + 1
        out, dx = np.zeros_like(y), self.thickness / self.intervals
        water, dead, gained = y[-2], y[-1], 0.0
        for sheet, area in enumerate(self.areas):
            at = 2 * n * sheet
            c, g = y[at : at + n], y[at + n : at + 2 * n]
            size = np.full(n, dx)
            size[0] = size[-1] = dx / 2
            caught = self.release * (c / (1 + c / self.saturation) - g)
            moved = np.zeros(n)
            between = self.porosity * self.inside * (c[:-1] - c[1:]) / dx
            moved[:-1] -= between
            moved[1:] += between
            for node in (0, n - 1):
                d = c[node] - water
                h = max(self.film, self.free * (abs(d) / self.difference) ** self.power)
                moved[node] -= h * d
                gained += area * h * d
            out[at : at + n] = (moved - size * self.held * caught) / (size * self.porosity)
            out[at + n : at + 2 * n] = caught
        if np.isfinite(self.volume):
            out[-2] = (gained + self.inflow * (self.supply - water)) / self.volume
            if self.dead:
                swap = self.dead * self.dead_rate * (water - dead)
                out[-2] -= swap / self.volume
                out[-1] = swap / self.dead
        return out

    def run(self, start: Array, times: Array, rtol: float = 1e-11, method: str = "LSODA") -> Array:
        """(T, unknowns) at times (T,), the first of them 0."""
        done = integrate.solve_ivp(
            self.rate,
            (0.0, times[-1]),
            start,
            method,
            times,
            rtol=rtol,
            atol=rtol * np.abs(start).max(),
        )
        if not done.success:
            raise RuntimeError(done.message)
        return done.y.T
