"""Which cheap experiment tells two explanations apart."""

from __future__ import annotations

import math

import pytest

from washsim import rivals, tables


def test_an_explanation_cannot_be_told_from_itself():
    assert all(test.separation == 0 for test in rivals.telling_tests("slow", "slow"))


def test_separation_is_in_units_of_the_reading_error_and_sorted():
    error = tables.datum("limits.spot_test.reading_error").value
    visible = tables.datum("limits.spot_test.visible_low").si
    tests = rivals.telling_tests("slow", "held")
    for test in tests:
        assert min(test.first, test.second) >= visible
        assert test.separation == pytest.approx(abs(math.log(test.first / test.second)) / error)
    assert [t.separation for t in tests] == sorted((t.separation for t in tests), reverse=True)


def test_aid_and_a_covered_back_tell_slow_from_held():
    """Lesson of the two suspects: aid works on held fixer only, a covered face on slow paper."""
    first = [test.what for test in rivals.telling_tests("slow", "held")[:3]]
    assert "five minutes of wash aid first" in first
    assert "back covered by the tray's floor" in first


def test_swapping_the_rivals_swaps_the_readings():
    one = {t.what: t for t in rivals.telling_tests("slow", "both")}
    other = {t.what: t for t in rivals.telling_tests("both", "slow")}
    for what, test in one.items():
        assert (test.first, test.second) == (other[what].second, other[what].first)


def test_chance_to_mistake_is_the_normal_tail():
    """Half-way between two normal readings: 1 - Phi(z / 2); 15.87 % at z = 2, tables."""
    assert rivals.chance_to_mistake(0.0) == pytest.approx(0.5)
    assert rivals.chance_to_mistake(2.0) == pytest.approx(0.15865525, abs=1e-8)
