"""The fit against another sampler on another solver, and its calibration over many darkrooms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom, kstwobign

from tests.benchmarks import calibration
from tests.references import posterior
from tests.stories import bench
from washsim import files, fitting, observing, tables
from washsim.readings import Drop, Tests
from washsim.unknowns import Unknown

RUNNING = bench.running(20, 400, 60)
HINDRANCE, THICKNESS = (0.6, 6.0), (0.85, 1.27)


def free(name, band):
    """An unknown of the text-book slab."""
    datum = tables.datum("papers.explanation.both.base_hindrance")
    return Unknown(name=f"paper.{name}", label=name, low=band[0], high=band[1], datum=datum)


@pytest.mark.source(
    "Foreman-Mackey, Hogg, Lang and Goodman, emcee: The MCMC Hammer, 2013; Crank, The Mathematics "
    "of Diffusion, 2nd ed., 1975, eq. 4.18"
)
def test_same_posterior_from_another_library():
    """Off the scale, between two steps, nothing visible: means, spreads and their correlation."""
    slab = files.loads(bench.scenario("slab", RUNNING, sheet="count = 1"))
    drops = (
        Drop(washed=20 * 60.0, above=160e-6),
        Drop(washed=40 * 60.0, above=40e-6, below=80e-6),
        Drop(washed=60 * 60.0, below=10e-6),
    )
    seen = observing.observations(slab, Tests(readings=drops))
    unknown = (free("hindrance", HINDRANCE), free("thickness", THICKNESS))
    ours = fitting.fit(slab, seen, free=unknown, draws=1024).z
    theirs, worth = posterior.draws(
        [
            posterior.Drop(20, 160e-6, np.inf),
            posterior.Drop(40, 40e-6, 80e-6),
            posterior.Drop(60, 0.0, 10e-6),
        ],
        seen[0].own,
        seen[0].shared,
        HINDRANCE,
        THICKNESS,
    )
    spread = theirs.std(axis=0)
    # standard error of either mean; ours as if one draw in three were new: stages share ancestors
    error = spread * np.hypot(1 / np.sqrt(worth), 1 / np.sqrt(1024 / 3))
    assert np.all(np.abs(ours.mean(axis=0) - theirs.mean(axis=0)) < 3.5 * error)
    # of a spread, relative, 1 / sqrt(2 n)
    assert ours.std(axis=0) == pytest.approx(spread, rel=3.5 / np.sqrt(2 * 1024 / 3))
    one, other = (np.corrcoef(z.T)[0, 1] for z in (ours, theirs))
    assert one == pytest.approx(other, abs=0.06)
    # and the readings did tell something, so the agreement is not that of two priors
    assert spread[0] < 0.7


@pytest.fixture(scope="module")
def small():
    """Sixty darkrooms with the text-book slab, 64 draws each; the benchmark does 500."""
    slab = files.loads(bench.scenario("slab", RUNNING, sheet="count = 1"))
    return calibration.calibrate(slab, 60, 64)


SOURCE = (
    "Talts, Betancourt, Simpson, Vehtari and Gelman, Validating Bayesian Inference Algorithms with "
    "Simulation-Based Calibration, 2018"
)


@pytest.mark.source(SOURCE)
@pytest.mark.parametrize("interval", calibration.INTERVALS)
def test_intervals_cover_what_they_say(small, interval):
    """Coverage of the final residual and of the diffusivity, within 99.9 % of honest runs."""
    low, high = binom.interval(0.999, 60, calibration.honest(64, interval))
    for name in ("end", "diffusivity"):
        assert low <= calibration.covered(small.shares[name], interval) <= high


@pytest.mark.source(SOURCE)
def test_ranks_are_uniform(small):
    """Kolmogorov's distance of the truth's ranks from uniform, at one in a thousand."""
    assert 0.3 < small.censored < 0.9
    for name in ("end", "diffusivity", "paper.hindrance"):
        shares = np.sort(small.shares[name])
        count = len(shares)
        steps = np.arange(1, count + 1) / count
        distance = max(np.max(steps - shares), np.max(shares - steps + 1 / count))
        assert distance * np.sqrt(count) < kstwobign.isf(1e-3)
