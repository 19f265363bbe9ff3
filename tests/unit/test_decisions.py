"""What to do when the patch stains."""

from __future__ import annotations

import numpy as np
import pytest

from washsim import decisions, files, unknowns
from washsim.band import solve_band
from washsim.fitting import fit
from washsim.observing import observations
from washsim.readings import Drop, Tests
from washsim.solve import solve
from washsim.units import minute


@pytest.fixture(scope="module")
def result():
    return solve(files.example("demo"))


GOOD = {"blank": "clear", "above": 24e-6, "below": 48e-6}


SAMPLE = unknowns.draw(files.example("demo"), 16)


def texts(result, *drops, **given):
    given = {"sample": SAMPLE} | given
    return [one.text for one in decisions.when_stained(result, Tests(readings=drops), **given)]


def test_a_doubtful_drop_is_repeated_first(result):
    late = Drop(above=24e-6, below=48e-6, waited=9 * minute)
    assert texts(result, late)[0].startswith("Repeat drop 1")
    assert not any("Repeat" in text for text in texts(result, Drop(**GOOD)))


@pytest.mark.parametrize(
    ("front", "back", "words"),
    [
        ((24e-6, 48e-6), (6e-6, 12e-6), "emulsion side"),
        ((6e-6, 12e-6), (24e-6, 48e-6), "Free the back"),
    ],
)
def test_one_face_only(result, front, back, words):
    drops = (
        Drop(face="front", above=front[0], below=front[1], blank="clear"),
        Drop(face="back", above=back[0], below=back[1], blank="clear"),
    )
    assert any(words in text for text in texts(result, *drops))


def test_without_the_other_face_it_is_asked_for(result):
    assert any("other face" in text for text in texts(result, Drop(**GOOD, face="front")))


def test_silver_stops_the_list(result):
    found = decisions.when_stained(
        result, Tests(readings=(Drop(**GOOD),)), residual_silver="stained", sample=SAMPLE
    )
    assert found[-1].stop
    assert "fix again" in found[-1].text
    assert not any(one.stop for one in found[:-1])


def test_the_time_of_the_next_test_is_when_most_draws_are_under(result):
    """Four baths only, and a drop above the target: by then four draws in five are under."""
    early = result.scenario.but({"steps.1.baths": 4})
    washed = solve(early)
    drop = Drop(above=60e-6, below=120e-6, blank="clear")
    # the quick fit is the list's own; the same again, seeded alike, is what it rests on
    found = texts(washed, drop, sample=None)
    text = next(text for text in found if "two changes" in text)
    minutes = float(text.split("test again ")[1].split(" min from now")[0].split()[-1])
    seen = observations(early, Tests(readings=(drop,)))
    sample = fit(early, seen, draws=64).sample
    band = solve_band(decisions.mending(early), sample)
    now, under = washed.run.timeline.end, band.crossings.max(axis=1)
    # minutes are whole in the text
    assert np.mean(under <= now + 60 * (minutes + 1)) >= decisions.SURE
    assert np.mean(under <= now + 60 * (minutes - 1)) < decisions.SURE


def test_where_even_that_is_not_enough_it_says_so(result):
    """Water that carries fixer itself: no draw ever gets under the target."""
    foul = result.scenario.but({"water.thiosulfate": 0.5})
    washed = solve(foul)
    found = texts(washed, Drop(**GOOD))
    assert any("expect to repeat it" in text for text in found)


def test_no_time_left_means_dry_or_hold(result):
    held = texts(result, Drop(**GOOD), minutes_left=5.0)[-1]
    # 14 sheets of 0.0516 m2 at 20 L/m2: 14.4 L by hand
    assert "14.4 L" in held
    assert "another day" in held
    assert not any("another day" in text for text in texts(result, Drop(**GOOD)))
