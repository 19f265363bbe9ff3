"""Lessons as data: what a file may say, what is refused, and that no answer stands in one."""

from __future__ import annotations

import math
import string

import pytest

from washsim import figures, files, lessons, tables
from washsim.errors import DataError, InputError
from washsim.solve import solve

NAMES = lessons.names()


@pytest.fixture(scope="module")
def batch():
    return solve(files.example("batch").but({"steps.1.duration": 600.0}))


def test_thirteen_numbered_in_order():
    assert [lessons.lesson(name).number for name in NAMES] == list(range(1, 14))


@pytest.mark.parametrize("name", NAMES)
def test_fits_a_lesson_hour(name):
    found = lessons.lesson(name)
    assert 15 <= found.minutes <= 20
    assert [one.kind for one in found.follow] == ["numeric", "design", "sceptical"]
    assert 2 <= len(found.drawn) <= 4
    assert all("nvented" in run.scenario.title for run in found.runs)
    assert found.breaks
    assert found.watch


@pytest.mark.parametrize("name", NAMES)
def test_every_figure_named_in_a_text_is_computed(name):
    answer = lessons.answer(name)
    for text in (answer.lesson.explain, *(one.expected for one in answer.lesson.follow)):
        names = {field for _, field, _, _ in string.Formatter().parse(text) if field}
        assert names <= set(answer.figures)
        assert "{" not in answer.fill(text)
    assert all(not math.isnan(number) for number in answer.figures.values())


@pytest.mark.parametrize("name", NAMES)
def test_what_is_asked_can_be_said_and_tells_no_answer(name):
    answer = lessons.answer(name)
    predict = answer.lesson.predict
    if predict.kind == "number":
        assert answer.number is not None
        assert predict.low < answer.number < predict.high
        # a slider that starts on the answer, or allows little else, would tell it
        assert predict.high - predict.low > 2 * abs(answer.number - predict.low)
    elif predict.kind == "choice":
        assert answer.choice is not None
        assert len(predict.choices) >= 3
    else:
        start, stop = predict.span
        end = answer.results["A"].run.timeline.end / 60
        assert 0 < start < stop <= end + 1e-9
    for text in (answer.lesson.scene, answer.lesson.asks, *answer.lesson.watch):
        assert "{" not in text


@pytest.mark.parametrize("name", NAMES)
def test_runs_are_computed_as_finely_as_asked(name):
    for result in lessons.answer(name).results.values():
        assert result.numerical_error <= result.scenario.settings.accuracy
        assert result.balance < 1e-9


def test_a_misspelt_name_gets_the_nearest_one():
    with pytest.raises(InputError, match="did you mean 'bucket'"):
        lessons.lesson("buckets")


def test_a_choice_that_nothing_or_several_hold_for_is_refused(monkeypatch):
    tree = dict(tables.table("lessons/strip"))
    always = [{"label": one, "holds": "1 < 2"} for one in "abc"]
    tree["predict"] = {"kind": "choice", "choices": always}
    monkeypatch.setattr(lessons, "_tree", lambda name: tree)
    lessons.lesson.cache_clear()
    lessons.answer.cache_clear()
    with pytest.raises(DataError, match="expected one choice to hold, got 3"):
        lessons.answer("strip")
    lessons.lesson.cache_clear()
    lessons.answer.cache_clear()


# --- arithmetic on runs ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1 + 2 * 3", 7.0),
        ("-2 ** 2", -4.0),
        ("max(1, 2) / 4", 0.5),
        ("exp(log(5))", 5.0),
        ("1 < 2 <= 2", 1.0),
        ("1 < 2 < 2", 0.0),
        ("limit * 2", 6.0),
        ("A.litres", 5.0),
        ("A.ratio * A.area * 14", 5.0),
        ("A.load", 25.0),
    ],
)
def test_arithmetic(batch, text, expected):
    assert figures.value(text, {"A": batch}, {"limit": 3.0}) == pytest.approx(expected, rel=1e-6)


def test_never_is_infinite_and_moments_agree_with_the_run(batch):
    runs = {"A": batch}
    assert figures.value("A.minutes", runs, {}) == math.inf
    end = batch.run.timeline.end / 60
    left = figures.value("A.left", runs, {})
    assert figures.value(f"A.sheet(14, {end})", runs, {}) == pytest.approx(left, rel=1e-12)
    assert figures.value("A.end(1)", runs, {}) == pytest.approx(left, rel=1e-12)
    # fixed for ten minutes: at() counts from leaving the fixer, sheet() from the run's start
    assert figures.value("A.at(5)", runs, {}) == figures.value("A.sheet(1, 15)", runs, {})
    top = figures.value(f"A.highest(1, 0, {end})", runs, {})
    assert top == pytest.approx(figures.value("A.load", runs, {}), rel=1e-3)


@pytest.mark.parametrize(
    "text",
    [
        "A.minute",
        "B.left",
        "A.left.real",
        "__import__('os')",
        "(lambda: 1)()",
        "[1][0]",
        "A",
        "1 / 0",
        "1 +",
        "'a' * 3",
        "A.at()",
        "log(-1)",
        "A.end(15)",
    ],
)
def test_nothing_else_can_be_said(batch, text):
    with pytest.raises(DataError, match="expression"):
        figures.value(text, {"A": batch}, {})


@pytest.mark.parametrize(
    ("number", "digits", "expected"),
    [
        (0.0000528586, 3, "0.0000529 g/m²"),
        (2201.7, 2, "2202 g/m²"),
        (0.0, 2, "0 g/m²"),
        (9.2423, 2, "9.2 g/m²"),
        (-0.482, 2, "-0.48 g/m²"),
        (math.inf, 2, "never"),
    ],
)
def test_numbers_in_words(number, digits, expected):
    assert figures.shown(number, "g/m²", digits) == expected


# --- changes in the words of a file ---


def test_changed_takes_keys_with_units():
    demo = files.example("demo")
    changes = {"fixing.duration_s": 120, "vessels.tray.volume_l": 2, "steps.1.baths": 3}
    found = files.changed(demo, changes, "here")
    assert found.fixing.duration == 120.0
    assert found.vessels[0].volume == pytest.approx(2e-3)
    assert found.steps[0].baths == 3
    tubs = {"tub": {"volume_l": 60}}
    assert files.changed(demo, {"vessels": tubs}, "here").vessels[0].name == "tub"


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        ("fixing.duration_min", 2, "did you mean 'duration_s'"),
        ("fixing.duration_s", "long", "here, fixing.duration_s: expected 1 to 7200 s"),
        ("vessels.tub.volume_l", 2, "expected tray or washer"),
        ("titel", "x", "did you mean 'title'"),
    ],
)
def test_changed_names_what_is_wrong(path, value, message):
    with pytest.raises(InputError, match=message):
        files.changed(files.example("demo"), {path: value}, "here")
