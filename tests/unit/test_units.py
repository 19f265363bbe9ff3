"""Units against their definitions, as exact fractions."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from washsim import units

# SI Brochure, 9th edition (BIPM 2019): litre, minute, hour, degree Celsius, and the prefixes
LITRE, MINUTE, HOUR, MICRO, MILLI, GRAM = (
    Fraction(1, 1000),
    Fraction(60),
    Fraction(3600),
    Fraction(1, 10**6),
    Fraction(1, 1000),
    Fraction(1, 1000),
)
FACTORS = {
    "": Fraction(1),
    "percent": Fraction(1, 100),
    "nm": MICRO * MILLI,
    "um": MICRO,
    "mm": MILLI,
    "cm": Fraction(1, 100),
    "s": Fraction(1),
    "min": MINUTE,
    "h": HOUR,
    "days": 24 * HOUR,
    "g": GRAM,
    "l": LITRE,
    "ml": MILLI * LITRE,
    "l_min": LITRE / MINUTE,
    "ml_m2": MILLI * LITRE,
    "c": Fraction(1),
    "k": Fraction(1),
    "g_l": GRAM / LITRE,
    "mg_l": MILLI * GRAM / LITRE,
    "g_m2": GRAM,
    "mmol_m2": MILLI,
    "mol_m3": Fraction(1),
    "mmol_l": MILLI / LITRE,
    "m2_l": 1 / LITRE,
    "l_m2": LITRE,
    "um_s": MICRO,
    "m_s": Fraction(1),
    "m2_s": Fraction(1),
    "g_mol": GRAM,
    "kj_kg_k": Fraction(1000),
    "per_m3": Fraction(1),
    "per_kwh": 1 / (1000 * HOUR),
}
EPS = 2.0**-52


def test_every_unit_is_checked_here():
    assert set(units.UNITS) == set(FACTORS)


@pytest.mark.parametrize("suffix", FACTORS)
def test_factor_is_the_definition(suffix):
    unit = units.UNITS[suffix]
    # a quotient of two rounded numbers: two roundings
    assert unit.factor == pytest.approx(float(FACTORS[suffix]), rel=2 * EPS, abs=0)
    assert unit.offset == (273.15 if suffix == "c" else 0.0)


@pytest.mark.parametrize(
    ("multiplier", "exact"),
    [
        (units.minute, MINUTE),
        (units.hour, HOUR),
        (units.second, 1),
        (units.micrometre, MICRO),
        (units.millimetre, MILLI),
        (units.centimetre, Fraction(1, 100)),
        # international inch: 25.4 mm exactly (agreement of 1959)
        (units.inch, Fraction(254, 10_000)),
        # US liquid gallon: 231 cubic inches exactly (NIST Handbook 44, appendix C)
        (units.us_gallon, 231 * Fraction(254, 10_000) ** 3),
        (units.litre, LITRE),
        (units.millilitre, MILLI * LITRE),
        (units.gram, GRAM),
        (units.litre_per_minute, LITRE / MINUTE),
        (units.kilowatt_hour, 1000 * HOUR),
    ],
)
def test_multiplier_is_the_definition(multiplier, exact):
    assert multiplier == pytest.approx(float(exact), rel=2 * EPS, abs=0)


def test_the_published_decimals():
    assert units.inch == 0.0254
    assert units.us_gallon == 3.785411784e-3


@pytest.mark.parametrize(("degrees", "kelvin"), [(0, 273.15), (-273.15, 0), (100, 373.15)])
def test_celsius(degrees, kelvin):
    assert units.celsius(degrees) == units.UNITS["c"].to_si(degrees) == kelvin


@given(st.sampled_from(sorted(units.UNITS)), st.floats(1e-6, 1e6))
def test_there_and_back(suffix, shown):
    unit = units.UNITS[suffix]
    back = unit.from_si(unit.to_si(shown))
    # two roundings, each relative to the larger of the number and the offset
    assert math.isclose(back, shown, rel_tol=4 * EPS, abs_tol=2 * EPS * unit.offset)


@given(st.sampled_from(sorted(units.UNITS)), st.floats(1e-6, 1e6))
def test_conversion_is_plain_arithmetic(suffix, shown):
    offset = Fraction(27315, 100) if suffix == "c" else 0
    exact = Fraction(shown) * FACTORS[suffix] + offset
    assert units.UNITS[suffix].to_si(shown) == pytest.approx(float(exact), rel=4 * EPS, abs=0)


# NIST Handbook 44 (2024), Appendix C: the US units are exact multiples of metric ones
US = [
    ("cm", "in", Fraction(254, 10000)),
    ("mm", "in", Fraction(254, 10000)),
    ("l", "gal", 231 * Fraction(254, 10000) ** 3),
    ("ml", "fl oz", 231 * Fraction(254, 10000) ** 3 / 128),
    ("l_min", "gal/min", 231 * Fraction(254, 10000) ** 3 / 60),
    ("l_m2", "gal/ft²", 231 * Fraction(254, 10000) ** 3 / (12 * Fraction(254, 10000)) ** 2),
    ("ml_m2", "fl oz/ft²", 231 * Fraction(254, 10000) ** 3 / 128 / (12 * Fraction(254, 10000)) ** 2),
    ("m2_l", "ft²/gal", (12 * Fraction(254, 10000)) ** 2 / (231 * Fraction(254, 10000) ** 3)),
    ("k", "°F", Fraction(5, 9)),
    ("per_m3", "per gal", 1 / (231 * Fraction(254, 10000) ** 3)),
]  # fmt: skip


@pytest.mark.parametrize(("suffix", "label", "si"), US)
def test_us_units(suffix, label, si):
    found = units.in_system(units.UNITS[suffix], "us")
    assert found.label == label
    assert found.to_si(1.0) == pytest.approx(float(si), rel=4 * EPS)


@pytest.mark.parametrize(("celsius", "fahrenheit"), [(0, 32), (100, 212), (20, 68), (-40, -40)])
def test_fahrenheit(celsius, fahrenheit):
    # the scales' definition: 180 degrees between the points 0 and 100 °C, from 32
    found = units.in_system(units.UNITS["c"], "us")
    assert found.from_si(units.celsius(celsius)) == pytest.approx(fahrenheit, abs=1e-9)


def test_small_volumes_are_fluid_ounces_and_metric_stays():
    litre = units.UNITS["l"]
    assert units.in_system(litre, "us", largest=0.1).label == "fl oz"
    assert units.in_system(litre, "us", largest=2.0).label == "gal"
    assert units.in_system(litre, "metric") is litre
    assert units.in_system(units.UNITS["g_m2"], "us") is units.UNITS["g_m2"]


def test_words_of_amounts():
    # 24 L / 3.785411784 L; 25 °C = 77 °F; a step of 5 K is 9 °F
    assert (units.amount(0.024), units.amount(0.024, "us")) == ("24 L", "6.34 gal")
    assert (units.temperature(298.15), units.temperature(298.15, "us")) == ("25 °C", "77 °F")
    assert (units.difference(5.0), units.difference(5.0, "us")) == ("5 K", "9 °F")


def test_quantities_of_a_text_in_us_measures():
    """The US gallon is 231 cubic inches, the inch 2.54 cm (NIST Handbook 44, appendix C, 2024)."""
    text = "Prints of 20 × 25 cm at 20 °C, 4 L a minute; 4 L/m² of 60 L, 13 mL; again at 20 °C."
    litre = 1 / (231 * 0.254**3)
    assert units.equivalents(text) == (
        f"20 × 25 cm = {20 / 2.54:.3g} × {25 / 2.54:.3g} in",
        "20 °C = 68 °F",
        f"4 L/min = {4 * litre:.3g} gal/min",
        f"60 L = {60 * litre:.3g} gal",
        f"13 mL = {0.013 * 128 * litre:.3g} fl oz",
    )
    assert units.equivalents("0.014 g/m² after 35 min") == ()
