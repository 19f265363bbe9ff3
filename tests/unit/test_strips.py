"""The next strip, against sums that can be done by hand or by drawing lots."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from washsim import files, rivals, strips, unknowns
from washsim.units import minute


def test_answers_are_the_normals_shares():
    steps = (24e-6, 12e-6)
    found = strips.answers(np.log([12e-6, 48e-6]), steps, 0.5)
    one = norm.cdf(np.log(2) / 0.5)
    assert found[0] == pytest.approx([0.5, one - 0.5, 1 - one])
    two = norm.cdf(-np.log(2) / 0.5)
    assert found[1] == pytest.approx(
        [norm.cdf(-2 * np.log(2) / 0.5), two - norm.cdf(-2 * np.log(2) / 0.5), 1 - two]
    )


def test_expected_spread_of_a_fine_scale_is_that_of_normal_readings():
    """wanted and reading both normal, correlation r: sqrt(1 - r^2) is left, whatever is read."""
    rng = np.random.default_rng(7)
    wanted = rng.standard_normal(20000)
    reading = 0.8 * wanted
    # error 0.6 makes the correlation 0.8; steps of a tenth are fine beside it
    steps = np.exp(np.arange(-4, 4, 0.1))
    chances = strips.answers(reading[:, None], tuple(steps), 0.6)
    assert strips.expected_spread(wanted, chances) == pytest.approx([0.6], abs=0.01)


def test_a_test_that_always_says_the_same_teaches_nothing():
    wanted = np.linspace(-1, 1, 64)
    chances = np.zeros((64, 1, 3))
    chances[:, 0, 1] = 1.0
    assert strips.expected_spread(wanted, chances) == pytest.approx([wanted.std()])


@pytest.fixture(scope="module")
def demo():
    return files.example("demo")


def test_the_best_strip_lies_where_the_scale_can_read(demo):
    found = strips.next_strips(demo, unknowns.draw(demo, 64))
    assert [one.after for one in found] == sorted(one.after for one in found)
    best, worst = found[0], found[-1]
    assert best.after < 0.8 * best.before
    # at five minutes every draw is far off the scale: the strip would be wasted
    assert worst.washed == pytest.approx(5 * minute)
    assert worst.after > 0.98 * worst.before
    assert max(worst.answers) > 0.95
    assert sum(best.answers) == pytest.approx(1.0)
    assert "sheet 1" in best.text
    assert f"{best.washed / 60:.0f} min" in best.text


def test_a_scale_far_above_everything_reads_nothing(demo):
    found = strips.next_strips(demo, unknowns.draw(demo, 64), steps=(10.0,))
    assert found[0].after == pytest.approx(found[0].before, rel=1e-6)


def test_of_a_short_wash_only_its_end_can_be_read(demo):
    short = demo.but({"steps.1.baths": 1, "steps.1.duration": 60.0, "fixing.duration": 5.0})
    found = strips.next_strips(short, unknowns.draw(short, 32))
    assert {round(one.washed) for one in found} == {
        round(short.timeline.end - short.fixing.duration)
    }


def test_two_strips_tell_slow_from_held():
    plan = rivals.two_strips("slow", "held", draws=32)
    assert plan.mistake <= plan.alone < 0.1
    assert plan.strips[0] != plan.strips[1]
    assert all(what in plan.text for what, _ in plan.strips)


def test_nothing_tells_an_explanation_from_itself():
    plan = rivals.two_strips("slow", "slow", draws=16)
    assert plan.mistake == pytest.approx(0.5, abs=1e-9)
    assert plan.alone == pytest.approx(0.5, abs=1e-9)


def test_a_strip_that_teaches_nothing_says_so() -> None:
    one = strips.Strip(sheet=1, washed=600.0, face="front", before=1.9, after=1.9, answers=(1.0,))
    assert "not expected to narrow" in one.text
    assert "expected to narrow" in replace(one, after=1.2).text
    assert "not expected" not in replace(one, after=1.2).text
