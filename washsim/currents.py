"""Still water: is fixer heavy enough to stir it? Natural convection from published correlations.

Heat-transfer correlations carried over to solute by the usual analogy (Sherwood for Nusselt,
Schmidt for Prandtl). Excess is thiosulfate ion at the face above that in the water, kg/m3; every
length in m, temperature in K.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from washsim import tables
from washsim.liquids import density, film_coefficient, viscosity
from washsim.vessels import Water

Array = NDArray[np.float64]
Law = Callable[[Array], Array]
"""Excesses, kg/m3, all above zero -> transfer coefficients, m/s."""

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
    return float(_plate("face_down", salt, width, height, temperature)(np.array(excess)))


def face_up(excess: float, salt: str, width: float, height: float, temperature: float) -> float:
    """Transfer coefficient, m/s, of a face that looks up with edges free to spill over."""
    return float(_plate("face_up_free", salt, width, height, temperature)(np.array(excess)))


def hanging(excess: float, salt: str, height: float, temperature: float) -> float:
    """Transfer coefficient, m/s, of a face that hangs or stands on edge."""
    return float(_upright(salt, height, temperature)(np.array(excess)))


def slot(excess: float, salt: str, height: float, gap: float, temperature: float) -> float:
    """Transfer coefficient, m/s, of a sheet on edge with a gap of water, m, to its neighbour."""
    return float(_between(salt, height, gap, temperature)(np.array(excess)))


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


def uneven_excess(salt: str, temperature: float) -> float:
    """Excess of the ion, kg/m3, that weighs as much as a still tray is unevenly warm anyway.

    Below it the draughts of the room stir more than fixer does.
    """
    warmth = tables.datum("liquids.convection.unevenness").si
    lighter = abs(density(temperature - 0.5 * warmth) - density(temperature + 0.5 * warmth))
    return lighter / excess_density(1.0, salt)


def films(
    lying: str, salt: str, width: float, height: float, temperature: float, running: bool
) -> Callable[[Array, Array], Array]:
    """The law of still water for sheets that lie so: what `Conditions.currents` wants, (..., 2).

    Faces richer than the water let heavy liquid go, poorer ones light liquid. A running tap alone
    is the least that moves. No excess counts for less than `uneven_excess`.
    """
    least = film_coefficient("tap_only", temperature) if running else 0.0
    uneven = uneven_excess(salt, temperature)
    free = Water().free_diffusivity(temperature)
    settling = tables.datum("liquids.convection.settling").si
    falls = _plate("face_down", salt, width, height, temperature)
    stays = _plate("face_up_free", salt, width, height, temperature)
    upright = _upright(salt, height, temperature)
    if lying == "slot":
        gap = tables.datum("liquids.convection.slot_gap").si
        upright = _between(salt, height, gap, temperature)
    beneath, first = under_the_sheet(free), on_the_floor(1.0, temperature)

    def law(difference: Array, still: Array) -> Array:
        excess, heavy = np.maximum(np.abs(difference), uneven), difference > 0
        match lying:
            case "loose" | "hanging" | "slot":
                film = upright(excess)
            case "floor":
                front = np.where(heavy, first / np.sqrt(still + settling), falls(excess))
                film = np.concatenate([front[..., :1], np.full_like(front[..., :1], beneath)], -1)
            case _:
                # the front looks down, the back up
                down = np.where([True, False], heavy, ~heavy)
                film = np.where(down, falls(excess), stays(excess))
        return np.maximum(film, least)

    return law


def under_the_sheet(free_diffusivity: float) -> float:
    """Transfer coefficient, m/s, between a back and the mean of the thin water it lies on.

    Closed below, its profile is a parabola: a third of the depth over D stands in the way.
    """
    return 3 * free_diffusivity / tables.datum("liquids.pool.depth").si


def pool_exchange(
    free_diffusivity: float, width: float, height: float, moved: bool
) -> tuple[float, float]:
    """Depth, m, of the water beneath a sheet on the floor, and rate, 1/s, at which it is renewed.

    Still, it only diffuses out under the edges (slowest mode of a rectangle open at its rim); a
    tray that is rocked pumps some of it out.
    """
    rim = free_diffusivity * np.pi**2 * (width**-2 + height**-2)
    pumped = 1 / tables.datum("liquids.pool.rocked").si if moved else 0.0
    return tables.datum("liquids.pool.depth").si, float(rim) + pumped


def _plate(case: str, salt: str, width: float, height: float, temperature: float) -> Law:
    """A horizontal face: Sherwood number of the larger of its laws, so that none jumps.

    Below the range of the laws transfer is no worse than by diffusion through the layer that a
    Sherwood number of one stands for.
    """
    free = Water().free_diffusivity(temperature)
    length = width * height / (2 * (width + height))
    each = rayleigh(1.0, salt, length, temperature)
    laws = tables.entry(f"liquids.convection.{case}")
    near = laws["laminar"]
    far = laws.get("turbulent", near)

    def law(excess: Array) -> Array:
        ra = each * excess
        low, high = near["factor"] * ra ** near["power"], far["factor"] * ra ** far["power"]
        return free / length * np.maximum(1.0, np.maximum(low, high))

    return law


def _upright(salt: str, height: float, temperature: float) -> Law:
    """A face that hangs or stands: Churchill and Chu."""
    free = Water().free_diffusivity(temperature)
    numbers = tables.entry("liquids.convection.hanging")
    schmidt = viscosity(temperature) / density(temperature) / free
    slowed = (1 + (numbers["schmidt"] / schmidt) ** (9 / 16)) ** (8 / 27)
    each = rayleigh(1.0, salt, height, temperature)

    def law(excess: Array) -> Array:
        rises = numbers["factor"] * (each * excess) ** (1 / 6) / slowed
        return free / height * (numbers["base"] + rises) ** 2

    return law


def _between(salt: str, height: float, gap: float, temperature: float) -> Law:
    """A face in a slot: from gaps that run full to plates that do not feel each other."""
    free = Water().free_diffusivity(temperature)
    numbers = tables.entry("liquids.convection.slot")
    each, blend = rayleigh(1.0, salt, gap, temperature) * gap / height, numbers["blend"]
    wide = _upright(salt, height, temperature)

    def law(excess: Array) -> Array:
        full = free / gap * each * excess / numbers["full"]
        return (full**-blend + wide(excess) ** -blend) ** (-1 / blend)

    return law
