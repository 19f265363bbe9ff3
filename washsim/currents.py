"""Still water: is fixer heavy enough to stir it? Natural convection from published correlations.

Heat-transfer correlations carried over to solute by the usual analogy (Sherwood for Nusselt,
Schmidt for Prandtl). Excess is thiosulfate ion at the face above that in the water, kg/m3; every
length in m, temperature in K.
"""

from __future__ import annotations

import math

from washsim import tables
from washsim.materials import Water, density, viscosity

GRAVITY = 9.80665
"""m/s2, the standard value (exact by definition, CGPM 1901)."""


def excess_density(excess: float, salt: str) -> float:
    """kg/m3 by which an excess of the ion, with its salt's share of cations, outweighs water."""
    ion = tables.datum("liquids.thiosulfate.molar_mass").si
    whole = tables.datum(f"liquids.salt.{salt}.molar_mass").si
    slope = tables.datum(f"liquids.salt.{salt}.density_slope").si
    return slope * excess * whole / ion


def equal_warming(weight: float, temperature: float) -> float:
    """K by which water must be cooler to outweigh its surroundings by as much, kg/m3."""
    slope = density(temperature - 0.5) - density(temperature + 0.5)
    return weight / slope if slope > 0 else math.inf


def rayleigh(excess: float, salt: str, length: float, temperature: float) -> float:
    """g drho L3 / (mu D)."""
    free = Water().free_diffusivity(temperature)
    weight = excess_density(excess, salt)
    return GRAVITY * weight * length**3 / (viscosity(temperature) * free)


def face_down(excess: float, salt: str, width: float, height: float, temperature: float) -> float:
    """Transfer coefficient, m/s, of a face that looks down: the heavy layer falls away."""
    return _plate("face_down", excess, salt, width, height, temperature)


def face_up(excess: float, salt: str, width: float, height: float, temperature: float) -> float:
    """Transfer coefficient, m/s, of a face that looks up with edges free to spill over."""
    return _plate("face_up_free", excess, salt, width, height, temperature)


def hanging(excess: float, salt: str, height: float, temperature: float) -> float:
    """Transfer coefficient, m/s, of a face that hangs or stands on edge."""
    free = Water().free_diffusivity(temperature)
    law = tables.entry("liquids.convection.hanging")
    schmidt = viscosity(temperature) / density(temperature) / free
    slowed = (1 + (law["schmidt"] / schmidt) ** (9 / 16)) ** (8 / 27)
    ra = rayleigh(excess, salt, height, temperature)
    return free / height * (law["base"] + law["factor"] * ra ** (1 / 6) / slowed) ** 2


def on_the_floor(seconds: float, temperature: float) -> float:
    """Transfer coefficient, m/s, of a face that looks up from the tray's floor after a while.

    Nothing moves: the layer only thickens by diffusion (Higbie's penetration).
    """
    return math.sqrt(Water().free_diffusivity(temperature) / (math.pi * seconds))


def onset(excess: float, salt: str, temperature: float) -> tuple[float, float]:
    """Thickness, m, and age, s, at which a heavy layer under a face lets go in plumes."""
    limit = tables.datum("liquids.convection.onset.rayleigh").value
    layer = (limit / rayleigh(excess, salt, 1.0, temperature)) ** (1 / 3)
    return layer, layer**2 / (math.pi * Water().free_diffusivity(temperature))


def breaking_speed(excess: float, salt: str, layer: float) -> float:
    """Speed of water, m/s, that tears up a stable layer of that thickness, m."""
    critical = tables.datum("liquids.convection.richardson.critical").value
    reduced = GRAVITY * excess_density(excess, salt) / density(293.15)
    return math.sqrt(reduced * layer / critical)


def throttled(
    core: float, way_out: float, salt: str, width: float, height: float, temperature: float
) -> tuple[float, float]:
    """Excess at the face, kg/m3, and transfer coefficient, m/s, of a face that looks down.

    The paper lets out only way_out (core - excess), way_out = De / half thickness in m/s, so the
    face sits far below the core; solved by bisection, the flux out rises with the excess.
    """
    low, high = 0.0, core
    for _ in range(60):
        middle = 0.5 * (low + high)
        out = face_down(middle, salt, width, height, temperature) * middle
        low, high = (middle, high) if out < way_out * (core - middle) else (low, middle)
    return high, face_down(high, salt, width, height, temperature)


def _plate(
    case: str, excess: float, salt: str, width: float, height: float, temperature: float
) -> float:
    """A horizontal face: Sherwood number of the law that covers the Rayleigh number.

    Below the range of the laws transfer is no worse than by diffusion through the layer that a
    Sherwood number of one stands for.
    """
    free = Water().free_diffusivity(temperature)
    length = width * height / (2 * (width + height))
    ra = rayleigh(excess, salt, length, temperature)
    laws = tables.entry(f"liquids.convection.{case}")
    law = (
        laws.get("turbulent", laws["laminar"]) if ra > laws["laminar"]["high"] else laws["laminar"]
    )
    return free / length * max(1.0, law["factor"] * ra ** law["power"])
