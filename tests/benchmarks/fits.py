"""How long a fit takes, and the same fit on a general integrator.

    python -m tests.benchmarks.fits

(a) The product's own call: three drops on the demo evening, everything unmeasured free. (b) Two
unknowns of the benchmark's paper and three readings of its 90-minute schedule, the same weighed
draws from the same seed: once on the engine, all members at once, once on odeint with a banded
Jacobian, one after the other, which is the quickest peer of tests/benchmarks/engine.py.
"""

from __future__ import annotations

import os
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy comes in

import numpy as np

from tests.benchmarks import problems as on
from tests.benchmarks.problems import LAYERS, Array
from washsim import files, fitting, foretelling, observing
from washsim.observing import Observation
from washsim.readings import Drop, Tests
from washsim.tempering import Cloud
from washsim.weighing import weighed

READ = (100, 180, 299)
"""Outputs at which strips are taken."""


def the_call() -> None:
    demo = files.example("demo")
    drops = (
        Drop(washed=1800.0, above=24e-6),
        Drop(washed=2700.0, above=6e-6, below=12e-6, face="front"),
        Drop(below=5e-6),
    )
    seen = observing.observations(demo, Tests(readings=drops))
    begun, work, shares = time.perf_counter(), time.process_time(), []
    found = fitting.fit(demo, seen, progress=shares.append)
    print(
        f"(a) demo evening, {len(found.unknowns)} unknowns, 3 drops: {found.solves} runs in "
        f"{time.perf_counter() - begun:.1f} s, {time.process_time() - work:.1f} s of processor; "
        f"progress told {len(shares)} times"
    )


def papers(u: Array) -> Array:
    """(M, 3, 3): the base thicker or thinner by a tenth, more or less open by a half, per u."""
    found = np.repeat(LAYERS[None], len(u), axis=0)
    found[:, 2, 0] *= np.exp(0.1 * u[:, 0])
    found[:, 2, 2] *= np.exp(0.5 * u[:, 1])
    return found


def same_fit(name: str, residual, draws: int = 64) -> tuple[Cloud, float]:
    truth = on.ours(papers(np.array([[0.5, -0.8]])))[0, list(READ)] / 1e3
    seen = tuple(
        Observation(what="whole", lot=0, at=0.0, low=r / 1.4, high=1.4 * r, own=0.3, shared=0.35)
        for r in truth
    )

    def likelihood(u: Array) -> tuple[Array, Array]:
        logs = np.log(np.maximum(residual(papers(u))[:, READ] / 1e3, 1e-9))
        return foretelling.log_likelihood(logs, seen), logs

    rng = np.random.default_rng(1)
    start = rng.standard_normal((draws, 2))
    begun = time.process_time()  # of one thread both, whatever else the machine does
    errors = np.array([np.hypot(one.own, one.shared) for one in seen])
    cloud = weighed(start, likelihood, errors, rng)
    assert cloud is not None, "three drops are no thin sheet"
    spent = time.process_time() - begun
    print(
        f"    {name:18}{cloud.calls:6} runs{spent:8.2f} s{1e3 * spent / cloud.calls:9.3f} ms each"
    )
    return cloud, spent


def main() -> None:
    the_call()
    print("(b) the same fit on two solvers")
    ours, quick = same_fit("engine", on.ours_batch)
    peer, slow = same_fit(
        "odeint, banded",
        lambda layers: np.array([on.theirs(on.odeint, 1e-6, one) for one in layers]),
    )
    apart = np.abs(ours.draws.mean(axis=0) - peer.draws.mean(axis=0)).max()
    print(f"    ratio {slow / quick:.0f}; means of the draws differ by at most {apart:.1e}")


if __name__ == "__main__":
    main()
