"""The likelihood of readings, what each reads, and what is thought between evenings."""

from __future__ import annotations

import math
from dataclasses import replace

import mpmath as mp
import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from tests.stories import bench
from washsim import files, fitting, foretelling, observing, unknowns
from washsim.band import observe
from washsim.errors import InputError
from washsim.fitting import Belief
from washsim.observing import Observation
from washsim.readings import Drip, Drop, Laboratory, Tests
from washsim.solve import solve
from washsim.unknowns import NOMINAL, Sample


def seen(low, high, own=0.3, shared=0.0):
    return Observation(what="whole", lot=0, at=0.0, low=low, high=high, own=own, shared=shared)


@pytest.mark.parametrize("middle", [1e-9, 3e-6, 12e-6, 17e-6, 30e-6, 1e-3, 0.5])
def test_an_interval_has_the_normals_share_however_far_out(middle):
    """Phi(b) - Phi(a) in 60 digits; double precision keeps its logarithm to 1e-12."""
    found = foretelling.chances(np.log([[middle]]), (seen(12e-6, 24e-6),))[0, 0]
    with mp.workdps(400):
        a, b = (mp.log(mp.mpf(end) / mp.mpf(middle)) / mp.mpf(0.3) for end in (12e-6, 24e-6))
        expected = mp.log(mp.ncdf(b) - mp.ncdf(a))
    # ln of the bound is rounded to 1e-15, and that far out it is squared over 0.3^2
    assert found == pytest.approx(float(expected), rel=1e-12, abs=1e-12)


def test_open_readings_are_tails_not_zeros():
    clear, off = seen(0.0, 5e-6), seen(120e-6, math.inf)
    logs = np.log([[2e-6, 2e-6]])
    expected = [norm.logcdf(np.log(2.5) / 0.3), norm.logsf(np.log(60) / 0.3)]
    assert foretelling.chances(logs, (clear, off))[0] == pytest.approx(expected, rel=1e-12)
    # nothing visible says nothing against a residual ten times lower
    assert foretelling.chances(np.log([[2e-7]]), (clear,))[0, 0] == pytest.approx(0.0, abs=1e-12)


def test_values_on_one_scale_share_its_error():
    """Normal with covariance own^2 I + shared^2: the sum over the shared error is exact."""
    two = (seen(2e-5, 2e-5, 0.3, 0.35), seen(3e-5, 3e-5, 0.3, 0.35))
    logs = np.log([[1e-5, 2e-5], [2e-5, 2e-5]])
    covariance = 0.09 * np.eye(2) + 0.35**2
    normal = multivariate_normal(cov=covariance)
    expected = normal.logpdf(np.log([[2.0, 1.5], [1.0, 1.5]]))
    assert foretelling.log_likelihood(logs, two) == pytest.approx(expected, abs=1e-10)
    # twenty readings make the bell over the shared error a sixth as wide, 0.75 of the points' distance:
    # the plain sum is off by 2 exp(-2 pi^2 0.75^2) = 3e-5
    many = two * 10
    wide = multivariate_normal(cov=0.09 * np.eye(20) + 0.35**2)
    expected = wide.logpdf(np.log([2.0, 1.5] * 10))
    assert foretelling.log_likelihood(np.tile(logs[:1], 10), many) == pytest.approx(
        expected, abs=5e-5
    )


def test_two_scales_have_errors_of_their_own():
    """As if each scale's readings had been read on an evening of their own."""
    one, other = seen(2e-5, 2e-5, 0.3, 0.35), replace(seen(3e-5, 3e-5, 0.3, 0.35), scale=1)
    logs = np.log([[1e-5, 2e-5]])
    apart = foretelling.log_likelihood(logs[:, :1], (one,)) + foretelling.log_likelihood(
        logs[:, 1:], (other,)
    )
    assert foretelling.log_likelihood(logs, (one, other)) == pytest.approx(apart, rel=1e-12)
    assert foretelling.log_likelihood(logs, (one, replace(other, scale=0))) != pytest.approx(apart)


def test_one_interval_with_both_errors():
    """For a single reading the two errors add in quadrature."""
    logs = np.log([[4e-6], [1e-5], [4e-5]])
    found = foretelling.log_likelihood(logs, (seen(12e-6, 24e-6, 0.3, 0.35),))
    width = math.hypot(0.3, 0.35)
    ends = [(np.log([[12e-6, 24e-6]]) - logs) / width][0]
    assert found == pytest.approx(np.log(np.diff(norm.cdf(ends))[:, 0]), abs=1e-9)


MOMENT = 150
"""Number of the output at which the demo evening is read."""


@pytest.fixture(scope="module")
def demo():
    return files.example("demo")


def test_what_a_reading_reads(demo):
    """Whole, front, back and water as the result itself has them."""
    result = solve(demo)
    washed = float(result.times[MOMENT] - result.run.left_fixer[0])
    tests = Tests(
        readings=(
            Laboratory(residual=1e-5, washed=washed),
            Drop(below=1e-5, face="front", washed=washed),
            Drop(below=1e-5, face="back", washed=washed),
            Drip(colour="stays", washed=washed),
        )
    )
    observations = observing.observations(demo, tests)
    space = result.run.slab.space
    found = observe(
        demo,
        NOMINAL,
        lambda run: foretelling.predict(run, observations),
        (space.family, space.intervals),
    )[0]
    at = np.array([observations[0].at])
    assert found[0] == pytest.approx(result.at(0, at)[0], rel=1e-12)
    front, back = result.by_half(0, at)[0]
    # halves weighed by what each holds when evenly soaked: 0.7 against 0.3 of emulsion and base
    layers = demo.sheet.material.layers
    held = [x.liquid * x.retardation + x.thickness * x.retention for x in layers]
    half = sum(layer.thickness for layer in layers) / 2
    inner = half - layers[0].thickness - layers[1].thickness
    share = (held[0] + held[1] + held[2] * inner / layers[2].thickness) / sum(held)
    assert found[1] == pytest.approx(front / share, rel=1e-9)
    assert found[2] == pytest.approx(back / (1 - share), rel=1e-9)
    stage = next(s for s in result.run.timeline.stages[1:] if s.start <= at[0] <= s.stop)
    assert found[3] == pytest.approx(result.water(stage.basins[0])[MOMENT], rel=1e-9)


SLAB = bench.running(20, 400, 75)


@pytest.fixture(scope="module")
def slab():
    return files.loads(bench.scenario("slab", SLAB, sheet="count = 1"))


def test_effective_diffusivity_of_one_layer_is_its_own(slab):
    assert fitting.effective_diffusivity(slab, NOMINAL) == pytest.approx([3e-11], rel=1e-12)
    thin = Sample(members=1, factors={"paper.thickness": np.array([0.5])})
    # half as thick washes as a sheet of four times the diffusivity would
    assert fitting.effective_diffusivity(slab, thin) == pytest.approx([12e-11], rel=1e-12)


def test_a_described_paper_is_free_to_be_corrected(slab, demo):
    assert "paper.hindrance" not in [one.name for one in unknowns.unknowns(slab)]
    assert "paper.hindrance" in [one.name for one in fitting.free_layers(slab)]
    # the tables' papers have theirs already
    names = [one.name for one in fitting.free_layers(demo)]
    assert sorted(names) == sorted(one.name for one in unknowns.unknowns(demo))


def test_belief_keeps_names_apart_and_drifts_towards_ignorance():
    belief = Belief(("a", "b"), np.array([1.0, -2.0]), np.array([[0.2, 0.1], [0.1, 0.5]]))
    other = belief.about(("b", "new", "a"))
    assert other.mean == pytest.approx([-2.0, 0.0, 1.0])
    assert other.covariance == pytest.approx(
        np.array([[0.5, 0.0, 0.1], [0.0, 1.0, 0.0], [0.1, 0.0, 0.2]])
    )
    gone = belief.drifted(np.array([1.0, 1.0]))
    assert gone.mean == pytest.approx([0.0, 0.0])
    assert gone.covariance == pytest.approx(np.eye(2))
    # by hand: sqrt(1 - 0.36) = 0.8
    half = belief.drifted(np.array([0.6, 0.0]))
    assert half.mean == pytest.approx([0.8, -2.0])
    assert half.covariance == pytest.approx(np.array([[0.488, 0.08], [0.08, 0.5]]))


def test_same_seed_same_draws_and_a_second_belief_narrows(slab):
    tests = Tests(readings=(Drop(washed=2400.0, above=12e-6, below=24e-6),))
    observations = observing.observations(slab, tests)
    one = fitting.fit(slab, observations, draws=64)
    assert np.array_equal(one.z, fitting.fit(slab, observations, draws=64).z)
    again = fitting.fit(slab, observations, belief=one.belief, draws=64)
    assert again.narrowed["paper.hindrance"] < one.narrowed["paper.hindrance"] < 0.5


def test_nothing_to_fit(slab):
    with pytest.raises(InputError, match="readings: expected at least one"):
        fitting.fit(slab, ())
    with pytest.raises(InputError, match="nothing unknown"):
        fitting.fit(slab, (seen(1e-6, 2e-6),), free=())
