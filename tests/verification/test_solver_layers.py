"""Layered sheets: decay rates against transfer matrices, layers and films of every kind."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from tests.references import cases, layered
from tests.verification import rig

source = pytest.mark.source
LAYERS = cases.three_layers().layers
FREE, FILM = cases.LAYER_FREE_DIFFUSIVITY, cases.LAYER_FILM
FINE = (10, 10, 20)
"""Lobatto intervals that resolve four modes to the arithmetic."""
ARITHMETIC = 1e-11
"""Relative. Singular values are good to eps times the largest, so a rate to 2 eps times the root of
fastest over slowest, 5e4/s over 4e-4/s: 5e-12."""


@source(
    "Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, ch. 3.7; mpmath, 30 digits"
)
def test_three_layer_rates() -> None:
    """The project's own digits, and the same roots computed here."""
    kind = rig.slab(LAYERS, "lobatto", FINE)
    found = rig.rates(kind, rig.conditions(FREE, FILM))[:4]
    printed = [0.0036129592210427, 0.014422344480247, 0.032302237128467, 0.056889663911826]
    roots = layered.composite_decay_rates(LAYERS, FILM, FILM, FREE, 4)
    assert found == pytest.approx(printed, rel=ARITHMETIC, abs=0.0)
    assert found == pytest.approx([float(root) for root in roots], rel=ARITHMETIC, abs=0.0)
    assert math.log(2) / found[0] == pytest.approx(191.85026405, rel=3e-11, abs=0.0)  # as printed
    assert kind.mobile.sum() == pytest.approx(0.21965e-3, rel=1e-12, abs=0.0)


@source("transfer matrices in mpmath, 30 digits (tests.references.layered)")
@pytest.mark.parametrize(
    ("front", "back"), [(1.0, 1.0), (1.0, 0.0), (0.0, 1.0)], ids=["both", "front", "back"]
)
@pytest.mark.parametrize("film", [3e-7, 1e-5])
def test_rates_with_covered_faces(front: float, back: float, film: float) -> None:
    layers = [
        layered.Layer(thickness=25e-6, porosity=0.85, hindrance=0.5, retardation=2.0),
        layered.Layer(thickness=20e-6, porosity=0.35, hindrance=0.03),
        layered.Layer(thickness=190e-6, porosity=0.58, hindrance=0.2, retardation=1.5),
    ]
    kind = rig.slab(layers, "lobatto", (12, 12, 16))
    found = rig.rates(kind, rig.conditions(FREE, film), open_faces=(front, back))[:4]
    roots = layered.composite_decay_rates(layers, front * film, back * film, FREE, 4)
    assert found == pytest.approx([float(root) for root in roots], rel=ARITHMETIC, abs=0.0)


@source("transfer matrices with a stirred bath, mpmath, 30 digits (tests.references.layered)")
@pytest.mark.parametrize("litres", [1.0, 20.0])
@pytest.mark.parametrize("flow", [0.0, 0.2, 4.0])
def test_rates_of_sheets_and_water(litres: float, flow: float) -> None:
    """Slabs and the water they share, closed and with water running through."""
    area = cases.BATCH_AREA
    at = rig.conditions(FREE, FILM, inflow=flow * 1e-3 / 60)
    kind = rig.slab(LAYERS, "lobatto", FINE)
    found = rig.rates(kind, at, volume=litres * 1e-3, area=area)
    closed = flow == 0.0
    roots = layered.bath_decay_rates(
        LAYERS,
        FILM,
        FILM,
        FREE,
        4,
        volume_per_area=litres * 1e-3 / area,
        flow_per_area=flow * 1e-3 / 60 / area,
    )
    start = 1 if closed else 0
    expected = [float(root) for root in roots]
    assert found[start : start + 4] == pytest.approx(expected, rel=ARITHMETIC, abs=0.0)
    if closed:
        # equilibrium, the square of a singular value that is zero to eps times the largest, 200
        assert found[0] == pytest.approx(0.0, abs=1e-20)


@source("Carslaw and Jaeger 1959 ch. 3.7, mpmath roots; second order of the even nodes")
def test_even_rates_extrapolate_to_the_roots() -> None:
    """Even nodes with interfaces: N and 2N extrapolated leave the fourth order."""
    at = rig.conditions(FREE, FILM)
    coarse, fine = (rig.rates(rig.slab(LAYERS, "even", (n, n, 8 * n)), at)[:4] for n in (10, 20))
    roots = layered.composite_decay_rates(LAYERS, FILM, FILM, FREE, 4)
    expected = np.array([float(root) for root in roots])
    # (k dx)^4 of mode four in the base: (4 pi / 80)^4 / 360
    assert fine + (fine - coarse) / 3 == pytest.approx(expected, rel=3e-6, abs=0.0)
    assert np.all(np.abs(fine / expected - 1) > 1e-5)  # so it is the extrapolation that agrees


@source("derived: one layer cut into three equal ones is the same sheet")
@pytest.mark.parametrize("family", ["lobatto", "even"])
def test_cutting_a_layer_changes_nothing(family: str) -> None:
    whole = layered.Layer(thickness=300e-6, porosity=0.6, hindrance=0.1, held=0.1, release=1e-3)
    third = layered.Layer(thickness=100e-6, porosity=0.6, hindrance=0.1, held=0.1, release=1e-3)
    at = rig.conditions(1e-9, FILM)
    one, three = (
        rig.rates(rig.slab(layers, family, count), at)[:4]
        for layers, count in (([whole], [30]), ([third] * 3, [10] * 3))
    )
    # even: the very same nodes; Lobatto: both exact
    assert three == pytest.approx(one, rel=ARITHMETIC, abs=0.0)


@source("derived: a closed vessel ends even, c = all fixer / (water + liquid + held capacity)")
@pytest.mark.parametrize("family", ["lobatto", "even"])
def test_a_closed_tray_ends_even(family: str) -> None:
    layers = [
        layered.Layer(thickness=h, porosity=e, hindrance=f, held=0.05, release=1 / 300)
        for h, e, f in ((25e-6, 0.85, 0.5), (20e-6, 0.35, 0.1), (330e-6, 0.58, 0.05))
    ]
    kind = rig.slab(layers, family, (6, 6, 12))
    at = rig.conditions(FREE, FILM)
    left, state = rig.fixed_then_washed(
        kind,
        at,
        [0.0, 1e5],
        fixing=rig.conditions(FREE, FILM, supply=100.0, boundless=True),
        fix_seconds=300.0,
        area=0.7,
        volume=2e-3,
    )
    total = 0.7 * left[0].sum()
    capacity = layered.holdup(layers) + 0.05 * 375e-6
    even = total / (2e-3 + 0.7 * capacity)
    # nothing drifts in 28 hours: the rate of equilibrium is zero to 1e-20/s
    assert float(state.tanks[1].moving[0]) == pytest.approx(even, rel=1e-12, abs=0.0)
    assert left[1].sum() == pytest.approx(even * capacity, rel=1e-12, abs=0.0)
    assert state.lots[0].state[0] == pytest.approx(np.full(kind.size, even), rel=1e-12, abs=0.0)


@source("derived: two prints stuck back to back are one of double thickness with its middle closed")
@pytest.mark.parametrize("family", ["lobatto", "even"])
def test_a_covered_face_mirrors(family: str) -> None:
    base, curves = LAYERS[2], []
    for layers, faces in (([base], (1.0, 0.0)), ([base, base], (1.0, 1.0))):
        found, _ = rig.fixed_then_washed(
            rig.slab(layers, family, [20] * len(layers)),
            rig.conditions(FREE, FILM, boundless=True),
            [300.0, 1800.0],
            fixing=rig.conditions(FREE, 1.0, supply=100.0, boundless=True),
            fix_seconds=1e5,  # full, so it does not matter that fixing goes through all faces
            open_faces=faces,
        )
        curves.append(found.sum(axis=1) / len(layers))
    assert curves[0] == pytest.approx(curves[1], rel=ARITHMETIC, abs=0.0)


@source("derived: layers in reverse order, the sheet turned over")
def test_turning_the_sheet_over() -> None:
    at = rig.conditions(FREE, FILM)
    for faces in itertools.product((0.0, 1.0), repeat=2):
        there = rig.rates(rig.slab(LAYERS, "lobatto", FINE), at, open_faces=faces)
        back = rig.rates(rig.slab(LAYERS[::-1], "lobatto", FINE[::-1]), at, open_faces=faces[::-1])
        # the same matrix in another order; abs for the zero rate of two covered faces
        assert there == pytest.approx(back, rel=ARITHMETIC, abs=1e-20)
