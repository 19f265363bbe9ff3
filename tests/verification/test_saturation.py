"""Retention that fills up, against others' integrators on an independent right-hand side.

Engine and reference share even nodes, so that the error in space drops out and only time is
compared; the reference is written independently, node by node.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.references import layered
from tests.verification import bent, rig
from tests.verification.bent import FIXER, NODES, POROSITY, THICKNESS, reference
from washsim.engine import acts, bending, march
from washsim.engine.interval import Decay
from washsim.engine.pushed import Pushed

source = pytest.mark.source
LSODA = "Hindmarsh and Petzold, ODEPACK's LSODA (scipy), on an independent right-hand side"
CASES = {
    "closed": {},
    "filled by a trace": {"saturation": 0.1, "held": 0.9},
    "quick release": {"saturation": 0.1, "held": 0.9, "release": 2e-2},
    "running water": {"inflow": 2e-5, "supply": 0.2},
    "dead water": {"inflow": 1e-5, "dead": 1e-3, "dead_rate": 1e-3},
    "boundless": {"volume": np.inf, "supply": 20.0},
    "three lots": {"areas": (0.05, 0.1, 0.02), "inflow": 1e-5},
}
NAMES = pytest.mark.parametrize("name", CASES)


def starts(wash) -> tuple[float, ...]:
    return (FIXER, 30.0, 1.0)[: len(wash.areas)]


@source(LSODA)
@NAMES
def test_against_lsoda(name):
    """A step may move 1e-9 of the content wrongly; LSODA itself is good to about 1e-9."""
    wash = reference(**CASES[name])
    found, wanted, water, exact = bent.both(wash, starts(wash), tolerance=1e-9)
    assert bent.wrong(found, wanted) < 1e-8
    assert water == pytest.approx(exact, rel=3e-8, abs=1e-9)


@source("Hairer and Wanner, Radau IIA of order 5 (scipy), on an independent right-hand side")
@NAMES
def test_the_usual_tolerance(name):
    """It promises amounts some times better than itself."""
    wash = reference(**CASES[name])
    found, wanted, _, _ = bent.both(wash, starts(wash), method="Radau")
    assert bent.wrong(found, wanted) < 0.3 * bending.TOLERANCE


@source("derived: a tolerance a hundred times smaller gives an error many times smaller")
@NAMES
def test_the_error_follows_the_tolerance(name):
    wash = reference(**CASES[name])
    errors = []
    for tolerance in (1e-3, 1e-5, 1e-7):
        found, wanted, _, _ = bent.both(wash, starts(wash), tolerance=tolerance)
        errors.append(bent.wrong(found, wanted))
    assert errors[2] < 0.03 * errors[0]
    assert all(e < t for e, t in zip(errors, (1e-3, 1e-5, 1e-7), strict=True))


@source("derived: where nothing ever fills up the law is linear (Henry's law)")
def test_hardly_filled_is_the_linear_engine():
    """The laws differ by concentration over saturation, 1e-10."""
    times = np.linspace(0.0, 5400.0, 40)
    rows = bent.slab(reference()).capacity[:, None]
    kinds = []
    contents = []
    for full in (1e12, np.inf):
        wash = reference(saturation=full)
        _, segments = bent.march_of(wash, [FIXER], times[-1], tolerance=1e-9)
        kinds.append(type(segments[0].parts[0][0]))
        contents.append(bent.seen(segments, times, lambda s, t: s.slab_at(0, t, rows)))
    assert kinds == [Pushed, Decay]
    assert contents[0] == pytest.approx(contents[1], rel=1e-8, abs=0.0)


@source("derived: conservation; what flowed out and what is left is what was there")
@NAMES
@pytest.mark.parametrize("tolerance", [1e-2, 1e-5])
def test_nothing_is_lost_whatever_the_tolerance(name, tolerance):
    """Taken from a boundless bath is counted by its own integral, so that it can fail there too."""
    wash = reference(**CASES[name])
    capacity = bent.slab(wash).capacity[0].sum()
    amounts = zip(wash.areas, starts(wash), strict=True)
    before = sum(area * start for area, start in amounts) * capacity
    state, _ = bent.march_of(wash, starts(wash), 5400.0, tolerance=tolerance)
    gone = state.content() + state.tally.drained - state.tally.taken
    # the many small numbers of a bath's inflow add up to rounding
    assert gone == pytest.approx(before, rel=1e-10, abs=0.0)


@source("derived: exchange between nodes that is zero where there is nothing keeps solute positive")
@NAMES
def test_positive_on_even_nodes(name):
    """At the usual tolerance, from the first hundredth of a second on, in an empty sheet too.

    Which may move a tolerance of the trace it is measured by wrongly, through any of its nodes.
    """
    wash = reference(**CASES[name])
    times = np.geomspace(0.01, 5400.0, 300)
    begin = (FIXER, 30.0, 0.0)[: len(wash.areas)]
    _, segments = bent.march_of(wash, begin, times[-1])
    for lot in range(len(begin)):
        seen = bent.seen(segments, times, lambda s, t, lot=lot: s.slab_at(lot, t))
        assert seen.min() >= -NODES * bending.TOLERANCE * bending.TRACE * FIXER


@source("derived: held = K c / (1 + c / saturation); a quadratic for the closed bath's one c")
def test_balance_in_a_closed_bath():
    wash = reference(release=1e-2)
    _, segments = bent.march_of(wash, [FIXER], 4e5, tolerance=1e-8)
    mobile, held, area = THICKNESS * POROSITY, THICKNESS * wash.held, 0.05
    free, total = wash.volume + area * mobile, FIXER * area * (mobile + held)
    # free c (1 + c/s) + area held c = total (1 + c/s)
    roots = np.roots([free / wash.saturation, free + area * held - total / wash.saturation, -total])
    c = float(roots.max())
    end, n = np.array([[4e5]]), NODES + 1
    found = segments[-1].slab_at(0, end)[0, 0]
    assert found[:n] == pytest.approx(c, rel=1e-6)
    assert found[n:] == pytest.approx(c / (1 + c / wash.saturation), rel=1e-6)
    assert segments[-1].water_at(end)[0, 0, 0] == pytest.approx(c, rel=1e-6)


@source("derived: members do not meet")
def test_members_side_by_side_are_separate_runs():
    washes = [
        reference(saturation=s, film=f, volume=v)
        for s, f, v in ((0.2, 3e-6, 4e-3), (5.0, 1e-6, 1e-3), (1.0, 6e-6, 2e-2))
    ]
    kind = bent.stacked_slabs([bent.slab(wash) for wash in washes])
    at = bent.stacked_conditions([bent.conditions(wash) for wash in washes])
    nothing, ends = np.zeros(3), np.array([600.0, 5400.0, 2000.0])
    lots = [(0, np.full(3, 0.05), np.full(3, FIXER))]
    state = march.March([kind], lots, 1, 3, tolerance=1e-9)
    deeds = [
        acts.Set(nothing, 0, at),
        acts.Fill(nothing, 0, np.array([wash.volume for wash in washes]), nothing),
        acts.Place(nothing, 0, 0),
        acts.Lift(ends, 0, nothing),
    ]
    (segment,) = state.run(deeds)
    times = ends[:, None] * np.linspace(0.0, 1.0, 20)
    found = segment.slab_at(0, times)
    for m, wash in enumerate(washes):
        _, (alone,) = bent.march_of(wash, [FIXER], ends[m], tolerance=1e-9)
        exact = alone.slab_at(0, times[m : m + 1])[0]
        assert found[m] == pytest.approx(exact, rel=1e-6, abs=1e-7)


@source("derived: in the air a closed slab keeps its content and tends to the law's balance")
def test_a_slab_that_fills_up_rests_in_the_air():
    wash = reference(release=1e-2, volume=np.inf)
    lots = [(0, rig.row(0.05), rig.row(FIXER))]
    state = march.March([bent.slab(wash)], lots, 1, 1, tolerance=1e-8)
    zero = rig.row(0.0)
    deeds = [
        acts.Set(zero, 0, bent.conditions(wash)),
        acts.Place(zero, 0, 0),
        acts.Lift(rig.row(300.0), 0, zero),
    ]
    list(state.run(deeds))
    before = state.content()
    list(state.run([acts.Place(rig.row(1e5), 0, 0)]))
    assert state.content() == pytest.approx(before, rel=1e-12)
    n = NODES + 1
    c, g = state.lots[0].state[0, :n], state.lots[0].state[0, n:]
    assert c == pytest.approx(np.full(n, c.mean()), rel=1e-6)
    assert g == pytest.approx(c / (1 + c / wash.saturation), rel=1e-6)


@source(LSODA)
def test_extra_release_of_a_slab_that_fills_up():
    """A node's trade alone: second order in the steps it is cut into, at most a tenth each."""
    wash = reference()
    kind = bent.slab(wash)
    n, errors = NODES + 1, []
    mobile, held, release = kind.mobile[0, 3], kind.held[0, 3], kind.release[0, 3]

    def trade(_, y):
        flow = release * (y[0] / (1 + y[0] / wash.saturation) - y[1])
        return [-flow / mobile, flow / held]

    exact = solve_ivp(trade, (0, 1200.0), [0.05, 0.6], "LSODA", rtol=1e-11, atol=1e-13).y[:, -1]
    for pieces in (16, 32):
        state = march.March([kind], [(0, rig.row(0.05), rig.row(0.05))], 1, 1)
        state.lots[0].state[0, n:] = 0.6
        extra = np.full((1, n), 1200.0 / pieces)
        list(state.run([acts.Release(rig.row(0.0), 0, extra) for _ in range(pieces)]))
        found = state.lots[0].state[0, [3, n + 3]]
        errors.append(np.max(np.abs(found - exact) / exact))
        kept = mobile * found[0] + held * found[1]
        assert kept == pytest.approx(mobile * 0.05 + held * 0.6, rel=1e-12)
    assert errors[1] < 1e-3
    assert errors[1] == pytest.approx(errors[0] / 4, rel=0.1)


@source("derived: two layers that fill up at 1 and at 4 g/L, half of each at the node they share")
def test_a_node_between_layers_fills_up_as_both_do():
    """What they hold adds up, c / (1 + c) and c / (1 + c / 4), for small c."""
    layers = [layered.Layer(thickness=THICKNESS, porosity=POROSITY, hindrance=0.03)] * 2
    kind = rig.slab(layers, "even", (2, 2))
    assert kind.bend is None
    from washsim.engine import space

    two = space.slab(
        space.space("even", (2, 2)),
        thickness=np.full((1, 2), THICKNESS),
        porosity=np.full((1, 2), POROSITY),
        hindrance=np.full((1, 2), 0.03),
        retardation=np.ones((1, 2)),
        retention=np.full((1, 2), 0.09),
        release_rate=np.full((1, 2), 1e-3),
        bend=np.array([[1.0, 0.25]]),
    )
    assert two.bend == pytest.approx(np.array([[1.0, 1.0, 0.625, 0.25, 0.25]]), rel=1e-14)
