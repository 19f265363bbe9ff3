"""Tanks of which each feeds the next: closed forms, and the matrix exponential with sheets in them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import expm

from tests.verification import bent, rig
from tests.verification.bent import FIXER, NODES, reference
from washsim import files
from washsim.engine import acts, march
from washsim.recipes import Running
from washsim.solve import solve
from washsim.vessels import Vessel

source = pytest.mark.source
TANKS, VOLUME, INFLOW = 4, 2e-3, 2e-5
"""Each water lasts 100 s."""


def row_of_tanks(lots, kinds, start: float, seconds: float, drift: float, more=None):
    """State and segments of a row whose waters start alike; lot i stands in tank i."""
    state = march.March(kinds, lots, TANKS, 1, drift=drift)
    zero = rig.row(0.0)
    deeds: list[acts.Event] = []
    for tank in range(TANKS):
        at = rig.conditions(1e-9, 3e-6, inflow=INFLOW, **(more or {}))
        at = replace(at, fed_by=tank - 1 if tank else None)
        deeds += [
            acts.Fill(zero, tank, rig.row(VOLUME), rig.row(start)),
            acts.Set(zero, tank, at),
        ]
    deeds += [acts.Place(zero, lot, lot) for lot in range(len(lots))]
    deeds.append(acts.Set(rig.row(seconds), 0, rig.conditions(1e-9, 3e-6)))
    return state, list(state.run(deeds))


@source(
    "derived: stirred tanks in series washed out, exp(-x) times the exponential series to k terms"
)
@pytest.mark.parametrize("minutes", [1, 5, 10])
def test_waters_in_a_row_without_sheets(minutes):
    seconds = 60.0 * minutes
    errors = []
    for drift in (0.034, 0.017):
        state, _ = row_of_tanks([], [], 1.0, seconds, drift)
        x = seconds * INFLOW / VOLUME
        terms = np.cumsum([x**j / math.factorial(j) for j in range(TANKS)])
        found = np.array([tank.moving[0] for tank in state.tanks])
        errors.append(np.max(np.abs(found - math.exp(-x) * terms)))
        left = VOLUME * found.sum()
        assert left + state.tally.drained[0] == pytest.approx(TANKS * VOLUME, rel=1e-13)
        # only what came from the tap or went to the drain is counted: fresh water holds nothing
        assert state.tally.taken[0] == pytest.approx(TANKS * VOLUME, rel=1e-13)
    # of the water's start; halved pieces err four times less
    assert errors[0] < 2.5e-4
    assert errors[1] < 0.4 * errors[0]


@source("scipy.linalg.expm on every exchange of four sheets and four waters, written out by hand")
def test_sheets_in_a_row():
    wash = reference(held=0.0, inflow=INFLOW, volume=VOLUME)
    n, area, kind = NODES + 1, 0.05, bent.slab(wash)
    size = TANKS * (n + 1)
    rates = np.zeros((size, size))
    sizes = np.tile(np.concatenate([area * kind.mobile[0], [VOLUME]]), TANKS)
    for tank in range(TANKS):
        first, water = tank * (n + 1), tank * (n + 1) + n
        trades = [
            (first + i, first + i + 1, area * 0.6 * 3e-11 / (wash.thickness / NODES))
            for i in range(n - 1)
        ]
        trades += [(first, water, area * 3e-6), (first + n - 1, water, area * 3e-6)]
        for i, j, conductance in trades:
            for a, b in ((i, j), (j, i)):
                rates[a, a] -= conductance
                rates[a, b] += conductance
        rates[water, water] -= INFLOW
        if tank:
            rates[water, water - n - 1] += INFLOW
    start = np.tile(np.concatenate([np.full(n, FIXER), [0.0]]), TANKS)
    lots = [(0, rig.row(area), rig.row(FIXER))] * TANKS
    errors = []
    for drift in (0.066, 0.033):
        state, _ = row_of_tanks(lots, [kind], 0.0, 1800.0, drift)
        end = (expm(rates / sizes[:, None] * 1800.0) @ start).reshape(TANKS, n + 1)
        found = np.array([lot.state[0, :n] for lot in state.lots])
        errors.append(np.max(np.abs(found / end[:, :n] - 1)))
    assert errors[1] < 1e-4
    assert errors[1] < 0.5 * errors[0]


@source("derived: a dead part, currents and places that fill up lose nothing in a row either")
def test_nothing_is_lost_in_a_row():
    wash = reference()
    lots = [(0, rig.row(0.05), rig.row(FIXER))] * TANKS
    more = {"dead_share": 0.2, "dead_rate": 1e-3}
    state, segments = row_of_tanks(lots, [bent.slab(wash)], 0.5, 900.0, 0.033, more)
    before = TANKS * (0.05 * bent.slab(wash).capacity.sum() * FIXER)
    gone = state.content() + state.tally.drained - state.tally.taken
    assert gone == pytest.approx(before, rel=1e-11)
    assert {one.tank for one in segments if not one.onward} == {TANKS - 1}
    assert state.tally.taken[0] == pytest.approx(0.5 * TANKS * VOLUME, rel=1e-12)


def in_slots(slots: int, flow: float, count: int = 14, hours: float = 1.0):
    washer = Vessel(name="washer", volume=25e-3, flow=flow * 1e-3 / 60, stirring="tap_only")
    steps = (Running(vessel="washer", duration=3600.0 * hours, slots=slots),)
    changes = {"vessels": (washer,), "steps": steps, "sheet.count": count}
    return solve(files.example("demo").but(changes))


@source("derived: water counts once, however many slots it runs through")
def test_slots_share_one_tap():
    one, seven = in_slots(1, 1.0), in_slots(7, 1.0)
    assert seven.litres_total == pytest.approx(one.litres_total, rel=1e-12)
    assert sum(d.volume for d in seven.drains) == pytest.approx(seven.litres_total, rel=1e-12)
    assert seven.balance < 1e-11
    assert seven.water_to_paper(1) == pytest.approx(one.water_to_paper(1), rel=1e-12)
    ends = seven.final_residual
    # the first sheets stand where fresh water comes in
    assert list(ends) == sorted(ends)
    assert ends[-1] < one.worst_residual


@source("derived: a flow that renews slots many times a minute leaves none richer than the next")
def test_in_a_torrent_a_row_is_one_water():
    one, seven = in_slots(1, 400.0), in_slots(7, 400.0)
    assert seven.worst_residual == pytest.approx(one.worst_residual, rel=1e-3)
