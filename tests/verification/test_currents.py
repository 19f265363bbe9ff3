"""Still water: the convection correlations against a general heat-transfer library and tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from ht import conv_free_immersed as free

from washsim import currents, tables
from washsim.liquids import density, viscosity
from washsim.vessels import Water

ROOM = 293.15
SIZE = (0.3, 0.4)  # m
RIM = 0.3 * 0.4 / 1.4  # m, area over rim
ION = 112.126 / 158.11  # of the anhydrous sodium salt


def schmidt() -> float:
    return viscosity(ROOM) / density(ROOM) / Water().free_diffusivity(ROOM)


@pytest.mark.source("ht, Nu_horizontal_plate_McAdams (library; McAdams 1954)")
@pytest.mark.parametrize("salt_g_l", [100, 1, 0.1, 0.01, 1e-4])
def test_face_down_is_mcadams_on_area_over_rim(salt_g_l):
    """Same correlation, so to rounding; the library's range ends are ours."""
    excess = salt_g_l * ION
    ra = currents.rayleigh(excess, "sodium", RIM, ROOM)
    sherwood = free.Nu_horizontal_plate_McAdams(schmidt(), ra / schmidt(), buoyancy=True)
    expected = sherwood * Water().free_diffusivity(ROOM) / RIM
    assert currents.face_down(excess, "sodium", *SIZE, ROOM) == pytest.approx(expected, rel=1e-6)


@pytest.mark.source("derived: 0.54 Ra^(1/4) and 0.15 Ra^(1/3) meet at (0.54 / 0.15)^12")
def test_a_film_has_no_step_where_one_law_takes_over():
    """The library steps up by 6 % at 1e7, the end of the range of the first."""
    meet = (0.54 / 0.15) ** 12
    each = currents.rayleigh(1.0, "sodium", RIM, ROOM)
    near = [currents.face_down(meet / each * (1 + x), "sodium", *SIZE, ROOM) for x in (-1e-9, 1e-9)]
    expected = 0.54 * meet**0.25 * Water().free_diffusivity(ROOM) / RIM
    assert near == pytest.approx([expected, expected], rel=1e-8)
    ends = [1e7 * (1 - 1e-9), 1e7 * (1 + 1e-9)]
    library = [free.Nu_horizontal_plate_McAdams(1.0, ra, buoyancy=True) for ra in ends]
    assert library[1] / library[0] == pytest.approx(1.06, abs=0.01)


@pytest.mark.source("ht, Nu_horizontal_plate_McAdams with buoyancy=False (library)")
def test_face_up_is_mcadams_where_the_library_has_it_right():
    """Below Ra = 1e10 only: above it the library returns the unstable law."""
    excess = 1.0 * ION
    ra = currents.rayleigh(excess, "sodium", RIM, ROOM)
    assert ra < 1e10
    sherwood = free.Nu_horizontal_plate_McAdams(schmidt(), ra / schmidt(), buoyancy=False)
    expected = sherwood * Water().free_diffusivity(ROOM) / RIM
    assert currents.face_up(excess, "sodium", *SIZE, ROOM) == pytest.approx(expected, rel=1e-6)
    strong = currents.face_up(100.0, "sodium", *SIZE, ROOM)
    assert strong < currents.face_down(100.0, "sodium", *SIZE, ROOM) / 4


@pytest.mark.source("ht, Nu_vertical_plate_Churchill (library; Churchill and Chu 1975)")
@pytest.mark.parametrize("salt_g_l", [100, 1, 0.01])
def test_hanging_is_churchill_and_chu(salt_g_l):
    excess = salt_g_l * ION
    ra = currents.rayleigh(excess, "sodium", 0.3, ROOM)
    sherwood = free.Nu_vertical_plate_Churchill(schmidt(), ra / schmidt())
    expected = sherwood * Water().free_diffusivity(ROOM) / 0.3
    assert currents.hanging(excess, "sodium", 0.3, ROOM) == pytest.approx(expected, rel=1e-6)


@pytest.mark.source("thermo, Laliberte density fit of sodium thiosulfate (library)")
@pytest.mark.parametrize("grams", [1.0, 10.0])
def test_the_weight_of_dilute_fixer(grams):
    """The slope is rounded to two digits and the fit extrapolates below 25 C: 1 %."""
    from thermo.electrochem import Laliberte_density

    total = density(ROOM) + 0.8 * grams
    for _ in range(20):  # mass fraction of a given g/L needs the density it makes
        total = Laliberte_density(ROOM, [grams / total], ["7772-98-7"])
    water = Laliberte_density(ROOM, [0.0], ["7772-98-7"])
    found = currents.excess_density(grams * ION, "sodium")
    assert found == pytest.approx(total - water, rel=1e-2)


@pytest.mark.source("derived: expansion of water by IAPWS-95 through chemicals (library)")
def test_the_warmth_that_weighs_as_much():
    from chemicals import iapws

    step = iapws.iapws95_rho(ROOM - 0.5, 101325.0) - iapws.iapws95_rho(ROOM + 0.5, 101325.0)
    weight = currents.excess_density(0.01 * ION, "sodium")
    # a hundredth of a gram per litre weighs as much as 0.04 K
    assert currents.equal_warming(weight, ROOM) == pytest.approx(weight / step, rel=1e-3)
    assert currents.equal_warming(weight, ROOM) == pytest.approx(0.039, abs=0.001)


@pytest.mark.source(
    "Crank, The Mathematics of Diffusion, 2nd ed., 1975, eq. 3.15 (flux into c = 0)"
)
def test_a_layer_on_the_floor_only_grows_by_diffusion():
    """Flux at a face held at c0 is c0 sqrt(D / (pi t)); numbers by hand at 1 and 30 min."""
    tracer = Water().free_diffusivity(ROOM)
    for minutes in (1, 30):
        expected = math.sqrt(tracer / (math.pi * 60 * minutes))
        assert currents.on_the_floor(60 * minutes, ROOM) == pytest.approx(expected, rel=1e-12)


@pytest.mark.source("derived: Richardson number g' d / U2 at its critical value")
def test_a_few_centimetres_a_second_tear_up_the_strongest_layer():
    layer = 1e-3
    for salt_g_l in (100, 1, 0.01):
        excess = salt_g_l * ION
        speed = currents.breaking_speed(excess, "sodium", layer)
        reduced = 9.80665 * currents.excess_density(excess, "sodium") / density(ROOM)
        critical = tables.datum("liquids.convection.richardson.critical").value
        assert reduced * layer / speed**2 == pytest.approx(critical, rel=1e-12)
    assert 0.03 < currents.breaking_speed(100 * ION, "sodium", layer) < 0.1


@pytest.mark.source("derived: flow between plates that runs full carries its load out at the end")
def test_a_narrow_slot_runs_full():
    """Mean speed g drho b2 / (12 mu) times b c out below, from two faces of height H: Ra' / 24."""
    excess, gap, height = 0.01 * ION, 1e-4, 0.3
    weight = currents.excess_density(excess, "sodium")
    speed = 9.80665 * weight * gap**2 / (12 * viscosity(ROOM))
    expected = speed * gap / (2 * height)
    assert currents.slot(excess, "sodium", height, gap, ROOM) == pytest.approx(expected, rel=1e-9)


@pytest.mark.source("ht, Nu_vertical_plate_Churchill (library; Churchill and Chu 1975)")
@pytest.mark.parametrize("salt_g_l", [10, 0.1])
def test_a_wide_slot_is_a_single_plate(salt_g_l):
    """Two centimetres are so wide that the other limit takes less than a thousandth."""
    excess = salt_g_l * ION
    ra = currents.rayleigh(excess, "sodium", 0.25, ROOM)
    sherwood = free.Nu_vertical_plate_Churchill(schmidt(), ra / schmidt())
    one = sherwood * Water().free_diffusivity(ROOM) / 0.25
    assert currents.slot(excess, "sodium", 0.25, 0.02, ROOM) == pytest.approx(one, rel=1e-3)


def law(lying: str, running: bool = False):
    return currents.films(lying, "sodium", *SIZE, ROOM, running)


def film(lying: str, front: float, back: float, seconds: float = 0.0, running: bool = False):
    found = law(lying, running)(np.array([[[front, back]]]), np.array([[[seconds]]]))
    assert found.shape == (1, 1, 2)
    return tuple(found[0, 0])


@pytest.mark.source("derived: which way the heavy liquid goes; numbers by the laws checked above")
def test_each_way_of_lying_has_the_laws_of_its_faces():
    c = 1.0 * ION
    falls, stays = (f(c, "sodium", *SIZE, ROOM) for f in (currents.face_down, currents.face_up))
    assert film("face_down", c, c) == pytest.approx((falls, stays), rel=1e-12)
    # poorer faces let go of light liquid, which rises
    assert film("face_down", -c, -c) == pytest.approx((stays, falls), rel=1e-12)
    assert film("afloat", c, c)[0] == pytest.approx(falls, rel=1e-12)
    hung = currents.hanging(c, "sodium", SIZE[1], ROOM)
    assert film("hanging", c, -c) == pytest.approx((hung, hung), rel=1e-12)
    between = currents.slot(c, "sodium", SIZE[1], 6e-3, ROOM)
    assert film("slot", c, c) == pytest.approx((between, between), rel=1e-12)
    # ten seconds until the water rests
    rests = currents.on_the_floor(600.0 + 10.0, ROOM)
    tracer = Water().free_diffusivity(ROOM)
    assert film("floor", c, c, 600.0) == pytest.approx((rests, 3 * tracer / 0.2e-3), rel=1e-12)
    assert film("floor", -c, c, 600.0)[0] == pytest.approx(falls, rel=1e-12)


@pytest.mark.source("derived: 0.05 K of water at 20 C by IAPWS-95 through chemicals (library)")
def test_draughts_stir_where_fixer_no_longer_does():
    from chemicals import iapws

    rho = [iapws.iapws95_rho(ROOM + sign * 0.025, 101325.0) for sign in (-1, 1)]
    expected = (rho[0] - rho[1]) / currents.excess_density(1.0, "sodium")
    uneven = currents.uneven_excess("sodium", ROOM)
    # the density formula is good to 0.004 kg/m3 in all, to a thousandth in its slope
    assert uneven == pytest.approx(expected, rel=2e-3)
    hung = currents.hanging(uneven, "sodium", SIZE[1], ROOM)
    assert film("hanging", 0.01 * uneven, 0.0) == pytest.approx((hung, hung), rel=1e-12)


@pytest.mark.source("derived: forced flow is the least where a tap runs")
def test_a_running_tap_is_the_least_that_moves():
    weak = film("floor", 1.0, 1.0, seconds=1e5)[0]
    least = tables.datum("liquids.stirring.tap_only.film").si
    assert weak < least
    assert film("floor", 1.0, 1.0, 1e5, running=True)[0] == pytest.approx(least, rel=1e-12)


@pytest.mark.source("derived: slowest mode of diffusion in a rectangle open at its rim, pi2 D / l2")
def test_water_beneath_a_still_sheet_hardly_comes_out():
    tracer = Water().free_diffusivity(ROOM)
    depth, rate = currents.pool_exchange(tracer, *SIZE, moved=False)
    assert depth == pytest.approx(0.2e-3)
    assert 1 / rate == pytest.approx(1 / (math.pi**2 * tracer * (1 / 0.09 + 1 / 0.16)), rel=1e-12)
    # most of two months
    assert 1 / rate > 50 * 86400
    _, rocked = currents.pool_exchange(tracer, *SIZE, moved=True)
    assert rocked - rate == pytest.approx(1 / 120, rel=1e-12)
