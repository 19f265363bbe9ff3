"""How dark and what colour a silver nitrate drop's stain is, by an optical model of our own.

Silver sulfide absorbs in proportion to its amount until the stain stops getting darker, and less
towards red by a power of the wavelength. Every number is an estimate; photographs of the printer's
own scale replace it.
"""

from __future__ import annotations

import math

from washsim import tables

_COLOURS = ("red", "green", "blue")


def blue_density(residual: float) -> float:
    """Density of a stain in blue light over that of the bare paper; residual kg/m2."""
    slope = tables.datum("stains.stain.density").value / 0.01e-3
    ceiling = tables.datum("stains.stain.ceiling").value
    return ceiling * -math.expm1(-slope * residual / ceiling)


def reflectance(residual: float) -> tuple[float, float, float]:
    """Shares of red, green and blue light that a stained patch throws back."""
    blue = tables.datum("stains.light.blue").value
    power = tables.datum("stains.stain.steepness").value
    found = []
    for name in _COLOURS:
        fading = (blue / tables.datum(f"stains.light.{name}").value) ** power
        white = tables.datum(f"stains.paper.{name}").value
        found.append(white * 10.0 ** (-blue_density(residual) * fading))
    return found[0], found[1], found[2]


def colour(residual: float) -> str:
    """The patch as '#rrggbb', by the transfer curve of sRGB (IEC 61966-2-1)."""
    encoded = (
        12.92 * x if x <= 0.0031308 else 1.055 * x ** (1 / 2.4) - 0.055
        for x in reflectance(residual)
    )
    return "#" + "".join(f"{round(255 * x):02x}" for x in encoded)
