"""Diffusivities, viscosity, densities and units against general property libraries.

The product works without those libraries: its numbers stand in washsim/data with their bands. Traps
of the libraries are dealt with here: the CRC table of `chemicals` holds conductivities per
equivalent, Marcus' per mole; Laliberte's density of sodium thiosulfate is fitted from 25 C up and
extrapolates below without a warning, and his fit of sulfite is useless at 20 C (not used).
"""

from __future__ import annotations

import math

import pytest
from chemicals import elements, iapws, viscosity
from scipy import constants
from thermo import electrochem

from tests.references import closed_forms
from washsim import liquids, tables
from washsim.fixers import Fixing
from washsim.units import UNITS, celsius
from washsim.vessels import Vessel, Water

source = pytest.mark.source
ROOM = celsius(25)
THIOSULFATE, SODIUM, AMMONIUM = "14383-50-7", "17341-25-2", "14798-03-9"  # CAS
LIKE_IT = ("13408-62-3", "15705-55-2")  # hexacyanoferrate(III), trimetaphosphate
TEMPERATURES = [celsius(t) for t in (1, 5, 7, 10, 15, 20, 25, 30, 35, 45)]


def crc(cas: str) -> float:
    """S m2 per equivalent at 25 C."""
    return float(electrochem.CRC_ion_conductivities["lambda"][cas])


def nernst(cas: str, charge: int) -> float:
    return closed_forms.nernst_diffusivity(crc(cas), charge, ROOM)


@source("Nernst; CRC Handbook table 'conductivity at infinite dilution' in the `chemicals` library")
def test_tracer_diffusivity_of_thiosulfate() -> None:
    datum = tables.datum("liquids.thiosulfate.free_diffusivity_tracer_25")
    assert datum.si == pytest.approx(nernst(THIOSULFATE, -2), rel=5e-5, abs=0.0)  # 5 digits given
    assert datum.low < nernst(THIOSULFATE, -2) < datum.high
    assert Water().free_diffusivity(ROOM) == datum.si


@source("Marcus, table of limiting ionic conductivities (per mole) in the `chemicals` library")
def test_tracer_diffusivity_by_another_table() -> None:
    per_mole = electrochem.Marcus_ion_conductivities.loc[THIOSULFATE].iloc[2] * 1e-4
    other = closed_forms.nernst_diffusivity(per_mole / 2, -2, ROOM)
    # the tables differ by 0.12 %
    assert Water().free_diffusivity(ROOM) == pytest.approx(other, rel=2e-3, abs=0.0)


@source("Nernst and Hartley; CRC conductivities in the `chemicals` library")
@pytest.mark.parametrize(("salt", "cation"), [("sodium", SODIUM), ("ammonium", AMMONIUM)])
def test_salt_diffusivities(salt: str, cation: str) -> None:
    expected = closed_forms.nernst_hartley(nernst(cation, 1), nernst(THIOSULFATE, -2), 1, -2)
    datum = tables.datum(f"liquids.salt.{salt}.free_diffusivity_25")
    assert datum.si == pytest.approx(expected, rel=5e-5, abs=0.0)
    fixing = Fixing(fixer={"sodium": "plain", "ammonium": "rapid"}[salt], temperature=ROOM)
    crowding = tables.datum(f"liquids.salt.{salt}.concentration_factor").si
    assert fixing.free_diffusivity == pytest.approx(crowding * expected, rel=5e-5, abs=0.0)


@source("CRC conductivities of two other ions of charge -3 in the `chemicals` library")
def test_silver_complex_lies_by_ions_like_it() -> None:
    """An estimate: no measured value was found, so its band must reach its likes."""
    datum = tables.datum("liquids.thiosulfate.silver_complex_diffusivity_25")
    likes = [nernst(cas, -3) for cas in LIKE_IT]
    assert datum.low < min(likes)
    assert max(likes) < datum.high
    assert datum.low <= datum.value <= min(likes)  # the complex is the largest of the three


@source("IAPWS 2008 viscosity of water, `chemicals.viscosity.mu_IAPWS`, at 101325 Pa")
@pytest.mark.parametrize("kelvin", TEMPERATURES)
def test_viscosity(kelvin: float) -> None:
    exact = viscosity.mu_IAPWS(kelvin, iapws.iapws95_rho(kelvin, 101325.0))
    # SR6-08 is a fit for 0.1 MPa within its stated 1 %; it keeps to 3e-5 from 0 to 60 C
    assert liquids.viscosity(kelvin) == pytest.approx(exact, rel=3.5e-5, abs=0.0)


@source("IAPWS 2008 in mpmath digits of the check list; literature 1.0016 mPa s at 20 C")
def test_viscosity_digits() -> None:
    for degrees, value in ((5, 1.51817285e-3), (20, 1.00159614e-3), (25, 8.90022425e-4)):
        assert liquids.viscosity(celsius(degrees)) == pytest.approx(value, rel=3.5e-5, abs=0.0)


@source("IAPWS 1995 density of water, `chemicals.iapws.iapws95_rho`, at 101325 Pa")
@pytest.mark.parametrize("kelvin", TEMPERATURES)
def test_density(kelvin: float) -> None:
    exact = iapws.iapws95_rho(kelvin, 101325.0)
    # Kell's fit is for the temperature scale of 1968: 0.0036 kg/m3 off at 0 C
    assert liquids.density(kelvin) == pytest.approx(exact, abs=4e-3)


@source("IAPWS 1995 heat capacity, `chemicals.iapws`; by a difference of enthalpies over 2 K")
def test_heat_capacity() -> None:
    def enthalpy(kelvin: float) -> float:
        """J/kg, h = u + p v from the Helmholtz energy's derivatives."""
        rho = iapws.iapws95_rho(kelvin, 101325.0)
        tau, delta = 647.096 / kelvin, rho / 322.0
        ideal = tau * iapws.iapws95_dA0_dtau(tau, delta)
        rest = tau * iapws.iapws95_dAr_dtau(tau, delta) + delta * iapws.iapws95_dAr_ddelta(
            tau, delta
        )
        return 461.51805 * kelvin * (1.0 + ideal + rest)

    slope = (enthalpy(celsius(21)) - enthalpy(celsius(19))) / 2.0
    datum = tables.datum("liquids.water_properties.heat_capacity")
    assert datum.si == pytest.approx(slope, rel=2e-4)  # four digits given


@source("Stokes and Einstein, D viscosity / T constant; IAPWS viscosity by the `chemicals` library")
@pytest.mark.parametrize("kelvin", TEMPERATURES)
def test_temperature_moves_diffusivities(kelvin: float) -> None:
    def ease(t: float) -> float:
        return t / viscosity.mu_IAPWS(t, iapws.iapws95_rho(t, 101325.0))

    expected = nernst(THIOSULFATE, -2) * ease(kelvin) / ease(ROOM)
    # five digits of the datum, and twice the viscosity's 3e-5
    assert Water().free_diffusivity(kelvin) == pytest.approx(expected, rel=1.2e-4, abs=0.0)
    moved = liquids.at_temperature(1e-9, celsius(20), kelvin)
    assert moved == pytest.approx(1e-9 * ease(kelvin) / ease(celsius(20)), rel=7e-5, abs=0.0)


@source("derived: 5 to 25 C makes D x 1.83, the project's working notes")
def test_warm_over_cold() -> None:
    warm, cold = (Water().free_diffusivity(celsius(t)) for t in (25, 5))
    assert warm / cold == pytest.approx(1.83, abs=0.005)
    assert Water().free_diffusivity(celsius(20)) == pytest.approx(0.989e-9, abs=0.0005e-9)


@source("from memory: Levich, Physicochemical Hydrodynamics, 1962, laminar film ~ D^(2/3)")
def test_temperature_moves_films() -> None:
    warm, cold = (liquids.film_coefficient("rocking", t) for t in (celsius(25), celsius(5)))
    assert warm / cold == pytest.approx(1.83 ** (2 / 3), rel=2e-3)
    given = Vessel(name="tray", volume=1e-3, film=100e-6).film_coefficient(1.1e-9, celsius(5))
    assert given == pytest.approx(1.1e-5, rel=1e-15)  # a stated film is taken at its word


def dilute_slope(cas: str, kelvin: float = celsius(20)) -> float:
    """kg/m3 of density per kg/m3 of salt, dilute; Laliberte against his own water."""
    share = 1e-4
    wet = electrochem.Laliberte_density(kelvin, [share], [cas])
    return (wet - electrochem.Laliberte_density_w(kelvin)) / (share * wet)


@source("Laliberte 2009, `thermo.electrochem.Laliberte_density`; fitted from 25 C up")
def test_density_slope_of_sodium_thiosulfate() -> None:
    datum = tables.datum("liquids.salt.sodium.density_slope")
    cool, warm = dilute_slope("7772-98-7"), dilute_slope("7772-98-7", ROOM)
    assert datum.value == pytest.approx(cool, abs=0.005)  # two digits given
    # 20 C lies below the fit; its pull-in from 25 C is small against the band
    assert abs(cool - warm) < 0.01 < datum.high - datum.value
    assert datum.low < warm < cool < datum.high


@source("Laliberte 2009 of three other salts, ions taken as additive (derived)")
def test_density_slope_of_ammonium_thiosulfate() -> None:
    """The library has no such salt: sodium thiosulfate - sodium sulfate + ammonium sulfate."""
    weights = {"7772-98-7": 158.11, "7757-82-6": 142.04, "7783-20-2": 132.14}  # g/mol
    thio, sodium, ammonium = (dilute_slope(cas) * m for cas, m in weights.items())
    expected = (thio - sodium + ammonium) / 148.205
    datum = tables.datum("liquids.salt.ammonium.density_slope")
    assert datum.value == pytest.approx(expected, abs=0.005)
    assert datum.low <= expected <= datum.high


@source("atomic weights of the `chemicals` library")
def test_molar_masses() -> None:
    for path, formula in (
        ("liquids.thiosulfate.molar_mass", "S2O3"),
        ("liquids.salt.sodium.molar_mass", "Na2S2O3"),
        ("liquids.salt.ammonium.molar_mass", "N2H8S2O3"),
    ):
        datum = tables.datum(path)
        exact = elements.molecular_weight(elements.nested_formula_parser(formula))
        # atomic masses of sulphur differ by 5e-5 from table to table
        assert datum.value == pytest.approx(exact, rel=5e-5)
        assert datum.low <= exact <= datum.high


@source("derived: mass of the ion over that of the salt, atomic weights of `chemicals`")
def test_fixer_strengths() -> None:
    """240 g/L of crystals, and a concentrate of 60 % w/v diluted 1+4, as thiosulfate ion."""
    ion = elements.molecular_weight(elements.nested_formula_parser("S2O3"))
    crystals = elements.molecular_weight(elements.nested_formula_parser("Na2S2O3H10O5"))
    ammonium = elements.molecular_weight(elements.nested_formula_parser("N2H8S2O3"))
    assert Fixing(fixer="plain").concentration == pytest.approx(240 * ion / crystals, rel=1e-4)
    rapid = Fixing(fixer="rapid", dilution="1+4").concentration
    assert rapid == pytest.approx(600 * ion / ammonium / 5, rel=1e-4)
    molar = tables.datum("liquids.thiosulfate.molar_mass").si
    # the working notes: 0.967 mol/L plain, about 0.81 mol/L rapid 1+4
    assert Fixing(fixer="plain").concentration / molar == pytest.approx(967.0, abs=0.5)
    assert rapid / molar == pytest.approx(810.0, abs=5.0)


@source("BIPM, The International System of Units, 9th ed. 2019; scipy.constants (CODATA)")
def test_units() -> None:
    expected = {
        "um": constants.micro,
        "cm": constants.centi,
        "min": constants.minute,
        "h": constants.hour,
        "l": constants.liter,
        "ml": constants.liter * constants.milli,
        "l_min": constants.liter / constants.minute,
        "g_l": constants.gram / constants.liter,
        "mg_l": constants.gram * constants.milli / constants.liter,
        "g_m2": constants.gram,
        "ml_m2": constants.liter * constants.milli,
        "g_mol": constants.gram,
        "um_s": constants.micro,
        "percent": constants.centi,
        "kj_kg_k": constants.kilo,
        "per_kwh": 1.0 / (constants.kilo * constants.hour),
    }
    for suffix, factor in expected.items():
        assert UNITS[suffix].to_si(1.0) == pytest.approx(factor, rel=1e-15), suffix
        assert UNITS[suffix].from_si(factor) == pytest.approx(1.0, rel=1e-15), suffix
    assert UNITS["c"].to_si(20.0) == pytest.approx(20.0 + constants.zero_Celsius, rel=1e-15)
    assert celsius(0.0) == constants.zero_Celsius
    assert math.isclose(UNITS["c"].from_si(UNITS["c"].to_si(7.0)), 7.0, rel_tol=1e-13)


@source(
    "heat to warm water by IAPWS 1995 density and heat capacity; 1.06 and 2.8 kWh in the project's working notes"
)
@pytest.mark.parametrize(("litres", "rise", "kwh"), [(70.0, 13.0, 1.06), (240.0, 10.0, 2.8)])
def test_heating(litres: float, rise: float, kwh: float) -> None:
    warm = celsius(20)
    water = Water(temperature=warm, tap_temperature=warm - rise)
    heat = water.heating(litres * 1e-3, warm)
    exact = litres * 1e-3 * iapws.iapws95_rho(warm, 101325.0) * 4184.0 * rise
    assert heat == pytest.approx(exact, rel=1e-4)
    assert heat / 3.6e6 == pytest.approx(kwh, rel=0.01)  # as printed
