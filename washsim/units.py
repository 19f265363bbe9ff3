"""Multipliers into SI, for notebooks (``5 * minute``) and for the suffixes of text keys."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

second = 1.0
minute = 60.0
hour = 3600.0
micrometre = 1e-6
millimetre = 1e-3
centimetre = 1e-2
inch = 0.0254
millilitre = 1e-6
litre = 1e-3
foot = 0.3048
us_gallon = 3.785411784e-3
us_fluid_ounce = us_gallon / 128
gram = 1e-3
litre_per_minute = litre / minute
kilowatt_hour = 3.6e6


def celsius(degrees: float) -> float:
    """Kelvin from degrees Celsius."""
    return degrees + 273.15


def rounded(value: float, digits: int = 3) -> str:
    """A number to so many digits, as people write it: nobody reads litres as 1.22e+05."""
    shown = f"{value:.{digits}g}"
    return shown if abs(value) < 100 else f"{float(shown):.0f}"


@dataclass(frozen=True, slots=True)
class Unit:
    """How people write a quantity: SI = shown * factor + offset; suffix ends the text key."""

    suffix: str
    label: str
    factor: float = 1.0
    offset: float = 0.0

    def to_si(self, shown: float) -> float:
        return shown * self.factor + self.offset

    def from_si(self, value: float) -> float:
        return (value - self.offset) / self.factor


_UNITS = (
    Unit("", ""),
    Unit("percent", "%", 0.01),
    Unit("nm", "nm", 1e-9),
    Unit("um", "µm", micrometre),
    Unit("mm", "mm", millimetre),
    Unit("cm", "cm", centimetre),
    Unit("s", "s"),
    Unit("min", "min", minute),
    Unit("h", "h", hour),
    Unit("days", "days", 24 * hour),
    Unit("g", "g", gram),
    Unit("l", "L", litre),
    Unit("ml", "mL", millilitre),
    Unit("l_min", "L/min", litre_per_minute),
    Unit("ml_m2", "mL/m²", millilitre),
    Unit("l_m2", "L/m²", litre),
    Unit("c", "°C", 1.0, 273.15),
    Unit("k", "K"),
    Unit("g_l", "g/L"),
    Unit("m2_l", "m²/L", 1.0 / litre),
    Unit("mg_l", "mg/L", 1e-3),
    Unit("g_m2", "g/m²", gram),
    Unit("mmol_m2", "mmol/m²", 1e-3),
    Unit("mol_m3", "mol/m³"),
    Unit("mmol_l", "mmol/L"),
    Unit("um_s", "µm/s", 1e-6),
    Unit("m_s", "m/s"),
    Unit("m2_s", "m²/s"),
    Unit("g_mol", "g/mol", gram),
    Unit("kj_kg_k", "kJ/(kg K)", 1e3),
    Unit("per_m3", "per m³"),
    Unit("per_kwh", "per kWh", 1.0 / kilowatt_hour),
)
UNITS = {unit.suffix: unit for unit in _UNITS}

SYSTEMS = ("metric", "us")
"""Metric, and what a printer in the United States reads off jugs, thermometers and rulers."""

_US = {
    "cm": Unit("in", "in", inch),
    "mm": Unit("in", "in", inch),
    "l": Unit("gal", "gal", us_gallon),
    "ml": Unit("fl_oz", "fl oz", us_fluid_ounce),
    "l_min": Unit("gal_min", "gal/min", us_gallon / minute),
    "l_m2": Unit("gal_ft2", "gal/ft²", us_gallon / foot**2),
    "ml_m2": Unit("fl_oz_ft2", "fl oz/ft²", us_fluid_ounce / foot**2),
    "m2_l": Unit("ft2_gal", "ft²/gal", foot**2 / us_gallon),
    "c": Unit("f", "°F", 5 / 9, 273.15 - 32 * 5 / 9),
    "k": Unit("f_step", "°F", 5 / 9),
    "per_m3": Unit("per_gal", "per gal", 1.0 / us_gallon),
}
"""Residuals stay in g/m² and strengths in g/L there too: standards and tests are written so."""
_JUGFUL = 0.2
"""m3; a volume that can never be larger is read off a jug, in fluid ounces."""


def in_system(unit: Unit, system: str, largest: float = math.inf) -> Unit:
    """The unit that people of a system use instead; largest: the most it can be, SI."""
    if system != "us":
        return unit
    if unit.suffix == "l" and largest <= _JUGFUL:
        return _US["ml"]
    return _US.get(unit.suffix, unit)


def amount(volume: float, system: str = "metric") -> str:
    """A volume of water, m3, in words: '24 L' or '6.34 gal'."""
    unit = in_system(UNITS["l"], system)
    return f"{rounded(unit.from_si(volume))} {unit.label}"


def temperature(kelvin: float, system: str = "metric") -> str:
    """A temperature in words: '25 °C' or '77 °F'."""
    unit = in_system(UNITS["c"], system)
    return f"{rounded(unit.from_si(kelvin))} {unit.label}"


def difference(kelvin: float, system: str = "metric") -> str:
    """A step of temperature in words: '5 K' or '9 °F'."""
    unit = in_system(UNITS["k"], system)
    return f"{rounded(unit.from_si(kelvin), 2)} {unit.label}"


_SAID = {"L a minute": "l_min", "L/min": "l_min", "L": "l", "mL": "ml", "°C": "c", "cm": "cm"}
_QUANTITY = re.compile(r"((?:[\d.]+ × )?\d+(?:\.\d+)?) (L a minute|L/min|L|mL|°C|cm)(?![\w/²³])")


def equivalents(text: str) -> tuple[str, ...]:
    """The metric quantities of a text beside their US measures, each once: '4 L = 1.06 gal'."""
    found = {}
    for numbers, label in _QUANTITY.findall(text):
        unit = UNITS[_SAID[label]]
        other = _US[unit.suffix]
        shown = " × ".join(
            rounded(other.from_si(unit.to_si(float(number)))) for number in numbers.split(" × ")
        )
        found[f"{numbers} {unit.label}"] = f"{numbers} {unit.label} = {shown} {other.label}"
    return tuple(found.values())
