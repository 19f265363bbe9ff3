"""Water and fixer as liquids: how they flow, how fast fixer moves in them and past a face. SI."""

from __future__ import annotations

import math
from itertools import pairwise

from washsim import tables
from washsim.units import celsius

STIRRINGS = (
    "still_face_up",
    "tap_only",
    "still_face_down",
    "rocking",
    "lifted",
    "brisk",
    "perfect",
)
"""How water is moved along a face; a pile of sheets in a vessel can also be 'shuffled'."""


def viscosity(temperature: float) -> float:
    """Of water at 0.1 MPa, Pa s; IAPWS SR6-08 (2011), eq. for 253 to 383 K."""
    series = tables.entry("liquids.water_viscosity")
    x = temperature / 300.0
    return 1e-6 * sum(a * x**b for a, b in zip(series["a"], series["b"], strict=True))


def density(temperature: float) -> float:
    """Of water at 0.1 MPa, kg/m3; rational function of Kell (1975)."""
    series = tables.entry("liquids.water_density")
    t = temperature - 273.15
    top = sum(a * t**power for power, a in enumerate(series["numerator"]))
    return top / (1.0 + series["denominator"] * t)


def at_temperature(diffusivity: float, known_at: float, temperature: float) -> float:
    """A diffusivity moved to another temperature (K): D times viscosity over T is constant."""
    return diffusivity * (temperature / known_at) * (viscosity(known_at) / viscosity(temperature))


def quickening(liquid: str, temperature: float) -> float:
    """How much faster than in soft tap water at 20 °C held fixer lets go in another liquid.

    Temperature acts as on diffusion; nobody has measured that for release, so it is an estimate.
    """
    soft = tables.datum("liquids.water.soft_tap.release_half_life").si
    ratio = soft / tables.datum(f"liquids.water.{liquid}.release_half_life").si
    return at_temperature(ratio, celsius(20), temperature)


def filling(temperature: float, release_half_life: float) -> float:
    """How much faster held fixer takes hold in fixer than it lets go in soft tap water at 20 °C.

    Waters act on a layer's own release_half_life (s, in soft tap water) by a ratio, but the
    filling has a half-time of its own.
    """
    ratio = release_half_life / tables.datum("liquids.fixer.fill_half_time").si
    return at_temperature(ratio, celsius(20), temperature)


def penetration(interval: float, free_diffusivity: float) -> float:
    """Mean transfer coefficient, m/s, of a face that meets fresh still water every interval s.

    Higbie, Trans. AIChE 31, 1935.
    """
    return 2 * math.sqrt(free_diffusivity / (math.pi * interval))


def film_coefficient(stirring: str, temperature: float) -> float:
    """Transfer coefficient between a face and the water, m/s.

    The table's value at 20 °C follows D to the power 2/3 (laminar boundary layer; the effect of
    viscosity on the flow is left out).
    """
    known = tables.datum(f"liquids.stirring.{stirring}.film").si
    return known * at_temperature(1.0, celsius(20), temperature) ** (2 / 3)


def shuffled_film(interval: float, free_diffusivity: float) -> float:
    """Transfer coefficient of a face in a pile whose sheets are each moved every interval s, m/s.

    The water between two sheets is changed once in an interval; it cannot carry off more than it
    holds, nor more than diffuses into fresh water in that time.
    """
    carried = tables.datum("liquids.pile.between").si / interval
    return min(carried, penetration(interval, free_diffusivity))


def film_after_drain(seconds: float) -> float:
    """Water on both faces together after draining, m3/m2; interpolated in the logarithm."""
    known = {0.0: "s0", 10.0: "s10", 30.0: "s30"}
    times = list(known)
    logs = [math.log(tables.datum(f"liquids.film_after_drain.{key}").si) for key in known.values()]
    seconds = min(max(seconds, times[0]), times[-1])
    for (t0, t1), (a, b) in zip(pairwise(times), pairwise(logs), strict=True):
        if seconds <= t1:
            return math.exp(a + (b - a) * (seconds - t0) / (t1 - t0))
    raise AssertionError("unreachable: the last time is the largest allowed")
