"""Simulation-based calibration of the fit: ``python -m tests.benchmarks.calibration [darkrooms [draws]]``.

Talts, Betancourt, Simpson, Vehtari and Gelman, Validating Bayesian Inference Algorithms with
Simulation-Based Calibration, 2018: draw a darkroom from the prior, take readings in it, fit them;
over many darkrooms the truth's rank among the posterior's draws is uniform if, and only if, prior,
likelihood and sampler belong together. Readings are drops on one scale, which has an error of its
own, with steps of a factor of two: most end censored on one side or the other; some darkrooms have
a laboratory value as well. Prints coverage of central intervals and a chi-square of the ranks.
"""

from __future__ import annotations

import math
import os
import sys
import time
from dataclasses import dataclass

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom, chi2

from washsim import files, fitting, unknowns
from washsim.band import observe
from washsim.fitting import fit, free_layers
from washsim.foretelling import predict
from washsim.observing import Observation
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.strips import scale

Array = NDArray[np.float64]

OWN, SHARED, LABORATORY = 0.30, 0.35, 0.15
INTERVALS = (0.5, 0.8, 0.95)
BINS = 8

EVENING = """
format = "washsim-scenario-1"
title = "Invented: one strip in running water"
[sheet]
width_cm = 5
height_cm = 10
[vessels.washer]
volume_l = 20
flow_l_min = 4
exchange_efficiency = 0.6
stirring = "tap_only"
[[steps]]
kind = "running"
vessel = "washer"
duration_min = 60
"""


@dataclass(frozen=True)
class Ranks:
    """Share (darkrooms,) of the posterior's draws below the truth, by quantity; fits' figures."""

    shares: dict[str, Array]
    censored: float
    solves: int
    draws: int


def plan(rng: np.random.Generator, moments: list[float]) -> list[Observation]:
    """Which strips a printer takes: one to four, anywhere, now and then one for a laboratory."""
    found = []
    for _ in range(rng.integers(1, 5)):
        laboratory = rng.random() < 0.15
        found.append(
            Observation(
                what="whole" if laboratory else str(rng.choice(["whole", "front", "back"])),
                lot=0,
                at=float(rng.choice(moments)),
                low=0.0,
                high=0.0,
                own=LABORATORY if laboratory else OWN,
                shared=0.0 if laboratory else SHARED,
            )
        )
    return found


def read(
    rng: np.random.Generator, planned: list[Observation], logs: Array
) -> tuple[Observation, ...]:
    """What they read, given ln of what is there: a value, or the steps it lies between."""
    bias, found = rng.standard_normal(), []
    steps = [0.0, *scale(), math.inf]
    for one, log in zip(planned, logs, strict=True):
        seen = math.exp(log + one.shared * bias + one.own * rng.standard_normal())
        if one.shared == 0.0:
            low = high = seen
        else:
            step = int(np.searchsorted(steps, seen)) - 1
            low, high = steps[step], steps[step + 1]
        given = {name: getattr(one, name) for name in Observation.__slots__}
        found.append(Observation(**given | {"low": low, "high": high}))
    return tuple(found)


def calibrate(scenario: Scenario, darkrooms: int, draws: int, seed: int = 1) -> Ranks:
    """Ranks of the truth over so many darkrooms drawn from the scenario's bands."""
    rng = np.random.default_rng(seed)
    free = free_layers(scenario)
    truth = rng.standard_normal((darkrooms, len(free)))
    made = unknowns.sample(free, truth)
    run = solve(scenario).run
    end, left = run.timeline.end, run.left_fixer[0]
    moments = [left + 60.0 * minutes for minutes in (8, 15, 25, 35, 45)] + [end]
    plans = [plan(rng, moments) for _ in range(darkrooms)]
    last = Observation(what="whole", lot=0, at=end, low=0.0, high=1.0, own=1.0, shared=0.0)
    nodes = (run.slab.space.family, run.slab.space.intervals)
    shares: dict[str, list[float]] = {"end": [], "diffusivity": [], **{u.name: [] for u in free}}
    censored = readings = solves = 0
    for i in range(darkrooms):
        mine = made.part(np.array([i]))
        planned = (*plans[i], last)
        there = observe(scenario, mine, lambda run, p=planned: predict(run, p), nodes)[0]
        seen = read(rng, plans[i], np.log(np.maximum(there[:-1], 1e-9)))
        censored += sum(one.low == 0.0 or math.isinf(one.high) for one in seen)
        readings += len(seen)
        found = fit(scenario, seen, draws=draws, seed=int(rng.integers(1 << 30)))
        solves += found.solves
        ends = observe(scenario, found.sample, lambda run: predict(run, (last,)), nodes)[:, 0]
        shares["end"].append(np.mean(ends < there[-1]))
        truly = fitting.effective_diffusivity(scenario, mine)[0]
        drawn = fitting.effective_diffusivity(scenario, found.sample)
        shares["diffusivity"].append(np.mean(drawn < truly))
        for j, one in enumerate(free):
            shares[one.name].append(np.mean(found.z[:, j] < truth[i, j]))
    return Ranks(
        {name: np.array(each) for name, each in shares.items()}, censored / readings, solves, draws
    )


def covered(shares: Array, interval: float) -> int:
    """How many truths lie in the central interval of so much of the draws."""
    return int(np.sum(np.abs(shares - 0.5) <= interval / 2))


def honest(draws: int, interval: float) -> float:
    """Share of the draws + 1 possible ranks that lie in the central interval."""
    ranks = np.arange(draws + 1) / draws
    return float(np.mean(np.abs(ranks - 0.5) <= interval / 2))


def uniformity(shares: Array) -> float:
    """p of the chi-square of the ranks in BINS equal bins."""
    counts = np.histogram(shares, BINS, (0.0, 1.0))[0]
    expected = len(shares) / BINS
    return float(chi2.sf(np.sum((counts - expected) ** 2 / expected), BINS - 1))


def main() -> None:
    darkrooms = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    draws = int(sys.argv[2]) if len(sys.argv) > 2 else 128
    start, work = time.perf_counter(), time.process_time()
    found = calibrate(files.loads(EVENING), darkrooms, draws)
    print(
        f"{darkrooms} darkrooms, {found.draws} draws each, {found.solves} solves, "
        f"{100 * found.censored:.0f} % of readings censored; {time.perf_counter() - start:.0f} s, "
        f"{time.process_time() - work:.0f} s of processor"
    )
    print(f"{'quantity':24}" + "".join(f"{100 * c:>7.0f} %" for c in INTERVALS) + "   p(uniform)")
    for name, shares in found.shares.items():
        cover = "".join(f"{100 * covered(shares, c) / darkrooms:>8.1f} " for c in INTERVALS)
        print(f"{name:24}{cover}   {uniformity(shares):.3f}")
    spans = [binom.interval(0.99, darkrooms, honest(draws, c)) for c in INTERVALS]
    print(
        "99 % of honest runs lie within  "
        + ", ".join(f"{100 * a / darkrooms:.1f} to {100 * b / darkrooms:.1f}" for a, b in spans)
    )


if __name__ == "__main__":
    main()
