"""The reference cases of the project's notes, set up for the finite-volume model; nothing here imports washsim.

Slab mode: one layer 0.35 mm wet, 0.25 L/m2 of liquid, D = 3e-11 m2/s in the pores, fixer 100 g/L thiosulfate
ion, faces at the bath while fixing, film 0.1 mm (free D 1.1e-9 m2/s) in coupled washes, 14 sheets
0.203 x 0.254 m. Three-layer default: emulsion, baryta, base of a double-weight fibre paper. All values are the
notes' conventions or estimates, none is a measurement.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from tests.references.finite_volume import FiniteVolumeSheet, History, Phase, Vessel, run
from tests.references.layered import Layer

LITRE, MINUTE = 1e-3, 60.0
SHEET_AREA = 0.203 * 0.254  # m2
BATCH_AREA = 14 * SHEET_AREA  # m2
FIXER = 100.0e3  # g/m3 thiosulfate ion
FULL_LOAD = 25.0  # g/m2
TARGET = 0.015  # g/m2
THICKNESS = 0.35e-3  # m
PORE_DIFFUSIVITY = 3e-11  # m2/s
FILM = 1.1e-9 / 0.1e-3  # m/s

LAYER_FREE_DIFFUSIVITY = 0.9888e-9  # m2/s, thiosulfate tracer at 20 C
LAYER_FILM = 3e-6  # m/s
LAYER_FIXER = 967.0  # mol/m3
THIOSULFATE = 2 * 32.06e-3 + 3 * 15.999e-3  # kg/mol, IUPAC abridged atomic weights 2021


def in_slab_time(seconds: float) -> float:
    """T = D t / L^2 of the slab-mode reference."""
    return PORE_DIFFUSIVITY * seconds / THICKNESS**2


def slab(cells: int = 200, thickness: float = THICKNESS) -> FiniteVolumeSheet:
    """Slab-mode sheet; the porosity keeps the reference 0.25/0.35 at other thicknesses."""
    return FiniteVolumeSheet(
        layers=(Layer(thickness=thickness, porosity=0.25 / 0.35, hindrance=1.0),), cells=(cells,)
    )


def three_layers(
    base_hindrance: float = 0.05,
    retardation: float = 1.0,
    cells: tuple[int, int, int] = (20, 20, 160),
) -> FiniteVolumeSheet:
    """The three-layer double-weight default: emulsion 25, baryta 20, base 330 micrometres."""
    rows = ((25e-6, 0.85, 0.5), (20e-6, 0.35, 0.10), (330e-6, 0.58, base_hindrance))
    return FiniteVolumeSheet(
        layers=tuple(
            Layer(thickness=h, porosity=e, hindrance=f, retardation=retardation) for h, e, f in rows
        ),
        cells=cells,
    )


def fixing(seconds: float, diffusivity: float = PORE_DIFFUSIVITY, fixer: float = FIXER) -> Phase:
    """Slab-mode fixing: both faces at the bath's concentration (g/m3)."""
    return Phase(duration=seconds, bath=fixer, diffusivity=diffusivity)


def washing(
    minutes: float, vessel: Vessel, diffusivity: float = PORE_DIFFUSIVITY, film: float = FILM
) -> Phase:
    """Slab-mode washing in a vessel, the same film (m/s) on both faces."""
    return Phase(
        duration=minutes * MINUTE,
        bath=vessel,
        diffusivity=diffusivity,
        film_front=film,
        film_back=film,
    )


def running(litres: float, litres_per_minute: float, minutes: float) -> list[Phase]:
    """Running wash in one stirred vessel that starts clean."""
    return [
        washing(minutes, Vessel(volume=litres * LITRE, flow=litres_per_minute * LITRE / MINUTE))
    ]


def changes(litres: float, dwells: Sequence[float], puddle_litres: float = 0.3) -> list[Phase]:
    """Still changes of `litres` poured on a puddle, minutes each; the puddle is clean before the first."""
    return [washing(m, Vessel(volume=litres * LITRE, puddle=puddle_litres * LITRE)) for m in dwells]


def coupled(
    washes: Sequence[Phase],
    cells: int = 200,
    fix_seconds: float = 300.0,
    area: float = BATCH_AREA,
    every: float = 5.0,
) -> History:
    """Slab-mode batch fixed and taken through `washes`."""
    return run(slab(cells), [fixing(fix_seconds), *washes], area=area, every=every)


def layered_wash(
    sheet: FiniteVolumeSheet, fixer: float, fix_minutes: float, wash_minutes: float
) -> History:
    """Three-layer case of the notes: film 3e-6 m/s on both faces, fixer in mol/m3, then clean water."""
    phases = [
        Phase(
            duration=minutes * MINUTE,
            bath=bath,
            diffusivity=LAYER_FREE_DIFFUSIVITY,
            film_front=LAYER_FILM,
            film_back=LAYER_FILM,
        )
        for minutes, bath in ((fix_minutes, fixer), (wash_minutes, 0.0))
    ]
    return run(sheet, phases)


def viscosity_time_factor(cold: float, warm: float = 293.15) -> float:
    """How much longer diffusion takes at `cold` K than at `warm` K: D eta / T constant, water by IAPWS 2008.

    Viscosity and density come from the `chemicals` library (its IAPWS-95 and R12-08 routines), 101325 Pa.
    """
    from chemicals import iapws, viscosity  # slow to import, only this check needs it

    density: Any = iapws.iapws95_rho  # the library is partly untyped

    def ease(kelvin: float) -> float:
        return kelvin / float(viscosity.mu_IAPWS(kelvin, density(kelvin, 101325.0)))

    return ease(warm) / ease(cold)


def minutes_to(history: History, target: float = TARGET, phase: int = 1) -> float:
    """Minutes from the start of a phase until the residual stays below target; nan if it does not."""
    seconds = history.time_below(target, history.starts[phase])
    return seconds / MINUTE if math.isfinite(seconds) else math.nan
