"""Still water: the convection correlations against a general heat-transfer library and tables."""

from __future__ import annotations

import math

import pytest
from ht import conv_free_immersed as free

from washsim import currents, tables
from washsim.materials import Water, density, viscosity

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


@pytest.mark.source("derived: flux out of the paper equals flux into the water, root by brentq")
@pytest.mark.parametrize("core_g_l", [100, 1, 0.01])
def test_the_paper_throttles_its_own_surface(core_g_l):
    from scipy.optimize import brentq

    core, way_out = core_g_l * ION, 1.7e-7
    excess, film = currents.throttled(core, way_out, "sodium", *SIZE, ROOM)

    def gap(c: float) -> float:
        return currents.face_down(c, "sodium", *SIZE, ROOM) * c - way_out * (core - c)

    assert excess == pytest.approx(brentq(gap, 1e-12, core, xtol=1e-15), rel=1e-6)
    assert film == pytest.approx(way_out * (core - excess) / excess, rel=1e-3)
    assert excess < 0.5 * core
