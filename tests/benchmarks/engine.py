"""The engine against general integrators on the same problems, interleaved in one process.

    python -m tests.benchmarks.engine [--rounds 7] [--quick]

Peers solve the text-book semi-discretisation, an even grid put in an order that makes it a matrix
of narrow band (the water first, then nodes from both faces inwards), with exact Jacobians and with
the loosest tolerance of a decade at which space, not time, makes their error. One more row hands
odeint the engine's own 21 nodes, which no text-book has. Error: largest over the outputs of
|r - ref| / (ref + 0.001 g/m2), ref being the engine on three times its nodes. Ours must be no worse
than any peer's. Each time is a median; BLAS has one thread.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy comes in

import numpy as np

from tests.benchmarks import problems as on
from tests.benchmarks.problems import FINE, LAYERS, OWN, SHEETS, Array


def timed(runs: dict[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Median seconds of each, in turn."""
    spent: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(rounds):
        for name, run in runs.items():
            begun = time.perf_counter()
            run()
            spent[name].append(time.perf_counter() - begun)
    return {name: statistics.median(values) for name, values in spent.items()}


def table(title: str, times: dict[str, float], errors: dict[str, float]) -> None:
    print(f"\n{title}\n{'':34}{'ms':>10}{'x ours':>9}{'error':>10}")
    for name, seconds in times.items():
        ratio = seconds / times["engine"]
        print(f"{name:34}{1e3 * seconds:10.2f}{ratio:9.1f}{errors[name]:10.1e}")


def one_schedule(rounds: int) -> None:
    exact = on.ours(LAYERS[None], counts=FINE)[0]
    runs: dict[str, Callable[[], Array]] = {
        "engine": lambda: on.ours(LAYERS[None])[0],
        "odeint, banded": lambda: on.theirs(on.odeint, 1e-6),
        "solve_ivp LSODA, banded": lambda: on.theirs(on.ivp("LSODA"), 1e-6),
        "solve_ivp BDF, sparse": lambda: on.theirs(on.ivp("BDF"), 1e-6),
        "solve_ivp Radau, sparse": lambda: on.theirs(on.ivp("Radau"), 1e-4),
        OWN: lambda: on.theirs(on.odeint, 1e-7, family="lobatto"),
    }
    errors = {name: on.error(run(), exact) for name, run in runs.items()}
    table("(a) one 90-minute schedule, 300 outputs", timed(runs, rounds), errors)


def many_members(rounds: int, count: int = 256, sample: int = 16) -> None:
    layers = on.members(count)
    exact = np.concatenate([on.ours(layers[:sample], counts=FINE)])
    runs: dict[str, Callable[[], Array]] = {
        "engine": lambda: on.ours_batch(layers),
        "odeint": lambda: np.array([on.theirs(on.odeint, 1e-6, one) for one in layers[:sample]]),
        OWN: lambda: np.array(
            [on.theirs(on.odeint, 1e-7, one, "lobatto") for one in layers[:sample]]
        ),
    }
    errors = {name: on.error(run()[:sample], exact) for name, run in runs.items()}
    times = timed(runs, rounds)
    for name in ("odeint", OWN):
        times[name] *= count / sample  # one after the other: a sample tells
    table(f"(b) {count} papers, odeint one by one", times, errors)


def one_tray(rounds: int) -> None:
    exact = on.ours_tray(FINE)
    runs: dict[str, Callable[[], Array]] = {
        "engine": on.ours_tray,
        "odeint": lambda: on.theirs_tray(on.odeint, 1e-6),
        OWN: lambda: on.theirs_tray(on.odeint, 1e-7, "lobatto"),
    }
    errors = {name: on.error(run(), exact) for name, run in runs.items()}
    table(f"(c) {SHEETS} sheets, one tray", timed(runs, rounds), errors)


def imports(rounds: int) -> None:
    """What `import washsim` and `import washsim.solve` cost beyond numpy's own start."""

    def cost(code: str) -> float:
        spent = []
        for _ in range(max(rounds, 5)):
            begun = time.perf_counter()
            subprocess.run([sys.executable, "-c", code], check=True)
            spent.append(time.perf_counter() - begun)
        return statistics.median(spent)

    numpy = cost("import numpy")
    print(f"\n(d) imports; python with numpy starts in {1e3 * numpy:.0f} ms")
    heavy = (
        "[m for m in ('scipy','pandas','panel','bokeh','holoviews','param') if m in sys.modules]"
    )
    for module in ("washsim", "washsim.solve"):
        beyond = cost(f"import numpy, {module}") - numpy
        code = f"import sys, {module}; print({heavy})"
        shown = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        )
        print(f"import {module:24}{1e3 * beyond:10.0f} ms beyond; heavy: {shown.stdout.strip()}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--quick", action="store_true", help="one round of each")
    options = parser.parse_args()
    rounds = 1 if options.quick else options.rounds
    one_schedule(rounds)
    many_members(rounds)
    one_tray(rounds)
    imports(rounds)


if __name__ == "__main__":
    main()
