"""How long a printer waits for a plan, and what all cores are worth against one.

    python -m tests.benchmarks.plans [--rounds 3]

Every case is planned with its band, 256 draws, in the time its own steps take. (a) `washsim plan`
as typed, from a cold start to the table on the screen; (b) the same search once more on processes
that are there already, as in the app; (c) in one process. Seconds on the clock, the least of the
rounds; ratio: (c) over (b).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy comes in

from washsim import cores, files, planner
from washsim.plans import Wish
from washsim.scenario import Scenario
from washsim.solve import solve

CASES: dict[str, tuple[str, dict[str, Any], bool]] = {
    "14 prints at once": ("demo", {}, False),
    "the same, an aid at hand": ("demo", {}, True),
    "two batches": ("two_batches", {}, False),
    "one every 8 min": ("hold_and_changes", {}, False),
    "a late print": ("late_sheet", {}, False),
    "a row of trays": ("transfer", {}, False),
    "still water": ("still", {}, False),
    "an aid, no plan in time": ("aid", {}, True),
    "places fill up, no plan in time": ("demo", {"sheet.explanation": "saturating"}, False),
}


def own_time(scenario: Scenario) -> float:
    stages = solve(scenario).run.timeline.stages
    return stages[-1].stop - stages[1].start


def least(rounds: int, call: Callable[[], Any]) -> float:
    """Seconds of the quickest of so many calls."""
    found = []
    for _ in range(rounds):
        begun = time.perf_counter()
        call()
        found.append(time.perf_counter() - begun)
    return min(found)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=3)
    rounds = parser.parse_args().rounds
    print(f"{'case':34s} typed, s   again, s   one process, s   ratio")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "case.toml"
        for name, (example, changes, aid) in CASES.items():
            scenario = files.example(example).but(changes)
            file.write_text(files.dumps(scenario), encoding="utf-8")
            typed = [sys.executable, "-m", "washsim", "plan", str(file), *["--aid"] * aid]
            wish = Wish(seconds=own_time(scenario), aid=aid)

            def planned(executor: Any, scenario: Scenario = scenario, wish: Wish = wish) -> None:
                planner.plan(scenario, wish, executor=executor)

            cold = least(rounds, lambda typed=typed: subprocess.run(typed, capture_output=True))
            planned(cores.executor())
            again = least(rounds, lambda: planned(cores.executor()))
            one = least(rounds, lambda: planned(None))
            print(f"{name:34s} {cold:8.1f} {again:10.1f} {one:16.1f} {one / again:7.1f}")


if __name__ == "__main__":
    main()
