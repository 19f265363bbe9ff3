"""Closed forms from the literature that the solver is judged by; nothing here imports washsim.

Crank means J. Crank, The Mathematics of Diffusion, 2nd edition, Oxford 1975. Equation numbers 4.18 and
4.37 are those of the project's check list; the other numbers are from memory and may be off by one.
Times come as the pure numbers of the literature: T = D t / L^2 (L whole thickness, m) or
tau = D t / l^2 (l half thickness, m). D is the diffusivity inside the pores, m2/s.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import constants, optimize, special

Array = NDArray[np.float64]
SERIES_TERMS = 400
SHORT_TIME = 0.02  # below it the image series needs two terms, above it the sine series needs five


def slab_remaining(time: float) -> float:
    """Fraction left in a uniformly loaded slab with both faces held at zero, at T = D t / L^2.

    Crank eq. 4.18 (sine series) and, for short times, its image form eq. 4.20.
    """
    if time <= 0.0:
        return 1.0
    if time < SHORT_TIME:
        root = math.sqrt(time)
        images = sum((-1.0) ** n * _ierfc(n / (2.0 * root)) for n in range(1, 8))
        return 1.0 - 4.0 * root * (1.0 / math.sqrt(math.pi) + 2.0 * images)
    odd = np.arange(1, 2 * SERIES_TERMS, 2)
    return float(np.sum(8.0 / (odd * math.pi) ** 2 * np.exp(-((odd * math.pi) ** 2) * time)))


def _ierfc(z: float) -> float:
    """Integral of erfc from z to infinity."""
    return math.exp(-z * z) / math.sqrt(math.pi) - z * math.erfc(z)


def slab_fixed_then_washed(fix_time: float, wash_time: float) -> float:
    """Fraction of the full load in a slab fixed for T = fix_time and washed for T = wash_time.

    Both faces at the bath while fixing and at clean water while washing. Every sine mode filled to
    1 - exp(-a fix) decays as exp(-a wash), so the sum is a difference of two Crank 4.18 series. The two
    T may belong to different diffusivities (a colder wash).
    """
    return slab_remaining(wash_time) - slab_remaining(fix_time + wash_time)


def slab_profile(position: ArrayLike, fix_time: float, wash_time: float) -> Array:
    """Concentration / bath concentration at x/L = position after fixing and washing, both faces open.

    Crank eq. 4.17 for the uptake, each sine mode then decaying by itself; the shape of position is kept.
    """
    x = np.asarray(position, dtype=float)[..., None]
    odd = np.arange(1, 2 * SERIES_TERMS, 2)
    rate = (odd * math.pi) ** 2
    filled = 4.0 / (odd * math.pi) * (1.0 - np.exp(-rate * fix_time))
    washed: Array = filled * np.exp(-rate * wash_time) * np.sin(odd * math.pi * x)
    return np.asarray(washed.sum(axis=-1))


def slab_one_face_washed(fix_time: float, wash_time: float) -> float:
    """Fraction of the full load after fixing through both faces and washing through one.

    The covered face is the mirror plane of a slab of double thickness; the start profile is Crank's
    eq. 4.17 at fix_time, mirrored and expanded in that slab's odd sines. Good to 1e-9 for times above 1e-3.
    """
    m = np.arange(1, 2 * SERIES_TERMS, 2)[:, None]
    n = np.arange(1, 2 * SERIES_TERMS, 2)[None, :]
    sign = np.where((n - 1) // 2 % 2 == 0, 1.0, -1.0)
    overlap = 2.0 / math.pi * sign * m / (m**2 - n**2 / 4.0)
    missing = 4.0 / (m * math.pi) * np.exp(-((m * math.pi) ** 2) * fix_time)
    amplitude = 4.0 / (n * math.pi) - (missing * overlap).sum(axis=0)
    decay = np.exp(-((n * math.pi / 2.0) ** 2) * wash_time)
    return float((amplitude * 2.0 / (n * math.pi) * decay).sum())


def time_to_fraction(fraction: float, fix_time: float, faces: int = 2) -> float:
    """T of clean-water washing after which `fraction` of the full load is left (faces open in the wash)."""
    left = slab_fixed_then_washed if faces == 2 else slab_one_face_washed
    return float(
        optimize.brentq(lambda t: math.log(left(fix_time, t) / fraction), 1e-3, 50.0, xtol=1e-14)
    )


def slab_with_release(
    fix_s: float,
    wash_s: float,
    *,
    thickness: float,
    porosity: float,
    pore_diffusivity: float,
    held: float,
    release: float,
) -> tuple[float, float]:
    """Mobile and held amount per area and per bath concentration (m) of a slab that also holds fixer.

    porosity dc/dt + db/dt = porosity D c'', db/dt = release (held c - b); m, m2/s, 1/s; both faces at the
    bath for fix_s, then at clean water for wash_s seconds. Each sine mode is a pair of linear rate equations
    (Crank ch. 14, diffusion with a first-order reversible reaction), solved here by its two exponentials.
    """
    odd = np.arange(1, 2 * SERIES_TERMS, 2)
    beta = odd * math.pi / thickness
    source = 4.0 / (odd * math.pi)
    mobile, bound = np.zeros_like(source), np.zeros_like(source)
    for face, duration in ((1.0, fix_s), (0.0, wash_s)):
        rest_c, rest_b = face * source, face * held * source
        matrix = np.empty((odd.size, 2, 2))
        matrix[:, 0, 0] = -pore_diffusivity * beta**2 - release * held / porosity
        matrix[:, 0, 1] = release / porosity
        matrix[:, 1, 0] = release * held
        matrix[:, 1, 1] = -release
        values, vectors = np.linalg.eig(matrix)
        offset = np.stack([mobile - rest_c, bound - rest_b], axis=-1)
        weights = np.linalg.solve(vectors, offset[..., None])[..., 0]
        now = np.einsum("nij,nj->ni", vectors, weights * np.exp(values * duration)).real
        mobile, bound = now[:, 0] + rest_c, now[:, 1] + rest_b
    share = 2.0 / (odd * math.pi) * thickness
    # the held part does not vanish at the faces, so its series stops slowly: the modes left out follow the face
    at_face = held * -math.expm1(-release * fix_s) * math.exp(-release * wash_s)
    rest = at_face * (thickness - float(np.sum(source * share)))
    return float(np.sum(porosity * mobile * share)), float(np.sum(bound * share)) + rest


def film_roots(biot: float, count: int) -> Array:
    """First roots of beta tan(beta) = Bi, shape (count,). Crank eq. 4.51 and table 4.2."""
    return np.array(
        [
            optimize.brentq(
                lambda b: b * math.sin(b) - biot * math.cos(b),
                n * math.pi,
                (n + 0.5) * math.pi,
                xtol=1e-15,
            )
            for n in range(count)
        ]
    )


def slab_film_remaining(biot: float, tau: float, count: int = 60) -> float:
    """Fraction left in a uniformly loaded slab behind two surface films; Bi = k l / De, tau = D t / l^2.

    Crank eq. 4.53. Truncation is below 1e-12 for tau above 1e-3.
    """
    beta = film_roots(biot, count)
    weight = 2.0 * biot**2 / (beta**2 * (beta**2 + biot**2 + biot))
    return float(np.sum(weight * np.exp(-(beta**2) * tau)))


def limited_bath_roots(alpha: float, count: int) -> Array:
    """First non-zero roots of tan(q) = -alpha q, shape (count,). Crank eq. 4.38 and table 4.1."""
    return np.array(
        [
            optimize.brentq(
                lambda q: math.sin(q) + alpha * q * math.cos(q),
                (n + 0.5) * math.pi,
                (n + 1.0) * math.pi,
                xtol=1e-15,
            )
            for n in range(count)
        ]
    )


def limited_bath_uptake(alpha: float, tau: float, count: int = 60) -> float:
    """M_t / M_infinity of a slab in a limited stirred bath without film, tau = D t / l^2. Crank eq. 4.37.

    alpha = bath volume / (slab volume x capacity). It holds for release too: the fraction left at the end is
    then 1 / (1 + alpha).
    """
    q = limited_bath_roots(alpha, count)
    weight = 2.0 * alpha * (1.0 + alpha) / (1.0 + alpha + alpha**2 * q**2)
    return 1.0 - float(np.sum(weight * np.exp(-(q**2) * tau)))


def cross_current(ratio: float, changes: int) -> float:
    """Fraction left after n fresh equilibrium baths, ratio E = bath volume / held liquid: (1 + E)^-n.

    The law of equilibrium washing (Hickman and Spencer 1922, as quoted in reviews; also plain arithmetic).
    """
    return (1.0 + ratio) ** -changes


def counter_current(ratio: float, trays: int) -> float:
    """Fraction left after k equilibrium trays in counter-current, ratio E = total water / held liquid.

    Kremser's stage formula (Ind. Eng. Chem. 22, 1930; Perry's Chemical Engineers' Handbook).
    """
    if ratio == 1.0:
        return 1.0 / (trays + 1.0)
    return (ratio - 1.0) / (ratio ** (trays + 1) - 1.0)


def stirred_tank(flow: float, volume: float, time: float) -> float:
    """Fraction left in a stirred tank of `volume` under `flow` (volume per second) after `time` s: exp(-q t / V)."""
    return math.exp(-flow * time / volume)


def two_pools(time: float, pools: Sequence[tuple[float, float]]) -> float:
    """Fraction left after `time` when pools of (share, time constant), in the unit of `time`, empty side by side."""
    return sum(share * math.exp(-time / constant) for share, constant in pools)


def puddle_changes(held: float, volume: float, puddle: float, changes: int) -> float:
    """Fraction of the load left in the paper after changes of water with a puddle, ideal mixing.

    Volumes in one unit. Every change pours a fresh `volume` on the puddle that stayed; the paper's held liquid
    and all water mix; all but the puddle is dumped. Before the first pour the tray keeps a clean puddle.
    Two-line mass balance: c1 = h / (h + V + p), then c_next = c (h + p) / (h + p + V).
    """
    everything = held + volume + puddle
    return held / everything * ((held + puddle) / everything) ** (changes - 1)


def nernst_diffusivity(
    limiting_conductivity: float, charge: int, temperature: float = 298.15
) -> float:
    """Diffusivity (m2/s) of an ion from its limiting conductivity per equivalent (S m2 / eq) at `temperature` K.

    Nernst: D = R T lambda / (|z| F^2) (Robinson and Stokes, Electrolyte Solutions, 2nd ed. 1959, ch. 11).
    """
    faraday = constants.e * constants.N_A
    return float(constants.R * temperature * limiting_conductivity / (abs(charge) * faraday**2))


def nernst_hartley(cation: float, anion: float, cation_charge: int, anion_charge: int) -> float:
    """Diffusivity (m2/s) of a salt from those of its ions: (z+ + z-) D+ D- / (z+ D+ + z- D-).

    Nernst and Hartley (Robinson and Stokes, 2nd ed. 1959, ch. 11). Charges by magnitude.
    """
    plus, minus = abs(cation_charge), abs(anion_charge)
    return (plus + minus) * cation * anion / (plus * cation + minus * anion)


def half_space_profile(distance: float, diffusivity: float, time: float) -> float:
    """c / c0 at `distance` m from a face held at c0 for `time` s: erfc(x / (2 sqrt(D t))). Crank eq. 3.13."""
    return float(special.erfc(distance / (2.0 * math.sqrt(diffusivity * time))))


def half_space_uptake(concentration: float, diffusivity: float, time: float) -> float:
    """Amount per area (unit of c x m) taken up by a half space: 2 c0 sqrt(D t / pi). Crank eq. 3.15."""
    return 2.0 * concentration * math.sqrt(diffusivity * time / math.pi)
