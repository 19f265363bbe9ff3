"""What lesson pages are told and what they accept: no page, no browser."""

from __future__ import annotations

import html
import itertools
import json
import math

import pytest

from washsim import lessons
from washsim.errors import InputError
from washsim_dashboard import classroom, handout, learn

NAMES = lessons.names()


@pytest.mark.parametrize("name", NAMES)
def test_an_answer_is_plain_and_small_enough_for_a_phone(name):
    told = classroom.told(name)
    text = json.dumps(told, allow_nan=False)
    assert len(text) < 300_000
    for run in told["runs"]:
        assert len(run["minutes"]) == len(run["residual"])
        film = run["film"]
        frames = len(film["minutes"])
        assert len(film["mobile"]) == len(film["held"]) == frames * len(run["depth"])
        assert len(film["water"]) == len(film["place"]) == frames
    clock = told["clock"]
    assert all(a < b for a, b in itertools.pairwise(clock))
    assert told["axis"]["start"] <= clock[0]
    assert clock[-1] == pytest.approx(told["axis"]["stop"])


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("name", NAMES)
def test_no_page_tells_an_answer_before_the_prediction(name, system):
    page = learn.lesson_page(name, system)
    answer = lessons.answer(name)
    assert answer.lesson.asks in page
    assert answer.lesson.explain[:40] not in page
    hidden = [answer.words[one.name] for one in answer.lesson.figures if one.digits > 2]
    assert not [words for words in hidden if f" {words}" in page]
    predict = answer.lesson.predict
    conditions = [predict.of, *(holds for _, holds in predict.choices)]
    assert not [one for one in conditions if one and html.escape(one) in page]
    for run in answer.lesson.runs:
        assert (run.title in page) == (run.drawn and run.announced)


@pytest.mark.parametrize(
    ("name", "predicted"),
    [
        ("stream", -1),
        ("stream", 41),
        ("stream", math.nan),
        ("stream", "5"),
        ("stream", None),
        ("stream", [5]),
        ("strip", 4),
        ("strip", -1),
        ("strip", True),
        ("strip", 1.5),
        ("guest", 3),
        ("guest", []),
        ("guest", [[55, 0.1]]),
        ("guest", [[55, 0.1], [136, 0.1]]),
        ("guest", [[55, 0.1], [60, 0]]),
        ("guest", [[55, 0.1], "x"]),
        ("guest", [[55, 0.1]] * 301),
    ],
)
def test_what_is_no_prediction_is_refused(name, predicted):
    with pytest.raises(InputError, match="prediction: expected"):
        classroom.checked(lessons.lesson(name), predicted)


def test_a_prediction_is_set_beside_the_run():
    answer = lessons.answer("covered")
    said = classroom.said(answer, 2.0)
    assert said == "You said 2.0 times. The runs say 4.1 times."
    strip = lessons.answer("strip")
    assert classroom.said(strip, strip.choice).endswith("So say the runs.")
    assert "The runs say: more than twenty" in classroom.said(strip, 0)
    curve = [(minute, 0.01) for minute in range(55, 136)]
    told = classroom.said(lessons.answer("guest"), curve)
    assert told.startswith("At minutes 75, 95 and 115 you drew 0.010, 0.010 and 0.010 g/m².")


def test_a_class_counts_each_visitor_once_and_begins_afresh():
    ballot = classroom.Ballot()
    found = lessons.lesson("stream")
    for voter, predicted in (("a", 5.0), ("b", 20.0), ("a", 10.0)):
        ballot.put("stream", voter, predicted)
    assert sorted(ballot.of("stream")) == [10.0, 20.0]
    words = classroom.tally(found, ballot.of("stream"))
    assert words == "2 predictions: from 10 min to 20 min, the middle one 15 min."
    ballot.clear("stream")
    assert classroom.tally(found, ballot.of("stream")) == "No predictions yet."
    for i in range(classroom.SEATS + 5):
        ballot.put("stream", str(i), 1.0)
    assert len(ballot.of("stream")) == classroom.SEATS


def test_a_class_that_chose():
    found = lessons.lesson("strip")
    words = classroom.tally(found, [0, 3, 0])
    assert words.startswith("3 predictions: 2 said “under the target too, only later”, 1 said")


def test_us_measures_stand_on_every_page_of_a_lesson_for_those_who_want_them():
    pages = {"us": 3, "metric": 0}
    for system, expected in pages.items():
        found = [
            learn.lesson_page("bill", system),
            learn.teacher_page("bill", system),
            handout.of_lesson("bill", system, []),
        ]
        assert sum("20 L = 5.28 gal" in page for page in found) == expected
