"""The ribbon's data against the scenario's own steps and the solver's residuals."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given

from tests.unit.evenings import evenings
from tests.unit.schedules import some
from washsim import files, ribbon
from washsim.solve import solve


@pytest.fixture(scope="module")
def held():
    return ribbon.ribbon(solve(files.example("hold_and_changes").but({"settings.outputs": 50})))


def test_one_bar_a_sheet(held):
    assert held.sheets == tuple(str(k) for k in range(1, 15))
    assert held.residual_g_m2.shape == (14, len(held.minutes))


def test_a_sheet_is_where_its_steps_put_it(held):
    """Sheet 2 comes at 8 min, fixes for one, drains 10 s, waits, and is in five baths of 10 min."""
    fixed, drained, waits, again, bath = held.stays[1]
    assert [one.kind for one in held.stays[1]] == ["fixing", "air", "hold", "air", "bath"]
    assert (fixed.start, fixed.stop) == (8, 9)
    assert drained.stop - drained.start == pytest.approx(1 / 6)
    # everybody leaves the holding bath as the last leaves the fixer
    assert waits.stop == pytest.approx(13 * 8 + 1)
    assert bath.stop - bath.start == pytest.approx(50)
    assert (fixed.letter, drained.letter, waits.letter, bath.letter) == ("F", "", "A", "B")
    assert again.start == waits.stop


def test_nothing_is_shown_before_a_sheet_has_come(held):
    seventh = held.residual_g_m2[6]
    assert np.isnan(seventh[held.minutes < 48]).all()
    assert not np.isnan(seventh[held.minutes >= 48]).any()


def test_residuals_are_the_solvers(held):
    result = solve(files.example("hold_and_changes").but({"settings.outputs": 50}))
    assert held.residual_g_m2[:, -1] == pytest.approx(1e3 * np.array(result.final_residual))
    assert held.target_g_m2 == pytest.approx(14e-3)


def test_renewals_are_marked(held):
    """The holding bath once, before the eighth sheet goes in; then four changes of five baths."""
    first = 7 * 8 + 1
    start = 13 * 8 + 1 + 1 / 6
    expected = [(first, "A"), *((start + 10 * k, "B") for k in (1, 2, 3, 4))]
    assert [letter for _, letter in held.renewals] == [letter for _, letter in expected]
    assert [at for at, _ in held.renewals] == pytest.approx([at for at, _ in expected])


def test_a_late_sheet_says_so_and_blushes_the_others():
    found = ribbon.ribbon(solve(files.example("late_sheet").but({"settings.outputs": 50})))
    assert found.sheets[-1] == "8 late"
    joins = found.stays[-1][2].start
    before, after = (found.residual_g_m2[0][found.minutes <= t][-1] for t in (joins, joins + 4))
    assert after > before


def test_a_tray_that_serves_two_steps_is_cut_where_they_meet():
    twice = files.example("demo")
    first = twice.steps[0]
    found = ribbon.ribbon(solve(twice.but({"steps": (first, first), "settings.outputs": 50})))
    baths = [one for one in found.stays[0] if one.kind == "bath"]
    assert [round(one.stop - one.start) for one in baths] == [60, 60]


@given(scenario=evenings())
@some(80)
def test_stays_follow_each_other_to_the_end(scenario):
    """Without a gap, and only in kinds that the page can name; nothing is solved."""
    timeline = scenario.timeline
    letters = ribbon.moves.letters(timeline)
    for lot in range(len(timeline.lots)):
        own = ribbon._stays(timeline, letters, lot)
        assert own[0].kind == "fixing"
        assert own[-1].stop == pytest.approx(timeline.end / 60)
        for one, after in pairwise(own):
            assert one.stop == pytest.approx(after.start)
        assert {one.kind for one in own} <= set(ribbon.KINDS)
