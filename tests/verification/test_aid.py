"""Wash aid: sulfite as a second species, against an independent integration and its two limits."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from washsim import aid, files, tables
from washsim.liquids import filling, quickening
from washsim.recipes import Aid, Rinse, Running
from washsim.scenario import Scenario
from washsim.solve import solve

MINUTE = 60.0


def short_wash(aid_minutes: float = 5.0, used: float = 0.0, **more) -> Scenario:
    """One sheet: fixed, five minutes of aid, then running water; nothing clings to it."""
    return files.example("demo").but(
        {
            "sheet.count": 1,
            "sheet.explanation": "held",
            "fixing.duration": 300.0,
            "handling.drain": 0.0,
            "handling.carry_over": 0.0,
            "vessels.tray.puddle": 0.0,
            "vessels.washer.exchange_efficiency": 1.0,
            "steps": (
                Aid(vessel="tray", duration=aid_minutes * MINUTE, used=used * 1e3),
                Running(vessel="washer", duration=20 * MINUTE),
            ),
            **more,
        }
    )


def two_species(scenario: Scenario, cells: int) -> float:
    """Residual, kg/m2, by finite volumes and Radau: fixer, held fixer and sulfite side by side."""
    layers = scenario.sheet.material.layers
    share = [cells // 8, cells // 8, cells - 2 * (cells // 8)]
    width = np.concatenate(
        [np.full(n, x.thickness / n) for n, x in zip(share, layers, strict=True)]
    )
    each = {
        name: np.concatenate(
            [np.full(n, getattr(x, name)) for n, x in zip(share, layers, strict=True)]
        )
        for name in ("porosity", "hindrance", "retention", "release_half_life")
    }
    pores, holds = each["porosity"] * width, each["retention"] * width
    inner = width / (2 * each["porosity"] * each["hindrance"])
    area = scenario.sheet.area
    rate = math.log(2) / each["release_half_life"]
    half = tables.datum("liquids.sulfite.half_effect").value

    def flow(c, water, free, film):
        """kg/m2/s into each cell, and out of both faces into the water."""
        between = free * (c[:-1] - c[1:]) / (inner[:-1] + inner[1:])
        faces = (c[[0, -1]] - water) / (1 / film + inner[[0, -1]] / free)
        into = np.zeros_like(c)
        into[:-1] -= between
        into[1:] += between
        into[[0, -1]] -= faces
        return into, faces.sum()

    def march(y, seconds, supply, flow_rate, volume, in_fixer=False):
        stirring = scenario.fixing.stirring if in_fixer else "rocking"
        stirring = "tap_only" if flow_rate else stirring
        known = tables.datum(f"liquids.stirring.{stirring}.film").si  # all at 20 C
        kinds = (scenario.fixing.free_diffusivity, scenario.water.free_diffusivity(293.15))
        free = kinds[0] if in_fixer else kinds[1]
        base = filling(293.15, each["release_half_life"][0]) if in_fixer else 1.0
        strong = quickening("sulfite", 293.15) - 1.0

        def slope(_, y):
            c, g, a = y[:cells], y[cells : 2 * cells], y[2 * cells : 3 * cells]
            water, sulfite = y[3 * cells :]
            effect = np.maximum(a, 0) * (1 + half) / (np.maximum(a, 0) + half)
            k = rate * (base + strong * effect)
            into, out = flow(c, supply if in_fixer else water, free, known)
            into_a, out_a = flow(a, 0.0 if in_fixer else sulfite, aid.diffusivity(293.15), known)
            still = 0.0 if in_fixer else 1.0
            return np.concatenate(
                [
                    (into - k * holds * (c - g)) / pores,
                    k * (c - g),
                    into_a / pores,
                    [
                        still * (area * out - flow_rate * water) / volume,
                        still * (area * out_a - flow_rate * sulfite) / volume,
                    ],
                ]
            )

        return solve_ivp(slope, (0, seconds), y, "BDF", rtol=1e-8, atol=1e-11).y[:, -1]

    y = march(np.zeros(3 * cells + 2), 300.0, scenario.fixing.concentration, 0.0, 1.0, True)
    y[-2:] = 0.0, 1.0
    y = march(y, 5 * MINUTE, 0.0, 0.0, 4e-3)
    y[-2:] = 0.0, 0.0
    y = march(y, 20 * MINUTE, 0.0, 4e-3 / MINUTE, 20e-3)
    return float(pores @ y[:cells] + holds @ y[cells : 2 * cells])


@pytest.mark.source("derived: the same two species by finite volumes and SciPy's BDF")
def test_sulfite_spreads_and_quickens_as_an_independent_integration_says():
    scenario = short_wash()
    coarse, fine = two_species(scenario, 48), two_species(scenario, 96)
    expected = fine + (fine - coarse) / 3
    # spans of 10 to 120 s in which the quickening counts as constant: second order, 1e-3
    assert solve(scenario).worst_residual == pytest.approx(expected, rel=3e-3)


@pytest.mark.source("derived: no sulfite, no effect: fixer alone")
def test_a_spent_aid_is_a_bath_of_water():
    spent = solve(short_wash(used=100.0))  # exp(-22) of its strength
    water = short_wash().but(
        steps=(
            Rinse(vessel="tray", duration=5 * MINUTE),
            Running(vessel="washer", duration=20 * MINUTE),
        )
    )
    assert spent.worst_residual == pytest.approx(solve(water).worst_residual, rel=1e-9)


@pytest.mark.source("derived: release at once leaves no held fixer beyond equilibrium")
def test_an_endless_aid_leaves_nothing_held(monkeypatch):
    """Quickened a thousandfold, the print washes like one that holds nothing."""
    real = aid.quickening

    def endless(liquid, temperature):
        return real(liquid, temperature) * (1e3 if liquid == "sulfite" else 1.0)

    monkeypatch.setattr(aid, "quickening", endless)
    endlessly, not_at_all = solve(short_wash()), solve(short_wash(used=100.0))
    end = endlessly.run.timeline.end
    assert not_at_all.shares(0, end)["release"] > 0.8
    # what is left waiting is what sulfite, itself washing out, no longer reaches
    assert endlessly.shares(0, end)["release"] < 0.02
    assert endlessly.balance < 1e-10


@pytest.mark.source(
    "derived: what is let go at once moves with the pores: retardation (porosity + K) / porosity"
)
def test_an_endless_aid_is_a_print_that_holds_nothing_back(monkeypatch):
    """Fixed until full, then in aid alone; the other print's layers only hold more liquid's worth.

    The trade is split off in spans of 10 s and more, in which a little diffuses by itself.
    """
    real = aid.quickening

    def endless(liquid, temperature):
        return real(liquid, temperature) * (1e5 if liquid == "sulfite" else 1.0)

    monkeypatch.setattr(aid, "quickening", endless)
    steps = (Aid(vessel="tray", duration=20 * MINUTE),)
    aided = short_wash(**{"fixing.duration": 7200.0, "steps": steps})
    layers = tuple(
        replace(x, retention=0.0, retardation=x.retardation + x.retention / x.porosity)
        for x in aided.sheet.material.layers
    )
    plain = aided.but(
        {
            "sheet": replace(aided.sheet, paper="own", explanation="own", layers=layers),
            "steps": (Rinse(vessel="tray", duration=20 * MINUTE),),
        }
    )
    endlessly, freely, held = solve(aided), solve(plain), solve(aided.but({"steps": plain.steps}))
    assert endlessly.load[0] == pytest.approx(freely.load[0], rel=1e-3)
    assert held.worst_residual > 2 * freely.worst_residual
    assert endlessly.worst_residual == pytest.approx(freely.worst_residual, rel=0.02)


@pytest.mark.source("common practice, no source: a longer and a fresher aid does more")
def test_more_aid_leaves_less():
    ends = [solve(short_wash(minutes)).worst_residual for minutes in (1.0, 3.0, 10.0)]
    assert ends == sorted(ends, reverse=True)
    tired = [solve(short_wash(used=used)).worst_residual for used in (0.0, 2.0, 10.0)]
    assert tired == sorted(tired)


@pytest.mark.source("derived: each m2 carries its own liquid in and as much of the bath out")
def test_exhaustion_is_dilution():
    """0.28 L of liquid a m2: after ten m2 through a litre a fresh bath is down to exp(-2.8)."""
    scenario = files.example("demo").but({"steps": (Aid(vessel="tray", duration=60.0, used=1e4),)})
    liquid = scenario.sheet.material.held_liquid + scenario.handling.film(10.0)
    assert aid.strength(scenario, 1) == pytest.approx(math.exp(-1e4 * liquid), rel=1e-12)
    assert 0.05 < aid.strength(scenario, 1) < 0.07
