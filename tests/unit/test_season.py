"""Evenings learn from each other, less so the more has changed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm

from tests.stories import bench
from tests.unit.test_fitting import SLAB
from washsim import files, season, tables
from washsim.fitting import Belief
from washsim.logbook import Entry
from washsim.readings import Drop, Tests


@pytest.fixture(scope="module")
def slab():
    return files.loads(bench.scenario("slab", SLAB, sheet="count = 1"))


def evening(slab, day, paper="A", minutes=40, above=12e-6):
    drop = Drop(washed=60.0 * minutes, above=above, below=2 * above)
    return Entry(date=day, paper=paper, scenario=slab, tests=Tests(readings=(drop,)))


def test_shares_that_are_new():
    """By the tables: paper by whether it is the same, all else by the root of the time."""
    names = ("base.hindrance", "held_pool", "exchange", "carry_over")
    same = tables.datum("limits.drift.same_paper").value
    other = tables.datum("limits.drift.other_paper").value
    year = tables.datum("limits.drift.season").value
    found = season.drift(names, True, 365.25)
    assert found == pytest.approx([same, same, year, year])
    found = season.drift(names, False, 365.25 / 4)
    assert found == pytest.approx([other, other, year / 2, year / 2])
    assert season.drift(names, True, 1e6)[2] == 1.0


def test_an_evening_starts_from_the_last_with_its_paper(slab):
    belief = [Belief(("x",), np.array([float(i)]), np.eye(1)) for i in range(3)]
    days = [evening(slab, f"2026-0{m}-01", paper) for m, paper in ((1, "A"), (2, "A "), (3, "B"))]
    earlier = list(zip(days, belief, strict=True))
    assert season.before(days[0], []) is None
    # the words are compared without case and blanks at their ends
    mine = season.before(evening(slab, "2026-04-01", "a"), earlier)
    drift = season.drift(("x",), True, 59)
    assert mine.mean == pytest.approx(math.sqrt(1 - drift[0] ** 2) * np.array([1.0]))
    new = season.before(evening(slab, "2026-03-01", "C"), earlier)
    assert new.mean == pytest.approx([2.0])


def test_the_same_reading_again_narrows_less_on_another_paper(slab):
    book = {
        "one": evening(slab, "2026-01-01"),
        "same": evening(slab, "2026-01-08"),
        "unread": Entry(date="2026-01-09", scenario=slab),
        "other": evening(slab, "2026-01-15", "B"),
    }
    found = season.fits(book, draws=256)
    assert list(found) == ["one", "same", "other"]
    spread = {name: one.narrowed["paper.hindrance"] for name, one in found.items()}
    assert spread["same"] < 0.95 * spread["one"]
    assert spread["other"] > spread["same"]


def test_an_evening_is_foretold_from_those_before_it(slab):
    """z becomes sqrt(1 - d^2) z + d times a new one: its mean and variance, d from the tables."""
    book = {"one": evening(slab, "2026-01-01"), "later": evening(slab, "2026-03-01")}
    tonight = evening(slab, "2026-01-08")
    scenario, sample, count = season.foretold(tonight, book)
    assert (scenario, count) == (slab, 1)
    (one,) = season.fits({"one": book["one"]}).values()
    new = tables.datum("limits.drift.same_paper").value
    (unknown,) = (each for each in one.unknowns if each.name == "paper.hindrance")
    z = one.z[:, one.belief.names.index("paper.hindrance")]
    # back from factors to z: a width of its own on either side of the middle
    logs = np.log(sample.of("paper.hindrance"))
    width = np.where(logs < 0, -np.log(unknown.low), np.log(unknown.high)) / norm.ppf(0.95)
    # new ones are even points, nearly independent of the draws: a few hundredths
    assert np.mean(logs / width) == pytest.approx(math.sqrt(1 - new**2) * z.mean(), abs=0.03)
    wanted = math.sqrt((1 - new**2) * z.var() + new**2)
    assert np.std(logs / width) == pytest.approx(wanted, rel=0.1)


def test_nothing_is_foretold_from_tonight_itself(slab):
    book = {"one": evening(slab, "2026-01-08"), "unread": Entry(date="2026-01-01", scenario=slab)}
    correction = Entry(date="2026-01-08", scenario=slab, replaces="one")
    assert season.foretold(correction, book) is None
    before = Entry(date="2026-01-07", scenario=slab)
    assert season.foretold(before, book) is None
