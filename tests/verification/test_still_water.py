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
from washsim.engine.interval import Decay
from washsim.engine.pushed import Pushed

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
    "a fresh lot and a washed one": {
        "areas": (0.05, 0.1), "held": 0.0, "film": 5e-7, "free": 3e-6, "power": 0.25
    },
}  # fmt: skip
NAMES = pytest.mark.parametrize("name", CASES)


def starts(wash) -> tuple[float, ...]:
    second = FIXER if wash.held else 1.0
    return (FIXER, second)[: len(wash.areas)]


@source(LSODA)
@NAMES
def test_against_lsoda(name):
    """LSODA itself is good to about 1e-9."""
    wash = reference(**CASES[name])
    found, wanted, water, exact = bent.both(wash, starts(wash), tolerance=1e-9)
    assert bent.wrong(found, wanted) < 3e-8
    assert water == pytest.approx(exact, rel=3e-7, abs=1e-9)


@source("derived: a tolerance a hundred times smaller gives an error many times smaller")
@NAMES
def test_the_error_follows_the_tolerance(name):
    wash = reference(**CASES[name])
    errors = []
    for tolerance in (1e-3, 1e-5, 1e-7):
        found, wanted, _, _ = bent.both(wash, starts(wash), tolerance=tolerance)
        errors.append(bent.wrong(found, wanted))
    assert errors[2] < 0.01 * errors[0]
    # where a law has a kink the points of a step do not weigh its error out
    assert all(e < 3 * t for e, t in zip(errors, (1e-3, 1e-5, 1e-7), strict=True))


@source("derived: a film that does not depend on the difference is a constant film")
def test_no_power_is_a_constant_film():
    """The same solution to rounding: nothing is left to push."""
    changing = reference(saturation=np.inf, film=1e-9, free=3e-6, power=0.0)
    times = np.linspace(0.0, 5400.0, 40)
    rows = bent.slab(changing).capacity[:, None]
    _, steps = bent.march_of(changing, [FIXER], times[-1])
    _, whole = bent.march_of(reference(saturation=np.inf), [FIXER], times[-1])
    assert [type(s.water) for s in (steps[0], whole[0])] == [Pushed, Decay]
    look = [bent.seen(s, times, lambda one, t: one.slab_at(0, t, rows)) for s in (steps, whole)]
    assert look[0] == pytest.approx(look[1], rel=1e-11, abs=0.0)


@source("derived: conservation; what flowed out and what is left is what was there")
@NAMES
@pytest.mark.parametrize("tolerance", [1.0, 1e-4])
def test_nothing_is_lost_whatever_the_tolerance(name, tolerance):
    wash = reference(**CASES[name])
    capacity = bent.slab(wash).capacity[0].sum()
    amounts = zip(wash.areas, starts(wash), strict=True)
    before = sum(area * start for area, start in amounts) * capacity
    state, _ = bent.march_of(wash, starts(wash), 5400.0, tolerance=tolerance)
    gone = state.content() + state.tally.drained - state.tally.taken
    assert gone == pytest.approx(before, rel=1e-11, abs=0.0)


@source("derived: exchange that is zero where there is no difference keeps solute positive")
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


@source("derived: films that stayed as they are would make the modes of constant films")
def test_rates_in_force_are_those_of_the_films_at_the_moment():
    wash = reference(held=0.0, film=5e-7, free=3e-6, power=0.25, dead=2e-4, dead_rate=2e-3)
    _, (segment,) = bent.march_of(wash, [FIXER], 3600.0)
    for seconds in (10.0, 600.0):
        at = np.array([[seconds]])
        faces = segment.slab_at(0, at)[0, 0, [0, NODES]]
        film = max(5e-7, 3e-6 * (faces[0] - segment.water_at(at)[0, 0, 0]) ** 0.25)
        assert faces[1] == pytest.approx(faces[0], rel=1e-9)
        _, (constant,) = bent.march_of(replace(wash, film=film, free=0.0), [FIXER], 3600.0)
        found = np.sort(segment.rates_at(0, at[0])[0])
        assert found == pytest.approx(np.sort(constant.rates_at(0, at[0])[0]), rel=1e-6, abs=1e-9)


@source("derived: conservation, and fixer only leaves; a law that jumps has no smooth solution")
def test_a_film_that_jumps_is_got_through():
    """Where the faster film cannot be fed and the slower one is fed too much."""
    wash = reference(held=0.0)

    def jumps(difference, still):
        return np.where(difference > 5.0, 4e-6, 5e-7)

    at = replace(bent.conditions(wash), currents=jumps)
    state, segments = bent.march_of(wash, [FIXER], 1800.0, at=at)
    before = FIXER * 0.05 * bent.slab(wash).capacity[0].sum()
    assert state.content() == pytest.approx(before, rel=1e-11, abs=0.0)
    times = np.linspace(0.0, 1800.0, 200)
    rows = bent.slab(wash).capacity[:, None]
    left = bent.seen(segments, times, lambda s, t: s.slab_at(0, t, rows))[:, 0]
    assert (np.diff(left) < 0).all()
    # a jump in so narrow a slope that it hardly is one
    steep = replace(at, currents=lambda d, still: 5e-7 + 3.5e-6 / (1 + np.exp(50 * (5.0 - d))))
    _, smooth = bent.march_of(wash, [FIXER], 1800.0, at=steep)
    near = bent.seen(smooth, times, lambda s, t: s.slab_at(0, t, rows))[:, 0]
    # while its difference stays at the jump each step may be wrong by the tolerance
    assert left == pytest.approx(near, rel=2e-2)


@source("derived: members do not meet")
def test_members_side_by_side_are_separate_runs():
    """Each within its tolerance, the steps being those that the worst of them needs."""
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
    lots = [(0, np.full(3, 0.05), np.full(3, FIXER))]
    state = march.March([kind], lots, 1, 3, tolerance=1e-9)
    deeds = [
        acts.Set(nothing, 0, replace(at, currents=currents)),
        acts.Fill(nothing, 0, np.array([wash.volume for wash in washes]), nothing),
        acts.Place(nothing, 0, 0),
        acts.Lift(ends, 0, nothing),
    ]
    list(state.run(deeds))
    for m, wash in enumerate(washes):
        alone, _ = bent.march_of(wash, [FIXER], ends[m], tolerance=1e-9)
        exact = alone.lots[0].state[0]
        assert state.lots[0].state[m] == pytest.approx(exact, rel=1e-6)


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
