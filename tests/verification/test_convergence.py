"""Both node families: exactness of their parts, and the order at which their errors fall."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from numpy.polynomial import Polynomial, legendre

from tests.references import cases, closed_forms, layered
from tests.verification import rig
from washsim.engine.space import Slab, even_layer, lobatto_layer, space

source = pytest.mark.source
BOTH = pytest.mark.parametrize("family", ["even", "lobatto"])
SLAB = cases.slab().layers
INSIDE = cases.PORE_DIFFUSIVITY
# jumps of De by 40 and by 100 at the interfaces, and of porosity
JUMPS = [
    layered.Layer(thickness=60e-6, porosity=0.9, hindrance=0.4, retardation=1.5),
    layered.Layer(thickness=40e-6, porosity=0.3, hindrance=0.03),
    layered.Layer(thickness=100e-6, porosity=0.6, hindrance=1.0),
]


# parts


@source("Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, eq. 25.4.32 (Lobatto)")
@pytest.mark.parametrize("intervals", [1, 2, 3, 4, 8, 16, 32])
def test_lobatto_weights_are_exact_to_degree_2n_minus_1(intervals: int) -> None:
    nodes, weights, _ = lobatto_layer(intervals)
    for degree in range(2 * intervals):
        # weights are positive and add up to one, so rounding stays at a few eps
        assert weights @ nodes**degree == pytest.approx(1 / (degree + 1), rel=1e-13, abs=0.0)
    if intervals <= 8:  # beyond, the remainder drowns in rounding
        n, short = intervals, 1 / (2 * intervals + 1) - weights @ nodes ** (2 * intervals)
        remainder = (n + 1) * n**3 * math.factorial(n - 1) ** 4
        remainder /= (2 * n + 1) * math.factorial(2 * n) ** 2
        assert short == pytest.approx(-remainder, rel=1e-5, abs=0.0)


@source("Abramowitz and Stegun 1964, table 25.6: abscissas and weights of Lobatto's rule")
def test_lobatto_table() -> None:
    nodes, weights, _ = lobatto_layer(4)
    assert 2 * nodes - 1 == pytest.approx([-1, -0.65465367, 0, 0.65465367, 1], abs=5e-9)
    assert 2 * weights == pytest.approx(
        [0.1, 0.54444444, 0.71111111, 0.54444444, 0.1], rel=0, abs=5e-9
    )


@source("trapezium rule, Abramowitz and Stegun 1964, eq. 25.4.2: exact for lines")
@pytest.mark.parametrize("intervals", [1, 2, 7, 80])
def test_even_weights(intervals: int) -> None:
    nodes, weights, _ = even_layer(intervals)
    assert weights.sum() == pytest.approx(1.0, rel=1e-14)
    assert weights @ nodes == pytest.approx(0.5, rel=1e-14)
    # error of x^2 is h^2 / 6
    assert weights @ nodes**2 - 1 / 3 == pytest.approx(intervals**-2 / 6, rel=1e-9, abs=0.0)


def stiffness(kind: Slab) -> np.ndarray:
    return kind.flux[0].T @ kind.flux[0]


@source("derived: summation by parts; integral of u' v' of polynomials, known exactly")
@pytest.mark.parametrize("intervals", [2, 4, 12, 16])
def test_lobatto_stiffness_is_the_exact_integral(intervals: int) -> None:
    """u' v' has degree 2n - 2 at most, which the weights still integrate exactly."""
    nodes, _, flux = lobatto_layer(intervals)
    matrix = flux.T @ flux
    for p, q in itertools.combinations_with_replacement(range(intervals + 1), 2):
        exact = p * q / (p + q - 1) if p and q else 0.0
        # entries of the matrix grow like n^2 and cancel
        assert nodes**p @ matrix @ nodes**q == pytest.approx(exact, rel=1e-11, abs=1e-11)


@source("derived: summation by parts, discrete Gauss theorem across interfaces")
@BOTH
def test_nothing_is_created_inside(family: str) -> None:
    """Symmetric, no row sum, no negative energy, one constant that rests; for jumps of De too."""
    kind = rig.slab(JUMPS, family, (5, 7, 9))
    matrix = stiffness(kind)
    scale = np.abs(matrix).max()
    assert np.array_equal(matrix, matrix.T)
    assert matrix.sum(axis=1) == pytest.approx(np.zeros(kind.size), abs=1e-13 * scale)
    values = np.linalg.eigvalsh(matrix)
    assert values.min() > -1e-13 * scale
    assert np.sum(values < 1e-10 * scale) == 1
    liquid = sum(x.thickness * x.capacity for x in JUMPS)
    assert kind.mobile.sum() == pytest.approx(liquid, rel=1e-14)
    assert kind.mobile.min() > 0


@source("derived: one flux through layers in series, sum of thickness / De")
@BOTH
def test_resistances_in_series(family: str) -> None:
    """A steady state with De jumping is piecewise straight: both families hold it exactly."""
    kind = rig.slab(JUMPS, family, (5, 7, 9))
    resistances = [x.thickness / (x.porosity * x.hindrance) for x in JUMPS]
    drops = np.concatenate([[0.0], np.cumsum(resistances)]) / sum(resistances)
    state = np.interp(kind.space.nodes, np.arange(4), drops)
    through = stiffness(kind) @ state
    expected = np.zeros(kind.size)
    expected[0], expected[-1] = -1 / sum(resistances), 1 / sum(resistances)
    assert through == pytest.approx(expected, abs=1e-13 * np.abs(stiffness(kind)).max())


@source("derived: second derivative with off-diagonals <= 0 (M-matrix) cannot undershoot")
def test_even_nodes_are_monotone() -> None:
    matrix = stiffness(rig.slab(JUMPS, "even", (5, 7, 9)))
    off = matrix - np.diag(np.diag(matrix))
    assert off.max() <= 0.0


# sampling


@source("derived: interpolation reproduces polynomials up to its degree")
@pytest.mark.parametrize(("family", "degree"), [("even", 1), ("lobatto", 5)])
def test_sample_reproduces_polynomials(family: str, degree: int) -> None:
    grid = space(family, (5, 6))
    positions = np.array([0.0, 0.013, 0.4, 0.999, 1.0, 1.5, 1.87, 2.0])
    for power in range(degree + 1):
        found = grid.sample(positions) @ grid.nodes**power
        assert found == pytest.approx(positions**power, rel=1e-12, abs=1e-13)
    assert grid.sample(grid.nodes) == pytest.approx(np.eye(grid.size), abs=1e-15)


@source("derived: interpolation in pieces, linear on each side of a kink in the data")
def test_even_sample_is_piecewise_linear() -> None:
    grid = space("even", (4, 2))
    values = np.abs(grid.nodes - 1.0)
    positions = np.linspace(0, 2, 33)
    assert grid.sample(positions) @ values == pytest.approx(np.abs(positions - 1.0), abs=1e-14)
    hat = np.eye(grid.size)[1]  # at 0.25, between 0 and 0.5
    found = grid.sample(np.array([0.125, 0.25, 0.4375, 0.6])) @ hat
    assert found == pytest.approx([0.5, 1.0, 0.25, 0.0], abs=1e-14)


@source("derived: integrals of polynomials over any window")
@BOTH
@pytest.mark.parametrize(("start", "stop"), [(0.0, 2.0), (0.3, 0.7), (0.4, 1.6), (1.0, 2.0)])
def test_window_integrates_what_is_interpolated(family: str, start: float, stop: float) -> None:
    grid = space(family, (5, 6))
    weights = grid.window(start, stop)
    assert weights.shape == (2, grid.size)
    for power in range(2 if family == "even" else 6):
        whole = Polynomial([0] * power + [1]).integ()
        for j in range(2):
            low, high = max(start, j), min(stop, j + 1)
            exact = whole(high) - whole(low) if high > low else 0.0
            assert weights[j] @ grid.nodes**power == pytest.approx(exact, rel=1e-12, abs=1e-14)
    halves = grid.window(start, 0.9) + grid.window(0.9, stop) if start < 0.9 < stop else weights
    assert halves == pytest.approx(weights, abs=1e-14)


@source("derived: the whole window of even nodes is the trapezium rule")
def test_window_of_everything() -> None:
    for family, counts in (("even", (4, 9)), ("lobatto", (4, 9))):
        grid = space(family, counts)
        # Lobatto weights integrate the interpolating polynomial exactly (interpolatory rule)
        assert grid.window(0.0, 2.0) == pytest.approx(grid.weights, abs=1e-14)


# order


def washed(layers: list[layered.Layer], family: str, intervals: list[int], film: float) -> float:
    """kg/m2 after 300 s in fixer and 600 s of clean water, films on both faces."""
    found, _ = rig.fixed_then_washed(
        rig.slab(layers, family, intervals),
        rig.conditions(INSIDE, film, boundless=True),
        [600.0],
        fixing=rig.conditions(INSIDE, film, supply=100.0, boundless=True),
        fix_seconds=300.0,
    )
    return float(found.sum())


def exact_slab(film: float) -> float:
    half = cases.THICKNESS / 2
    biot = film * half / (SLAB[0].porosity * INSIDE)
    left = [closed_forms.slab_film_remaining(biot, INSIDE * t / half**2) for t in (600.0, 900.0)]
    return 25e-3 * (left[0] - left[1])


@source("Crank 1975 eq. 4.53; second order of central differences, Crank 1975 ch. 8")
def test_order_of_even_nodes() -> None:
    errors = [abs(washed([*SLAB], "even", [n], 3e-6) - exact_slab(3e-6)) for n in (10, 20, 40, 80)]
    orders = [math.log2(a / b) for a, b in itertools.pairwise(errors)]
    assert orders == pytest.approx([2.0, 2.0, 2.0], abs=0.1)
    assert orders[-1] == pytest.approx(2.0, abs=0.01)


@source("transfer-matrix root in mpmath, across jumps of De; Crank 1975 ch. 8 for the order")
def test_order_of_even_nodes_across_interfaces() -> None:
    at = rig.conditions(1e-9, 3e-6)
    root = float(layered.composite_decay_rates(JUMPS, 3e-6, 3e-6, 1e-9, 1)[0])
    errors = [
        abs(rig.rates(rig.slab(JUMPS, "even", (n, n, n)), at)[0] - root) for n in (4, 8, 16, 32)
    ]
    orders = [math.log2(a / b) for a, b in itertools.pairwise(errors)]
    assert orders == pytest.approx([2.0, 2.0, 2.0], abs=0.1)


@source("Canuto, Hussaini, Quarteroni, Zang, Spectral Methods, 2006, ch. 5; the bound from memory")
def test_lobatto_nodes_converge_spectrally() -> None:
    """With waves of k h in a layer of n intervals a rate is off by less than (e k h / 4 n)^2n."""
    at = rig.conditions(1e-9, 3e-6)
    roots = np.array([float(r) for r in layered.composite_decay_rates(JUMPS, 3e-6, 3e-6, 1e-9, 4)])
    waves = max(x.thickness * math.sqrt(x.retardation / (x.hindrance * 1e-9)) for x in JUMPS)
    waves = waves * np.sqrt(roots)
    errors = {
        n: np.abs(rig.rates(rig.slab(JUMPS, "lobatto", (n, n, n)), at)[:4] / roots - 1)
        for n in (4, 6, 8, 10)
    }
    for n, error in errors.items():
        assert np.all(error < (math.e * waves / (4 * n)) ** (2 * n) + 1e-13)
    assert np.all(errors[8] < 1e-3 * errors[4])
    # no fixed power of n: mode 4 gains from 8 to 10 at a higher power than from 4 to 6
    slow, steep = (
        math.log(errors[a][3] / errors[b][3]) / math.log(b / a) for a, b in ((4, 6), (8, 10))
    )
    assert steep > 2 * slow > 20


@source("Crank 1975 eq. 4.53, fixed 300 s and washed 600 s")
def test_lobatto_slab_error_falls_a_thousandfold() -> None:
    six, twelve = (
        abs(washed([*SLAB], "lobatto", [n], 3e-6) - exact_slab(3e-6)) / exact_slab(3e-6)
        for n in (6, 12)
    )
    assert twelve < 1e-3 * six
    assert twelve < 1e-9
    even = abs(washed([*SLAB], "even", [120], 3e-6) - exact_slab(3e-6)) / exact_slab(3e-6)
    assert twelve < 1e-4 * even


@source("derived: nodes symmetric about the middle, Legendre's polynomials are even or odd")
@pytest.mark.parametrize("intervals", [2, 5, 24])
def test_lobatto_nodes_are_symmetric_and_roots(intervals: int) -> None:
    nodes, weights, _ = lobatto_layer(intervals)
    assert nodes + nodes[::-1] == pytest.approx(np.ones(intervals + 1), abs=1e-15)
    assert weights == pytest.approx(weights[::-1], rel=1e-14)
    slope = legendre.Legendre.basis(intervals).deriv()
    # roots of P'_n: the slope there is small against its value n (n + 1) / 2 at the end
    inner = slope(2 * nodes[1:-1] - 1)
    assert inner == pytest.approx(np.zeros(intervals - 1), abs=1e-11 * intervals**2)
