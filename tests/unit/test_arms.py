"""The view-model of Compare and Class: what is shipped, what is asked, what is refused."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

from washsim import comparing, files, side_by_side
from washsim.errors import InputError
from washsim.solve import solve
from washsim_dashboard import arms, doubt, share


def test_each_schedule_is_shipped_with_as_many_frames_as_words():
    race = arms.race(comparing.question("with_aid"))
    told = race.told
    assert [one["letter"] for one in told["arms"]] == ["A", "B", "C", "D"]
    for film, arm in zip(race.films, told["arms"], strict=True):
        frames, points = film["mobile"].shape
        assert film["held"].shape == (frames, points)
        assert points == len(arm["depth"])
        for column in ("minutes", "water", "residual", "place"):
            assert len(film[column]) == frames
        assert film["minutes"][-1] == pytest.approx(arm["end"])
        assert arm["layers"][-1]["stop"] == pytest.approx(arm["depth"][-1])
    for row in [*told["differences"], *told["outcomes"]]:
        assert len(row["values"]) == 4


def test_the_clock_spans_the_longest_and_shows_its_fixing():
    comparison = comparing.question("forgotten")
    race = arms.race(comparison)
    clock = np.array(race.told["clock"])
    assert len(clock) == arms.CLOCK
    assert np.all(np.diff(clock) > 0)
    assert clock[0] == 0
    assert clock[-1] == pytest.approx(max(arm["end"] for arm in race.told["arms"]))
    # half an hour in the fixer
    assert np.sum(clock < 30) == round(arms.FIXING * arms.CLOCK)
    assert race.told["fixed"] == pytest.approx(1)


def test_letters_lie_on_their_curves_apart_from_each_other():
    comparison = comparing.question("winter_tap")
    race = arms.race(comparison)
    at = race.letters["minutes"]
    assert min(np.diff(sorted(at))) > 0.1 * max(at)
    for x, y, scenario in zip(at, race.letters["residual"], comparison.scenarios, strict=True):
        exact = 1e3 * solve(scenario).at(0, np.array([60 * x]))[0]
        # a straight line between points 16 s apart, on a curve that halves in minutes
        assert y == pytest.approx(exact, rel=5e-3)


def test_a_visitor_asks_and_is_answered():
    session = arms.Session({})
    assert session.told["name"] == arms.FIRST
    session.board.asked = {"question": "strip_and_batch"}
    assert session.board.told["answer"] == 1
    assert session.board.told["name"] == "strip_and_batch"
    assert len(session.films[1].data["minutes"]) == arms.FRAMES
    assert [len(film.data["minutes"]) for film in session.films[2:]] == [0, 0]
    session.board.asked = {"ways": ["slots", "row", "sea"]}
    assert session.board.told["ways"] == ["slots", "row", "sea"]
    assert session.board.told["answer"] == 2
    expected = files.with_method(files.example("demo"), "row")
    shipped = session.films[1].data["residual"][-1]
    assert shipped == pytest.approx(1e3 * solve(expected).worst_residual, rel=1e-5)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"question": "winter_tab"}, "did you mean 'winter_tap'"),
        ({"question": "<script>"}, "got '<script>'"),
        ({"question": 7}, "got 7"),
        ({"question": ["winter_tap"]}, "got a list"),
        ({"ways": ["slots"]}, "expected 2 to 4 of them, got 1"),
        ({"ways": ["slots"] * 5}, "got 5"),
        ({"ways": "slots"}, "expected a list"),
        ({"ways": ["slots", {}]}, "got a table"),
    ],
)
def test_what_cannot_be_compared_is_said_and_the_last_one_stays(asked, said):
    session = arms.Session({"question": "winter_tap"})
    before = session.films[0].data
    session.board.asked = asked
    assert said in session.board.told["error"]
    assert session.board.told["answer"] == 1, "the browser would wait for ever"
    assert session.board.told["name"] == "winter_tap"
    assert session.films[0].data is before


def test_a_page_opened_with_nonsense_opens_with_the_first_question():
    session = arms.Session({"question": "nonsense"})
    assert session.board.told["name"] == arms.FIRST
    assert "expected short_fix" in session.board.told["error"]


def test_a_run_that_throws_is_one_sentence(monkeypatch):
    session = arms.Session({})
    monkeypatch.setattr(arms, "race", lambda comparison: 1 / 0)
    session.board.asked = {"question": "winter_tap"}
    assert session.board.told["error"].startswith("This could not be computed")


def test_too_few_ways_are_refused():
    with pytest.raises(InputError, match="expected 2 to 4"):
        comparing.ways(files.example("demo"), [])


def test_a_visitors_own_batch_is_washed_in_the_ways_they_choose():
    own = files.example("strip").but(title="<b>mine</b>")
    session = arms.Session({"ways": ["as_it_stands", "row"]}, share.pack(own))
    assert session.board.told["batch"] == "<b>mine</b>"
    assert session.board.told["state"] == share.pack(own)
    shipped = [session.films[i].data["residual"][-1] for i in range(2)]
    expected = [solve(own), solve(files.with_method(own, "row"))]
    assert shipped == pytest.approx([1e3 * one.worst_residual for one in expected], rel=1e-5)


def test_a_damaged_batch_is_said_and_the_demo_stands_in():
    session = arms.Session({"ways": ["slots", "row"]}, "nonsense")
    assert "damaged" in session.board.told["error"]
    assert session.board.told["state"] == ""
    assert session.batch == files.example("demo")


METRIC = re.compile(r"\d ?(L|mL|L/min|°C|K|cm|mm)\b|[^g]/m²")


@pytest.mark.parametrize("name", comparing.questions())
def test_words_come_in_the_visitors_units(name):
    found = comparing.question(name)
    assert METRIC.search(json.dumps(arms.race(found).told, ensure_ascii=False))
    assert not METRIC.search(json.dumps(arms.race(found, "us").told, ensure_ascii=False))


def test_doubts_follow_and_those_of_other_schedules_are_forgotten():
    session = arms.Session({"question": "strip_and_batch"})
    assert {value for row in session.told["doubts"] for value in row["values"]} == {"…"}
    found = doubt.doubts(session.scenarios)
    session.show_doubts(found)
    assert [row["what"] for row in session.board.doubts] == list(side_by_side.DOUBTS)
    for source, edges in zip(session.bands, found.edges, strict=False):
        assert list(source.data["high"]) == list(edges["high"])
    session.board.asked = {"question": "winter_tap"}
    assert session.board.doubts == []
    assert [len(source.data["minutes"]) for source in session.bands] == [0, 0, 0, 0]
