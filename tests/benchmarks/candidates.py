"""A hundred thousand candidate schedules in one march against odeint, one by one.

    python -m tests.benchmarks.candidates [--count 100000] [--sample 12]

Eight changes of 4 L over fourteen prints (the first problem of problems.py), each candidate with
dwells of its own. odeint, banded and with exact Jacobians, was the quickest peer in engine.py; here
it is asked for the ends alone. Error: largest of |r - ours| / (ours + 0.001 g/m2) at the end, that
of the peer's even grid. One process, one BLAS thread;
seconds are those of the processor, so that a busy machine does not tell.
"""

from __future__ import annotations

import argparse
import os
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy comes in

import numpy as np

from tests.benchmarks import problems as on
from washsim import timings
from washsim.fixers import Fixing
from washsim.papers import Layer, Sheet
from washsim.recipes import Bath
from washsim.scenario import Scenario
from washsim.vessels import Handling, Vessel, Water

CHANGES = 8
KNOBS = tuple(f"steps.{i + 1}.duration" for i in range(CHANGES))


def bench() -> Scenario:
    """The first problem of problems.py as a scenario: eight steps of one filling."""
    layers = tuple(
        Layer(name=f"layer {i}", thickness=t, porosity=eps, hindrance=f)
        for i, (t, eps, f) in enumerate(on.LAYERS)
    )
    return Scenario(
        title="Benchmark",
        sheet=Sheet(
            paper="own", explanation="own", layers=layers, width=0.2, height=0.258, count=14
        ),
        fixing=Fixing(thiosulfate=on.FIXER, duration=on.FIX, diffusivity=on.FREE),
        water=Water(diffusivity=on.FREE),
        handling=Handling(drain=0.0, carry_over=0.0),
        vessels=(Vessel(name="tray", volume=on.VOLUME, puddle=on.PUDDLE, film=on.FREE / on.FILM),),
        steps=tuple(Bath(vessel="tray", duration=600.0) for _ in range(CHANGES)),
    )


def ours(dwells: on.Array) -> on.Array:
    """(S,) g/m2 at the end of dwells (S, 8), s."""
    found = timings.follow(bench(), KNOBS, dwells, ("lobatto", on.COARSE))
    return 1e3 * found.worst[:, -1]


def theirs(dwells: on.Array) -> float:
    """The same of one candidate (8,) by odeint."""
    grid = on.grid_of("even", 1, on.AREA)
    y = np.zeros(grid.size)
    y[0] = on.FIXER
    fixing = grid.matrix(on.FIX_FILM, np.inf, 0.0, 1)
    washing = grid.matrix(on.FILM, on.VOLUME + on.PUDDLE, 0.0, 1)
    y = on.odeint(fixing, y, np.array([0.0, on.FIX]), 1e-6)[-1].copy()
    y[0] = 0.0
    for seconds in dwells:
        y = on.odeint(washing, y, np.array([0.0, seconds]), 1e-6)[-1].copy()
        last = y.copy()
        y[0] *= on.PUDDLE / (on.PUDDLE + on.VOLUME)
    return float(last[grid.place[0]] @ grid.rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--sample", type=int, default=12)
    options = parser.parse_args()
    dwells = np.random.default_rng(1).uniform(120.0, 1200.0, (options.count, CHANGES))
    theirs(dwells[0])  # its matrices are put together once
    begun = time.process_time()
    found = ours(dwells)
    batch = time.process_time() - begun
    begun = time.process_time()
    others = np.array([theirs(row) for row in dwells[: options.sample]])
    each = (time.process_time() - begun) / options.sample
    here = found[: options.sample]
    off = float(np.max(np.abs(others - here) / (here + 1e-3)))
    print(
        f"{options.count} candidates in one march: {batch:.2f} s, {1e6 * batch / len(found):.1f} us each"
    )
    print(
        f"odeint, one by one: {1e3 * each:.2f} ms each, {each * len(found) / batch:.0f} x ours; differs by {off:.1e}"
    )


if __name__ == "__main__":
    main()
