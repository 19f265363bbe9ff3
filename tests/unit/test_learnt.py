"""What readings taught of a paper, carried by a scenario: its file, its middle, its band."""

from __future__ import annotations

import numpy as np
import pytest

from tests.stories import bench
from tests.unit.test_fitting import SLAB
from washsim import band, files, fitting, observing, unknowns
from washsim.errors import InputError
from washsim.readings import Drop, Tests
from washsim.solve import solve

TESTS = Tests(readings=(Drop(washed=2400.0, above=12e-6, below=24e-6),))


@pytest.fixture(scope="module")
def fitted():
    slab = files.loads(bench.scenario("slab", SLAB, sheet="count = 1"))
    return fitting.fit(slab, observing.observations(slab, TESTS), draws=256)


@pytest.fixture(scope="module")
def learnt(fitted):
    return fitting.fitted_scenario(fitted)


def test_it_is_a_scenario_like_any_other(learnt):
    assert files.loads(files.dumps(learnt)) == learnt
    assert learnt.sheet.learnt.basis == "1 reading"


def test_as_it_stands_it_is_the_middle_of_the_draws(fitted, learnt):
    (seen,) = fitted.seen
    found = float(solve(learnt).at(0, np.array([seen.at]))[0])
    # one unknown that counts: what washes worse holds more, so the middle draw is the middle value
    assert found == pytest.approx(np.median(fitted.predicted), rel=0.1)


def test_later_runs_show_what_was_learnt(fitted, learnt):
    """Narrower than the tables, and as the fit's own draws, as far as 65 of them can tell."""
    free = fitted.unknowns
    before = unknowns.sample(free, unknowns.latent(free, 256))
    wide, known, carried = (
        band.solve_band(*what).worst
        for what in ((fitted.scenario, before), (fitted.scenario, fitted.sample), (learnt,))
    )
    middle = [np.median(np.log(one)) for one in (known, carried)]
    spread = [np.log(one).std() for one in (wide, known, carried)]
    assert spread[2] < 0.7 * spread[0]
    # standard errors of 65 draws: an eighth of the spread of the middle, an eleventh of it
    assert middle[1] == pytest.approx(middle[0], abs=3 * 1.25 * spread[1] / np.sqrt(65))
    assert spread[2] == pytest.approx(spread[1], rel=3 / np.sqrt(2 * 65))


def test_draws_keep_what_they_share():
    """Each draw's factors stay together, in order of how well it washes."""
    demo = files.example("demo").but({"sheet.count": 1})
    drop = observing.observations(demo, Tests(readings=(Drop(above=5e-6, below=1e-5),)))
    scenario = fitting.fitted_scenario(fitting.fit(demo, drop, draws=64))
    paper, *others = unknowns.unknowns(scenario)
    assert paper.label == "the paper, as learnt"
    assert not {one.name for one in others} & set(paper.learnt.factors)
    # z of the tenth draw's own place among 65
    z = np.array([[-1.05] + [0.0] * len(others)])
    found = unknowns.sample((paper, *others), z)
    tenth = int(65 * 0.14686)
    for name, each in paper.learnt.factors.items():
        assert found.of(name) == pytest.approx(each[tenth] / each[32])
    worse = unknowns.sample(
        (paper, *others), np.array([[k] + [0.0] * len(others) for k in (-2, 2)])
    )
    low, high = band.solve_band(scenario, worse).worst
    assert low < solve(scenario).worst_residual < high


def test_on_another_paper_it_does_not_count():
    demo = files.example("demo")
    drop = observing.observations(demo, Tests(readings=(Drop(below=1e-5),)))
    scenario = fitting.fitted_scenario(fitting.fit(demo, drop, draws=64))
    assert scenario.sheet.material != demo.sheet.material
    for change in ({"sheet.paper": "fibre_single"}, {"sheet.explanation": "slow"}):
        changed, plain = scenario.but(change), demo.but(change)
        assert changed.sheet.material == plain.sheet.material
        assert unknowns.unknowns(changed) == unknowns.unknowns(plain)
    # a fit begins from the tables: the same drops would count twice
    again = fitting.fit(scenario, drop, draws=64)
    assert np.array_equal(again.z, fitting.fit(demo, drop, draws=64).z)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('name = "paper.hindrance"', 'name = "papr.hindrance"', "did you mean 'paper.hindrance'"),
        ('factors = "', 'factors = "one ', "got 'one'"),
        ('factors = "', 'factors = "-1 ', "numbers from 0.001 to 1000"),
        ('factors = "', 'factors = "" #', "expected 1 to 129, got 0"),
    ],
)
def test_a_wrong_edit_is_told(learnt, old, new, words):
    text = files.dumps(learnt)
    assert old in text
    with pytest.raises(InputError, match=words) as told:
        files.loads(text.replace(old, new, 1))
    assert "\n" not in str(told.value)
