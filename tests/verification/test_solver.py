"""The engine against closed forms of one sheet: slab, surface film, limited bath, held fixer.

Both node families. 16 Lobatto intervals are as exact as the arithmetic. Even nodes make the rate of
mode n low by (n pi / N)^2 / 12 of itself: 8e-6 for n = 1 and N = 320, times at most 10 units of
decay. Where a check has the water right at the face, a film of 1 m/s stands in and adds an error
of its own.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.references import cases, closed_forms, layered
from tests.verification import rig

source = pytest.mark.source
FAMILIES = pytest.mark.parametrize(
    ("family", "intervals", "tolerance"), [("lobatto", 16, 1e-12), ("even", 320, 1e-4)]
)
SLAB = cases.slab().layers
HALF = cases.THICKNESS / 2
INSIDE = cases.PORE_DIFFUSIVITY
FIXER = 100.0  # kg/m3
FULL = 25e-3  # kg/m2
FAST = 1.0
"""m/s, film that stands for a face at the water's own concentration."""


def biot(film: float) -> float:
    return film * HALF / (SLAB[0].porosity * INSIDE)


def tau(seconds: float) -> float:
    return INSIDE * seconds / HALF**2


def filmed(film: float, fix: float, wash: float) -> float:
    """kg/m2 after fixing and washing behind one film: a difference of two series, Crank 4.53."""
    # the truncated series needs some time to have passed; before it the slab is full
    fresh = 1.0 if wash == 0.0 else closed_forms.slab_film_remaining(biot(film), tau(wash))
    return FULL * (fresh - closed_forms.slab_film_remaining(biot(film), tau(fix + wash)))


@source("Crank, The Mathematics of Diffusion, 2nd ed. 1975, eq. 4.18 (sine series)")
@FAMILIES
@pytest.mark.parametrize("fix", [60.0, 300.0])
def test_slab_fixed_and_washed(family: str, intervals: int, tolerance: float, fix: float) -> None:
    """The load, then 5, 10 and 30 minutes of clean water at both faces."""
    bath = rig.conditions(INSIDE, FAST, supply=FIXER, boundless=True)
    clean = rig.conditions(INSIDE, FAST, boundless=True)
    wash = [0.0, 300.0, 600.0, 1800.0]
    found, _ = rig.fixed_then_washed(
        rig.slab(SLAB, family, [intervals]), clean, wash, fixing=bath, fix_seconds=fix
    )
    exact = [
        FULL * closed_forms.slab_fixed_then_washed(*(cases.in_slab_time(t) for t in (fix, t)))
        for t in wash
    ]
    # the film slows mode one by 2/Bi = 2.4e-7 of its rate, 4 units of decay in 30 min: 1e-6
    assert found.sum(axis=1) == pytest.approx(exact, rel=max(tolerance, 2e-6), abs=0.0)


@source("Crank, The Mathematics of Diffusion, 2nd ed. 1975, eq. 4.53 and table 4.2")
@FAMILIES
@pytest.mark.parametrize("film", [1e-7, 3e-6, 1e-2])
def test_slab_behind_films(family: str, intervals: int, tolerance: float, film: float) -> None:
    bath = rig.conditions(INSIDE, film, supply=FIXER, boundless=True)
    clean = rig.conditions(INSIDE, film, boundless=True)
    wash = [0.0, 300.0, 1800.0, 3600.0]
    kind = rig.slab(SLAB, family, [intervals])
    found, _ = rig.fixed_then_washed(kind, clean, wash, fixing=bath, fix_seconds=300.0)
    exact = [filmed(film, 300.0, t) for t in wash]
    assert found.sum(axis=1) == pytest.approx(exact, rel=tolerance, abs=0.0)


@source("Crank 1975 eq. 4.53 and table 4.2 as digits; mpmath sums of the project's check list")
@FAMILIES
@pytest.mark.parametrize(
    ("ratio", "left"),
    [
        (1, (0.9195967475, 0.6811045654, 0.4703972489, 0.2243940038, 0.02435852277)),
        (5, (0.7814165992, 0.3851748424, 0.1624811635, 0.02891592547, 1.629818983e-4)),
        (10, (0.7261177212, 0.3150162671, 0.1134956411, 0.01473307427, 3.222819429e-5)),
    ],
)
def test_film_table(
    family: str, intervals: int, tolerance: float, ratio: float, left: tuple[float, ...]
) -> None:
    """A slab filled to the brim, washed behind films of a given Biot number."""
    film = ratio * SLAB[0].porosity * INSIDE / HALF
    times = [t * HALF**2 / INSIDE for t in (0.1, 0.5, 1.0, 2.0, 5.0)]
    bath = rig.conditions(1e3 * INSIDE, FAST, supply=FIXER, boundless=True)  # full at once
    found, _ = rig.fixed_then_washed(
        rig.slab(SLAB, family, [intervals]),
        rig.conditions(INSIDE, film, boundless=True),
        times,
        fixing=bath,
        fix_seconds=300.0,
    )
    # ten printed digits
    assert found.sum(axis=1) / FULL == pytest.approx(left, rel=max(tolerance, 6e-10), abs=0.0)


@source("Crank 1975 eq. 4.37 and table 4.1 (tan q = -alpha q); mpmath digits of the check list")
@FAMILIES
@pytest.mark.parametrize(
    ("alpha", "given"),
    [
        (1, (0.4192464726, 0.7116284806, 0.9164666607, 0.9893313862)),
        (9, (0.2742887109, 0.5363206357, 0.7932745023, 0.9459972043)),
    ],
)
def test_limited_bath(
    family: str, intervals: int, tolerance: float, alpha: float, given: tuple[float, ...]
) -> None:
    """A full slab gives up its fixer to a closed, stirred bath of alpha times its liquid."""
    times = [t * HALF**2 / INSIDE for t in (0.05, 0.2, 0.5, 1.0)]
    area = 0.7
    volume = alpha * layered.holdup(SLAB) * area
    found, state = rig.fixed_then_washed(
        rig.slab(SLAB, family, [intervals]),
        rig.conditions(INSIDE, FAST),
        times,
        fixing=rig.conditions(1e3 * INSIDE, FAST, supply=FIXER, boundless=True),
        fix_seconds=300.0,
        area=area,
        volume=volume,
    )
    released = (1 - found.sum(axis=1) / FULL) * (1 + alpha) / alpha
    # the film adds 1/Bi = 1e-7 to a resistance that is a quarter of the slab's at first
    assert released == pytest.approx(given, rel=max(tolerance, 1e-6), abs=0.0)
    water = float(state.tanks[1].moving[0]) * volume / area
    assert water + found[-1].sum() == pytest.approx(FULL, rel=1e-10, abs=0.0)


@source("Crank 1975 table 4.1: roots of tan q = -alpha q")
@pytest.mark.parametrize(
    ("alpha", "roots"),
    [
        (0.25, (2.57043156, 5.354031841, 8.302929183)),
        (1, (2.028757838, 4.913180439, 7.978665712)),
        (4, (1.715507153, 4.764808915, 7.885674079)),
        (9, (1.638505155, 4.735846399, 7.868102412)),
        (19, (1.60360533, 4.723530942, 7.860677087)),
    ],
)
def test_limited_bath_roots(alpha: float, roots: tuple[float, ...]) -> None:
    """The engine's rates of a sheet and its closed bath, as the tabulated numbers."""
    kind = rig.slab(SLAB, "lobatto", [20])
    at = rig.conditions(INSIDE, FAST)
    rates = rig.rates(kind, at, volume=alpha * layered.holdup(SLAB), area=1.0)
    even = (
        np.sqrt(rates[1:6:2]) * HALF / math.sqrt(INSIDE)
    )  # rate 0, then even and odd modes in turn
    # printed to nine or ten digits; the film of 1 m/s moves a root by 1/Bi, 1.2e-7
    assert even == pytest.approx(roots, rel=3e-7, abs=0.0)


@source(
    "Crank, The Mathematics of Diffusion, 2nd ed. 1975, ch. 14 (first-order reversible binding)"
)
@FAMILIES
@pytest.mark.parametrize("half_life", [60.0, 1800.0])
def test_slab_with_held_fixer(
    family: str, intervals: int, tolerance: float, half_life: float
) -> None:
    held = layered.Layer(
        thickness=cases.THICKNESS,
        porosity=0.25 / 0.35,
        hindrance=1.0,
        held=0.15,
        release=math.log(2) / half_life,
    )
    wash = [60.0, 600.0, 3600.0]
    found, _ = rig.fixed_then_washed(
        rig.slab([held], family, [intervals]),
        rig.conditions(INSIDE, FAST, boundless=True),
        wash,
        fixing=rig.conditions(INSIDE, FAST, supply=FIXER, boundless=True),
        fix_seconds=300.0,
    )
    exact = np.array(
        [
            closed_forms.slab_with_release(
                300.0,
                t,
                thickness=held.thickness,
                porosity=held.porosity,
                pore_diffusivity=INSIDE,
                held=held.held,
                release=held.release,
            )
            for t in wash
        ]
    )
    # held fixer at a face keeps the face's value for ever, a kink that nodes see to 2e-6 only
    assert found == pytest.approx(FIXER * exact, rel=max(tolerance, 5e-6), abs=0.0)


@source("derived: linear sorption, eps -> eps R and t -> R t give the identical curve")
@pytest.mark.parametrize("family", ["lobatto", "even"])
def test_retardation_stretches_time(family: str) -> None:
    film = 3e-6
    curves = []
    for retardation in (1.0, 2.5):
        layers = [
            layered.Layer(thickness=h, porosity=e, hindrance=f, retardation=retardation)
            for h, e, f in ((25e-6, 0.85, 0.5), (330e-6, 0.58, 0.05))
        ]
        found, _ = rig.fixed_then_washed(
            rig.slab(layers, family, [8, 16]),
            rig.conditions(1e-9, film, boundless=True),
            [t * retardation for t in (0.0, 300.0, 1800.0)],
            fixing=rig.conditions(1e-9, film, supply=FIXER, boundless=True),
            fix_seconds=300.0 * retardation,
        )
        curves.append(found.sum(axis=1) / retardation)
    assert curves[1] == pytest.approx(curves[0], rel=1e-10, abs=0.0)


@source("derived: shares that empty side by side, .97 e^(-t/1.5) + .03 e^(-t/20); mpmath digits")
def test_two_pool_tail() -> None:
    """Two thin papers in clean water, each with one time constant, set by its film."""
    kinds, films = [], []
    for share, constant in ((0.97, 90.0), (0.03, 1200.0)):
        thin = layered.Layer(thickness=1e-6, porosity=1.0, hindrance=1.0)
        kinds.append((share, rig.slab([thin], "lobatto", [6])))
        films.append(1e-6 / 2 / constant)
    minutes = np.array([10.0, 30.0, 60.0])
    found = np.zeros(3)
    for (share, kind), film in zip(kinds, films, strict=True):
        left, _ = rig.fixed_then_washed(
            kind,
            rig.conditions(1e-9, film, boundless=True),
            list(60 * minutes),
            fixing=rig.conditions(1e-9, FAST, supply=FIXER, boundless=True),
            fix_seconds=60.0,
        )
        found += share * left.sum(axis=1) / (FIXER * 1e-6)
    # Bi = 3e-6 / 2 and less: time constants are longer by Bi / 3, of which 7 have passed at most
    exact = [0.01943037458, 0.006693906804, 0.001493612051]
    assert found == pytest.approx(exact, rel=1e-6, abs=0.0)
