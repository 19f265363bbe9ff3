"""Films that change with what they carry, and water beneath a sheet, against others' integrators.

Engine and reference share even nodes, so that the error in space drops out; the reference is
written independently, node by node, and follows its films all the time.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.verification import bent
from tests.verification.bent import FIXER, NODES, reference
from washsim.engine import acts, march

source = pytest.mark.source
LSODA = "Hindmarsh and Petzold, ODEPACK's LSODA (scipy), on an independent right-hand side"
CASES = {
    "quarter": {"held": 0.0, "film": 5e-7, "free": 3e-6, "power": 0.25},
    "third": {"held": 0.0, "film": 5e-7, "free": 3e-6, "power": 1 / 3},
    "held fixer, running": {
        "saturation": np.inf, "film": 1e-8, "free": 3e-6, "power": 1 / 3, "inflow": 1e-5
    },
    "places that fill up": {"film": 5e-7, "free": 3e-6, "power": 1 / 3, "inflow": 1e-5},
    "dead water": {
        "held": 0.0, "film": 1e-8, "free": 3e-6, "power": 1 / 3, "dead": 1e-3, "dead_rate": 1e-3
    },
    "two lots alike": {"areas": (0.05, 0.1), "film": 5e-7, "free": 3e-6, "power": 0.25},
}  # fmt: skip
NAMES = pytest.mark.parametrize("name", CASES)


def starts(wash) -> tuple[float, ...]:
    return (FIXER, FIXER)[: len(wash.areas)]


def wrong(found, wanted) -> float:
    """Relative to the content plus 1 mg/m2, as everywhere."""
    return float(np.max(np.abs(found - wanted) / (wanted + 1e-6)))


@source(LSODA)
@NAMES
def test_against_lsoda(name):
    """With the usual pieces a part in a thousand; the laws themselves are good to a third."""
    wash = reference(**CASES[name])
    found, wanted, water, exact = bent.both(wash, starts(wash))
    assert wrong(found, wanted) < 1e-3
    # water is worst in its first second, when there is next to nothing in it
    assert water == pytest.approx(exact, rel=3e-3, abs=1e-6)


@source("derived: middles make the error fall with the square of a piece, kinks apart")
@NAMES
def test_pieces_a_quarter_as_long_err_many_times_less(name):
    wash = reference(**CASES[name])
    errors = []
    for drift in (0.2, 0.05):
        found, wanted, _, _ = bent.both(wash, starts(wash), drift=drift)
        errors.append(wrong(found, wanted))
    assert errors[1] < 0.35 * errors[0]
    assert errors[1] < 4e-4


@source("derived: a film that does not depend on the difference is a constant film")
def test_no_power_is_a_constant_film():
    """The same solution to rounding, in pieces."""
    changing = reference(saturation=np.inf, film=1e-9, free=3e-6, power=0.0)
    times = np.linspace(0.0, 5400.0, 40)
    rows = bent.slab(changing).capacity[:, None]
    _, pieces = bent.march_of(changing, [FIXER], times[-1])
    _, whole = bent.march_of(reference(saturation=np.inf), [FIXER], times[-1])
    assert len(pieces) > len(whole) == 1
    look = [bent.seen(s, times, lambda one, t: one.slab_at(0, t, rows)) for s in (pieces, whole)]
    assert look[0] == pytest.approx(look[1], rel=1e-11, abs=0.0)


@source("derived: conservation; what flowed out and what is left is what was there")
@NAMES
@pytest.mark.parametrize("drift", [1.0, 0.1])
def test_nothing_is_lost_however_long_the_pieces(name, drift):
    wash = reference(**CASES[name])
    capacity = bent.slab(wash).capacity[0].sum()
    before = FIXER * sum(wash.areas) * capacity
    state, _ = bent.march_of(wash, starts(wash), 5400.0, drift=drift)
    gone = state.content() + state.tally.drained - state.tally.taken
    assert gone == pytest.approx(before, rel=1e-11, abs=0.0)


@source("derived: each piece is a linear exchange on even nodes (maximum principle)")
@NAMES
def test_nothing_turns_negative_or_richer_than_its_source(name):
    wash = reference(**CASES[name])
    times = np.geomspace(0.01, 5400.0, 300)
    _, segments = bent.march_of(wash, starts(wash), times[-1])
    for lot in range(len(wash.areas)):
        seen = bent.seen(segments, times, lambda s, t, lot=lot: s.slab_at(lot, t))
        assert seen.min() >= -1e-9 * FIXER
        if not np.isfinite(wash.saturation) or not wash.held:
            assert seen.max() <= FIXER * (1 + 1e-12)


@source("derived: members do not meet")
def test_members_side_by_side_are_separate_runs():
    """Each takes pieces of its own, if sometimes shorter ones for the sake of another."""
    washes = [
        reference(held=0.0, film=5e-7, free=f, power=0.25, volume=v)
        for f, v in ((3e-6, 4e-3), (1e-6, 1e-3), (6e-6, 2e-2))
    ]
    kind = bent.stacked_slabs([bent.slab(wash) for wash in washes])
    free = np.array([wash.free for wash in washes])[:, None, None]

    def currents(difference, still):
        return np.maximum(5e-7, free * np.abs(difference) ** 0.25)

    at = bent.stacked_conditions([bent.conditions(wash) for wash in washes])
    nothing, ends = np.zeros(3), np.array([600.0, 5400.0, 2000.0])
    state = march.March([kind], [(0, np.full(3, 0.05), np.full(3, FIXER))], 1, 3)
    deeds = [
        acts.Set(nothing, 0, replace(at, currents=currents)),
        acts.Fill(nothing, 0, np.array([wash.volume for wash in washes]), nothing),
        acts.Place(nothing, 0, 0),
        acts.Lift(ends, 0, nothing),
    ]
    list(state.run(deeds))
    for m, wash in enumerate(washes):
        alone, _ = bent.march_of(wash, [FIXER], ends[m])
        # both within a part in a thousand of the truth
        exact = alone.lots[0].state[0]
        assert state.lots[0].state[m] == pytest.approx(exact, rel=2e-3)


@source("derived: a layer of still water beneath that trades with the tray; matrix exponential")
def test_a_back_that_meets_only_the_water_beneath():
    """Two waters and one slab, each exchange written out by hand, scipy's expm."""
    from scipy.linalg import expm

    wash = reference(held=0.0, dead=2e-4, dead_rate=2e-3)
    at = replace(bent.conditions(wash), film=np.array([[3e-6, 8e-6]]), pooled=True)
    state, _ = bent.march_of(wash, [FIXER], 1800.0, at=at)
    n, area, kind = NODES + 1, 0.05, bent.slab(wash)
    rates = np.zeros((n + 2, n + 2))

    def trade(i, j, conductance):
        for a, b in ((i, j), (j, i)):
            rates[a, a] -= conductance
            rates[a, b] += conductance

    for i in range(n - 1):
        trade(i, i + 1, area * wash.porosity * wash.inside / (wash.thickness / NODES))
    trade(0, n, area * 3e-6)
    trade(n - 1, n + 1, area * 8e-6)
    trade(n, n + 1, wash.dead * wash.dead_rate)
    sizes = np.concatenate([area * kind.mobile[0], [wash.volume, wash.dead]])
    start = np.concatenate([np.full(n, FIXER), [0.0, 0.0]])
    end = expm(rates / sizes[:, None] * 1800.0) @ start
    assert state.lots[0].state[0, :n] == pytest.approx(end[:n], rel=1e-10)
    tank = state.tanks[0]
    assert [tank.moving[0], tank.dead[0]] == pytest.approx(end[n:], rel=1e-10)
    assert state.content() == pytest.approx(FIXER * area * kind.mobile.sum(), rel=1e-13)
