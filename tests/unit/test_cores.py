"""Work on all cores: the same answers in the same order, given up when nobody listens."""

from __future__ import annotations

import math
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Executor
from pathlib import Path

import pytest

from washsim import cores, files, planner, unknowns
from washsim.plans import Wish

MINUTE = 60.0
HOUR = Wish(seconds=60 * MINUTE)


@pytest.fixture(scope="module")
def executor() -> Iterator[Executor]:
    made = cores.executor()
    yield made
    made.shutdown(wait=True, kill_workers=True)  # type: ignore[call-arg]


def test_each_answers_in_order_wherever_it_is_worked_out(executor) -> None:
    asked = [(float(x), 2.0) for x in range(20)]
    right = [x**2 for x in range(20)]
    assert list(cores.each(None, math.pow, asked)) == right
    assert list(cores.each(executor, math.pow, asked)) == right
    assert cores.begun(None, os.getpid)() == os.getpid()
    assert cores.begun(executor, os.getpid)() != os.getpid()


def test_what_goes_wrong_there_is_raised_here(executor) -> None:
    with pytest.raises(ValueError, match="math domain error"):
        list(cores.each(executor, math.sqrt, [(1.0,), (-1.0,)]))


def test_what_is_not_begun_is_given_up_with_the_listener(executor) -> None:
    """A hundred waits of a fifth of a second are forgotten once the first has been heard."""
    heard = cores.each(executor, time.sleep, [(0.2,)] * 100)
    next(heard)
    heard.close()
    begun = time.monotonic()
    assert executor.submit(abs, -1).result() == 1
    # what is on and what lies ready for the next process is finished: a few of the hundred
    assert time.monotonic() - begun < 0.2 * 100 / 4


def test_plans_are_the_same_wherever_they_are_worked_out(executor) -> None:
    scenario = files.example("demo")
    few = unknowns.draw(planner.everything(scenario, aid=False), 32)
    here = planner.plan(scenario, HOUR, few)
    there = planner.plan(scenario, HOUR, few, executor=executor)
    assert there.plans == here.plans
    assert there.own == here.own
    assert len(here.plans) >= 3
    # and where there is none, what is closest and soonest
    short = Wish(seconds=20 * MINUTE)
    assert (
        planner.plan(scenario, short, few, executor=executor).soonest
        == planner.plan(scenario, short, few).soonest
    )


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is sent another way there")
def test_a_plan_on_all_cores_ends_with_the_key_that_ends_it(tmp_path: Path) -> None:
    """Nothing but the command's own last words; the processes that took part say nothing."""
    text = files.dumps(files.example("hold_and_changes"))
    (tmp_path / "evening.toml").write_text(text, encoding="utf-8")
    command = [sys.executable, "-m", "washsim", "plan", str(tmp_path / "evening.toml")]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True
    ) as plan:
        time.sleep(2.0)
        os.killpg(plan.pid, signal.SIGINT)
        _, said = plan.communicate(timeout=30)
    assert b"Traceback" not in said
    assert plan.returncode != 0
