"""Is the print fixed at all? A clearing front moves through the emulsion, from the face inwards.

Silver halide binds thiosulfate as fast as it arrives, so between face and front the flux is steady:
a sharp moving front, with a film and the dissolving grains as resistances in series (Crank, The
Mathematics of Diffusion, 2nd ed., 1975, ch. 13). Its time is exact for that picture; the numbers
that go into it are not well known.
"""

from __future__ import annotations

from dataclasses import dataclass

from washsim import tables
from washsim.fixers import Fixing
from washsim.liquids import at_temperature, film_coefficient
from washsim.papers import Layer
from washsim.scenario import Scenario
from washsim.units import celsius

SILVER = 107.8682e-3
"""kg/mol, standard atomic weight (IUPAC 2021)."""


@dataclass(frozen=True, slots=True)
class Clearing:
    """seconds to clear the emulsion, and the fixing time over it."""

    seconds: float
    ratio: float

    @property
    def enough(self) -> bool:
        """At least the customary multiple of the clearing time."""
        return self.ratio >= tables.datum("limits.caution.fixing_margin").value


def clearing(scenario: Scenario) -> Clearing:
    """How long the scenario's sheets take to clear in its (last) bath, silver in it included."""
    paper = scenario.sheet.material
    fixing = scenario.fixing
    free = free_thiosulfate(fixing, scenario.fixer_silver)
    seconds = front_time(paper.layers[0], fixing, free)
    return Clearing(seconds, fixing.duration / seconds)


def free_thiosulfate(fixing: Fixing, silver: float) -> float:
    """Thiosulfate, kg/m3, that the bath's dissolved silver, kg/m3, has not bound."""
    ion = tables.datum("liquids.thiosulfate.molar_mass").si
    bound = tables.datum("liquids.clearing.thiosulfate_per_silver").value * ion / SILVER * silver
    return max(fixing.concentration - bound, 1e-3 * fixing.concentration)


def front_time(emulsion: Layer, fixing: Fixing, free: float) -> float:
    """s until the front reaches the bottom of the emulsion in free thiosulfate, kg/m3.

    t = b / c (1/k_film + 1/k_grains + L / (2 De)), b the thiosulfate that the coated silver binds
    per area: linear in the film's and the grains' share, square in the depth.
    """
    ion = tables.datum("liquids.thiosulfate.molar_mass").si
    coated = tables.datum("limits.silver.dissolved").si
    binds = tables.datum("liquids.clearing.thiosulfate_per_silver").value * ion / SILVER * coated
    return binds / free * sum(resistances(emulsion, fixing))


def resistances(emulsion: Layer, fixing: Fixing) -> tuple[float, float, float]:
    """s/m of the film, of the dissolving grains and of the gelatin at half depth."""
    diffusivity = fixing.free_diffusivity
    film = film_coefficient(fixing.stirring, fixing.temperature)
    speed = tables.datum(f"liquids.clearing.dissolving.{fixing.salt}.speed").si
    # dissolving quickens with warmth about as diffusion does (an estimate)
    grains = at_temperature(speed, celsius(20), fixing.temperature)
    inside = emulsion.porosity * emulsion.hindrance * diffusivity
    return 1 / film, 1 / grains, emulsion.thickness / (2 * inside)
