"""Clearing of the emulsion against the closed form of a moving front and facts of the trade."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from washsim import clearing, files
from washsim.fixers import Fixing
from washsim.papers import preset_layers

EMULSION = preset_layers("fibre_double").layers[0]


@pytest.mark.source(
    "Crank, The Mathematics of Diffusion, 2nd ed., 1975, ch. 13 (steady flux to a front)"
)
def test_front_time_is_the_integral_of_its_speed():
    """ds/dt = c / (b / L) / (1/k + s/De), integrated by SciPy to 1e-9."""
    fixing = Fixing(thiosulfate=90.0)
    film, grains, half = clearing.resistances(EMULSION, fixing)
    bound = clearing.front_time(EMULSION, fixing, 90.0) * 90.0 / (film + grains + half)

    def speed(_: float, s: np.ndarray) -> np.ndarray:
        resistance = film + grains + 2 * half * s / EMULSION.thickness
        return np.array([90.0 / (bound / EMULSION.thickness) / resistance[0]])

    def through(_: float, s: np.ndarray) -> float:
        return float(s[0] - EMULSION.thickness)

    through.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(speed, (0, 1e4), [0.0], events=through, rtol=1e-10, atol=1e-16)
    expected = run.t_events[0][0]
    assert clearing.front_time(EMULSION, fixing, 90.0) == pytest.approx(expected, rel=1e-7)


@pytest.mark.source("derived: a front behind a film is linear in depth, a front in gelatin square")
def test_linear_and_square_laws():
    fixing = Fixing(thiosulfate=90.0)
    thick = dataclasses.replace(EMULSION, thickness=2 * EMULSION.thickness)
    once, twice = (clearing.resistances(layer, fixing)[2] for layer in (EMULSION, thick))
    # twice the depth holds twice the silver: t ~ depth x (film + depth/2De)
    assert 2 * twice == pytest.approx(4 * once, rel=1e-12)
    assert clearing.front_time(EMULSION, fixing, 45.0) == pytest.approx(
        2 * clearing.front_time(EMULSION, fixing, 90.0), rel=1e-12
    )


@pytest.mark.source("derived: two thiosulfate ions to a silver, atomic weights IUPAC 2021")
def test_silver_binds_thiosulfate():
    """One mole of silver in a litre binds two of thiosulfate: 107.87 g binds 224.2 g."""
    fixing = Fixing(thiosulfate=300.0)
    left = clearing.free_thiosulfate(fixing, 107.8682)
    assert 300.0 - left == pytest.approx(2 * 112.12, rel=1e-4)


@pytest.mark.source("common practice, no source (clearing times of paper, from memory)")
def test_paper_clears_in_customary_times():
    """Rapid 1+4 in 5 to 20 s, plain hypo in 20 to 40 s, at 20 C."""
    demo = files.example("demo")
    rapid = clearing.clearing(demo)
    plain = clearing.clearing(demo.but({"fixing.fixer": "plain", "fixing.dilution": None}))
    assert 5 <= rapid.seconds <= 20
    assert 20 <= plain.seconds <= 40


@pytest.mark.source("common practice, no source: strong, fresh and warm fixer clears faster")
def test_tired_cold_and_weak_fixer_lose_their_margin():
    demo = files.example("demo").but({"fixing.sheets_per_litre": 0.0})
    fresh = clearing.clearing(demo)
    assert fresh.enough
    for change in (
        {"fixing.dilution": "1+9"},
        {"fixing.temperature": 278.15},
        {"fixing.sheets_per_litre": 80.0},
        {"fixing.stirring": "still_face_up"},
    ):
        assert clearing.clearing(demo.but(change)).ratio < fresh.ratio
    weak = demo.but({"fixing.dilution": "1+19", "fixing.duration": 30.0})
    assert not clearing.clearing(weak).enough
