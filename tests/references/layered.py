"""Decay rates of a layered sheet from transfer matrices, to 30 digits; nothing here imports washsim.

In a layer, c'' = -w^2 c with w^2 = rate x capacity / De, so (c, De c') travels across it by a 2 x 2 matrix
(Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, ch. 3.7 for the matrix, ch. 2 for composite
walls). A decay rate is where the two face conditions can both hold. Held fixer is not in here: see
closed_forms.slab_with_release.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import mpmath as mp

DIGITS = 30
STEPS_PER_ROOT = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One layer of a sheet.

    thickness m; porosity (liquid share); hindrance (diffusivity in the pores / free); retardation (storage of
    c per pore liquid, 1 = none); held (K of db/dt = release (K c - b), b per volume of layer); release 1/s.
    """

    thickness: float
    porosity: float
    hindrance: float
    retardation: float = 1.0
    held: float = 0.0
    release: float = 0.0

    @property
    def capacity(self) -> float:
        """Amount per volume of layer and per pore concentration, held fixer left out."""
        return self.porosity * self.retardation


def holdup(layers: Sequence[Layer]) -> float:
    """Liquid-equivalent hold-up of the sheet, m3 per m2 (held fixer left out)."""
    return sum(layer.thickness * layer.capacity for layer in layers)


def composite_decay_rates(
    layers: Sequence[Layer], film_front: float, film_back: float, D0: float, count: int
) -> list[Any]:
    """Slowest `count` decay rates (1/s, mpmath numbers) of a layered sheet in clean water.

    film_front, film_back in m/s, infinity for a face at the water's concentration and 0 for a covered one;
    D0 free diffusivity m2/s. Rates rise.
    """
    front, back = mp.mpf(film_front), mp.mpf(film_back)

    def mismatch(rate: Any) -> Any:
        start = (mp.mpf(0), mp.mpf(1)) if mp.isinf(front) else (mp.mpf(1), front)
        concentration, flux = _across(layers, D0, rate, *start)
        return concentration if mp.isinf(back) else flux + back * concentration

    with mp.workdps(DIGITS):
        return _rising_roots(mismatch, _travel(layers, D0), count)


def bath_decay_rates(
    layers: Sequence[Layer],
    film_front: float,
    film_back: float,
    D0: float,
    count: int,
    *,
    volume_per_area: float,
    flow_per_area: float = 0.0,
) -> list[Any]:
    """Slowest `count` positive decay rates (1/s) of identical layered sheets and the stirred bath they share.

    volume_per_area: litres of water over m2 of paper, in m; flow_per_area of clean water in m/s. With no flow
    the rate 0 (equilibrium) belongs to the spectrum too and is left out. For one layer without film this is
    Crank's tan q = -alpha q.
    """
    front, back = mp.mpf(film_front), mp.mpf(film_back)
    volume, flow = mp.mpf(volume_per_area), mp.mpf(flow_per_area)

    def mismatch(rate: Any) -> Any:
        # the state at the front for the unknowns (u, water): u is the flux in, or c itself at a covered face
        covered = front == 0
        by_u = (mp.mpf(1), mp.mpf(0)) if covered else (1 / front, mp.mpf(1))
        by_water = (mp.mpf(0), mp.mpf(0)) if covered else (mp.mpf(1), mp.mpf(0))
        end_u, end_water = _across(layers, D0, rate, *by_u), _across(layers, D0, rate, *by_water)
        if back == 0:
            face = (end_u[1], end_water[1])
        else:
            face = (end_u[0] + end_u[1] / back, end_water[0] - 1 + end_water[1] / back)
        balance = (end_u[1] - by_u[1], end_water[1] - by_water[1] + flow - rate * volume)
        return face[0] * balance[1] - face[1] * balance[0]

    with mp.workdps(DIGITS):
        return _rising_roots(mismatch, _travel(layers, D0), count)


def _across(
    layers: Sequence[Layer], D0: float, rate: Any, concentration: Any, flux: Any
) -> tuple[Any, Any]:
    """Carry (c, De c') from the front face to the back face of the sheet for one decay rate."""
    for layer in layers:
        conduct = mp.mpf(layer.porosity) * layer.hindrance * D0
        wave = mp.sqrt(rate * layer.porosity * layer.retardation / conduct)
        sine, cosine = mp.sin(wave * layer.thickness), mp.cos(wave * layer.thickness)
        concentration, flux = (
            cosine * concentration + sine / (conduct * wave) * flux,
            cosine * flux - conduct * wave * sine * concentration,
        )
    return concentration, flux


def _travel(layers: Sequence[Layer], D0: float) -> Any:
    """Sum of h sqrt(retardation / (hindrance D0)), s^0.5: the phase gained across the sheet per sqrt(rate)."""
    return mp.fsum(
        mp.mpf(layer.thickness) * mp.sqrt(layer.retardation / (mp.mpf(layer.hindrance) * D0))
        for layer in layers
    )


def _rising_roots(mismatch: Callable[[Any], Any], travel: Any, count: int) -> list[Any]:
    """First roots of mismatch(rate), found by a scan in the phase p = sqrt(rate) travel / pi and refined.

    Roots lie about 1 apart in p, pairs closer than 1/40 would be missed; the tests compare the count with the
    eigenvalues of the finite-volume matrix.
    """

    def in_phase(phase: Any) -> Any:
        return mismatch((phase * mp.pi / travel) ** 2)

    step = mp.mpf(1) / STEPS_PER_ROOT
    low, before = step * mp.mpf(10) ** -4, None
    roots: list[Any] = []
    while len(roots) < count:
        value = in_phase(low)
        if before is not None and before[1] * value < 0:
            root = mp.findroot(
                in_phase, (before[0], low), solver="anderson", tol=mp.mpf(10) ** (5 - 2 * DIGITS)
            )
            roots.append((root * mp.pi / travel) ** 2)
        before = (low, value)
        low = low * 2 if low < step else low + step
    return roots
