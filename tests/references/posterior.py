"""The posterior of a slab's hindrance and thickness, by emcee on the sine series; no washsim.

Everything that the product does by its solver, its integral over the scale's error and its
tempered draws is done here in another way: Crank's series, the error as one more parameter, and
the ensemble sampler of Foreman-Mackey, Hogg, Lang and Goodman, emcee: The MCMC Hammer, 2013.
"""

from __future__ import annotations

from dataclasses import dataclass

import emcee
import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

Array = NDArray[np.float64]
NINETY_FIVE = 1.6448536269514722
CLIP = 2.5
"""Beyond this many standard deviations the bands are not known; factors stop there."""


@dataclass(frozen=True)
class Drop:
    """minutes of washing; bounds of the residual, kg/m2."""

    minutes: float
    low: float
    high: float


def two_piece(z: Array, low: float, high: float) -> Array:
    """Factor whose 5th, 50th and 95th percentile are low, 1 and high, log-normal either side."""
    z = np.clip(z, -CLIP, CLIP)
    return np.exp(np.where(z < 0, -np.log(low), np.log(high)) / NINETY_FIVE * z)


def remaining(time: Array) -> Array:
    """Fraction left in a slab with faces at zero, T = D t / L^2 > 0.005; Crank eq. 4.18, 20 terms."""
    odd = np.arange(1, 40, 2)
    return np.sum(8 / (odd * np.pi) ** 2 * np.exp(-((odd * np.pi) ** 2) * time[..., None]), axis=-1)


def residual(hindrance: Array, thickness: Array, minutes: float) -> Array:
    """kg/m2 of the text-book slab (3e-11 m2/s, 350 um, 25 g/m2 full), fixed 300 s, with factors."""
    rate = 3e-11 * hindrance / (350e-6 * thickness) ** 2
    washed = 60.0 * minutes
    return 25e-3 * thickness * (remaining(rate * washed) - remaining(rate * (300.0 + washed)))


def draws(
    drops: list[Drop],
    own: float,
    shared: float,
    hindrance: tuple[float, float],
    thickness: tuple[float, float],
    seed: int = 3,
) -> tuple[Array, float]:
    """(n, 2) draws of z of hindrance and thickness, and how many independent ones they are worth."""

    def log_probability(x: Array) -> Array:
        total = norm.logpdf(x).sum(axis=1)
        f, h = two_piece(x[:, 0], *hindrance), two_piece(x[:, 1], *thickness)
        for drop in drops:
            there = np.log(residual(f, h, drop.minutes)) + shared * x[:, 2]
            chance = norm.cdf((np.log(drop.high) - there) / own)
            if drop.low > 0:
                chance = chance - norm.cdf((np.log(drop.low) - there) / own)
            total = total + np.log(np.maximum(chance, 1e-300))
        return total

    # emcee draws from numpy's global generator
    np.random.seed(seed)  # noqa: NPY002
    walkers, steps = 48, 2000
    start = np.random.standard_normal((walkers, 3)) * 0.3  # noqa: NPY002
    moves = [(emcee.moves.DEMove(), 0.8), (emcee.moves.DESnookerMove(), 0.2)]
    sampler = emcee.EnsembleSampler(walkers, 3, log_probability, vectorize=True, moves=moves)
    sampler.run_mcmc(start, steps)
    worth = walkers * (steps - 500) / float(np.max(sampler.get_autocorr_time(discard=500)))
    return sampler.get_chain(discard=500, flat=True)[:, :2], worth
