"""Many timings in one march are the same runs as one by one."""

from __future__ import annotations

import numpy as np
import pytest

from washsim import files, timings, unknowns
from washsim.band import ends, observe
from washsim.errors import InputError
from washsim.recipes import Aid, Bath, Rinse
from washsim.solve import solve

MINUTE = 60.0


def nodes_of(scenario) -> tuple[str, tuple[int, ...]]:
    space = solve(scenario).run.slab.space
    return space.family, space.intervals


@pytest.mark.parametrize("name", ["demo", "hold_and_changes", "running", "aid"])
def test_each_candidate_is_the_scenario_with_that_duration(name: str) -> None:
    scenario = files.example(name)
    knob = f"steps.{len(scenario.steps)}.duration"
    durations = MINUTE * np.array([4.0, 9.0, 17.5])
    found = timings.follow(scenario, (knob,), durations[:, None], nodes_of(scenario))
    for row, seconds in enumerate(durations):
        alone = scenario.but({knob: float(seconds)})
        run = solve(alone.but({"settings.accuracy": 0.1}))
        assert found.ends[row, -1] == pytest.approx(alone.timeline.stages[-1].stop, abs=1e-6)
        # the same nodes or the coarsest: they agree to the accuracy they were chosen for
        assert found.worst[row, -1] == pytest.approx(run.worst_residual, rel=3e-3)


def test_fillings_are_the_ends_of_shorter_schedules() -> None:
    scenario = files.example("demo")
    found = timings.follow(
        scenario, ("steps.1.duration",), np.array([[6 * MINUTE], [8 * MINUTE]]), nodes_of(scenario)
    )
    for count in range(1, 7):
        short = solve(scenario.but({"steps.1.baths": count, "steps.1.duration": 8 * MINUTE}))
        # same nodes, same arithmetic but for the order of sums
        assert found.worst[1, count - 1] == pytest.approx(short.worst_residual, rel=1e-6)
        assert found.ends[1, count - 1] == pytest.approx(short.run.timeline.stages[-1].stop)


def test_fillings_after_an_aid_in_the_same_tray() -> None:
    """Pouring the aid away begins the baths: it ends no filling of them."""
    steps = (
        Aid(vessel="tray", duration=5 * MINUTE),
        Bath(vessel="tray", baths=3, duration=4 * MINUTE),
    )
    scenario = files.example("demo").but(steps=steps)
    values = np.array([[4 * MINUTE], [7 * MINUTE]])
    found = timings.follow(scenario, ("steps.2.duration",), values, nodes_of(scenario))
    assert found.worst.shape == found.ends.shape == (2, 3)
    short = solve(scenario.but({"steps.2.baths": 2, "steps.2.duration": 7 * MINUTE}))
    assert found.worst[1, 1] == pytest.approx(short.worst_residual, rel=1e-6)


def test_two_knobs_and_a_draw() -> None:
    scenario = files.example("demo").but(
        steps=tuple(Bath(vessel="tray", baths=n, duration=5 * MINUTE) for n in (1, 3))
    )
    member = unknowns.draw(scenario, 8).part(slice(5, 6))
    nodes = nodes_of(scenario)
    values = MINUTE * np.array([[2.0, 12.0], [7.0, 3.0], [5.0, 5.0]])
    found = timings.follow(
        scenario, ("steps.1.duration", "steps.2.duration"), values, nodes, member
    )
    for row, (first, rest) in enumerate(values):
        told = scenario.but({"steps.1.duration": float(first), "steps.2.duration": float(rest)})
        alone = observe(told, member, ends, nodes)[0, 0]
        # the same nodes and steps, sums in another order
        assert found.worst[row, -1] == pytest.approx(float(alone), rel=1e-9)


def test_candidates_that_share_no_modes_are_the_same_as_one_alone() -> None:
    scenario = files.example("demo").but({"sheet.explanation": "saturating"})
    assert timings.marched_apart(scenario)
    assert timings.marched_apart(files.example("still"))
    assert not timings.marched_apart(files.example("demo"))
    member = unknowns.draw(scenario, 8).part(slice(3, 4))
    values, nodes = MINUTE * np.array([[3.0], [11.0]]), nodes_of(scenario)
    both = timings.follow(scenario, ("steps.1.duration",), values, nodes, member)
    for row, value in enumerate(values):
        alone = timings.follow(scenario, ("steps.1.duration",), value[None], nodes, member)
        # steps in time follow the worst of all members, so only the tolerance is shared
        assert both.worst[row] == pytest.approx(alone.worst[0], rel=1e-3)


def test_durations_that_change_the_order_of_events_are_refused() -> None:
    scenario = files.example("demo").but({"sheet.count": 3, "sheet.interval": 4 * MINUTE})
    steps = (Rinse(vessel="washer", duration=MINUTE), scenario.steps[0])
    crossing = scenario.but(steps=steps)
    values = MINUTE * np.array([[1.0], [9.0]])
    with pytest.raises(InputError, match="keep the order of events"):
        timings.follow(crossing, ("steps.1.duration",), values, nodes_of(scenario))
