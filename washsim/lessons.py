"""Lessons: predict, observe, explain. Each stands in data/lessons/NAME.toml, text and runs alike.

Keys of such a file: number, title, breaks (what learners wrongly hold), timing (minutes of each
part), scene (what is set up), asks (the question), predict (what kind of prediction, and what it
comes to), watch, runs (base: an example scenario; but: what is changed in it, in the words of a
scenario file; sheet: whose curve is drawn, else the worst's; drawn = false: for figures only;
announced = false: not named before the prediction), slide (what a notebook lets one change),
figures (numbers computed from the runs, see figures.py), explain and follow-up questions (with
{figures} filled in), cautions and sources (keys of their tables).
No answer stands in the files: it is computed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files as resources
from typing import Any

from washsim import files, rivals, tables
from washsim.errors import DataError, InputError
from washsim.fields import one_of
from washsim.figures import shown, value
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.solve import solve

LETTERS = "ABCDEFGH"
PARTS = {
    "scene": "Set the scene",
    "predict": "Predict, each alone, then with a neighbour",
    "watch": "Play the run and watch",
    "explain": "Explain",
    "follow": "Follow-up questions",
}
"""Of a lesson, in order."""
SPOT_TEST = ("visible_low", "visible_high", "reading_error")
"""Numbers of the spot test that expressions may name, g/m² and 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """One run of a lesson."""

    letter: str
    title: str
    base: str
    """Name of the example it is made from."""
    changes: Mapping[str, Any]
    """What is changed in it, in the words of a scenario file."""
    scenario: Scenario
    sheet: int | None
    """Number of the sheet whose curve is drawn; None the worst."""
    drawn: bool
    announced: bool
    """Whether the page may name it before the prediction."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A number that the runs come to: an expression, or a strip experiment's telling power."""

    name: str
    label: str
    unit: str
    of: str
    test: str
    digits: int

    def words(self, number: float) -> str:
        return shown(number, self.unit, self.digits)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What the student says beforehand: a number, one of a few choices, or a drawn curve."""

    kind: str
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    """Of the number in `unit`, or of the curve's axis, g/m²."""
    step: float = 0.0
    scale: str = "linear"
    of: str = ""
    span: tuple[float, float] = (0.0, 0.0)
    """Minutes of washing between which the curve is drawn."""
    choices: tuple[tuple[str, str], ...] = ()
    """(label, expression that is true of the right one)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slide:
    """The number of a run that a notebook lets one slide: its key as in a file, its span."""

    run: str
    key: str
    low: float
    high: float
    step: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Follow:
    """A question for afterwards: 'numeric', 'design' or 'sceptical'; what to expect."""

    kind: str
    asks: str
    expected: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    """A lesson as it stands in its file."""

    name: str
    number: int
    title: str
    breaks: tuple[str, ...]
    timing: tuple[tuple[str, int], ...]
    """(part, minutes) in order."""
    scene: str
    asks: str
    predict: Prediction
    watch: tuple[str, ...]
    explain: str
    follow: tuple[Follow, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    """Citations."""
    figures: tuple[Figure, ...]
    runs: tuple[Planned, ...]
    slide: Slide

    @property
    def minutes(self) -> int:
        return sum(minutes for _, minutes in self.timing)

    @property
    def drawn(self) -> tuple[Planned, ...]:
        return tuple(run for run in self.runs if run.drawn)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the runs of a lesson say."""

    lesson: Lesson
    results: Mapping[str, Result]
    """Letter -> result."""
    figures: Mapping[str, float]
    number: float | None
    """What a predicted number comes to."""
    choice: int | None
    """Which choice is right, from 0."""

    @property
    def words(self) -> dict[str, str]:
        """Figure name -> the number in words, unit included."""
        return {one.name: one.words(self.figures[one.name]) for one in self.lesson.figures}

    def fill(self, text: str) -> str:
        """A text of the lesson with its figures filled in."""
        return text.format_map(self.words)

    @property
    def explain(self) -> str:
        return self.fill(self.lesson.explain)

    @property
    def right(self) -> str:
        """The expected prediction in a few words."""
        predict = self.lesson.predict
        if self.choice is not None:
            return predict.choices[self.choice][0]
        if self.number is not None:
            return shown(self.number, predict.unit, 2 if self.number < 1000 else 3)
        return "the curve of A"


def names() -> tuple[str, ...]:
    """Names of the lessons, in the order of their numbers."""
    folder = resources("washsim") / "data" / "lessons"
    found = [path.name.removesuffix(".toml") for path in folder.iterdir()]
    return tuple(sorted(found, key=lambda name: int(_tree(name)["number"])))


@lru_cache
def lesson(name: str) -> Lesson:
    """The lesson of that name; InputError names the nearest one."""
    if name not in names():
        raise InputError(f"lesson: expected {one_of(name, names())}")
    tree = _tree(name)
    try:
        return Lesson(
            name=name,
            number=tree["number"],
            title=tree["title"],
            breaks=tuple(tree["breaks"]),
            timing=tuple((part, tree["timing"][part]) for part in PARTS),
            scene=tree["scene"],
            asks=tree["asks"],
            predict=_prediction(tree["predict"]),
            watch=tuple(tree["watch"]),
            explain=tree["explain"],
            follow=tuple(Follow(**one) for one in tree["follow"]),
            cautions=tuple(tables.entry(f"limits.caution.text.{key}") for key in tree["cautions"]),
            sources=tuple(tables.source(key).citation for key in tree["sources"]),
            figures=tuple(_figure(key, one) for key, one in tree["figures"].items()),
            runs=tuple(
                _planned(f"lesson {name}, run {letter}", letter, one)
                for letter, one in zip(LETTERS, tree["runs"], strict=False)
            ),
            slide=Slide(**tree["slide"]),
        )
    except (KeyError, TypeError) as error:
        raise DataError(f"data/lessons/{name}.toml: {error}") from error


def _tree(name: str) -> dict[str, Any]:
    return tables.table(f"lessons/{name}")


def _prediction(tree: dict[str, Any]) -> Prediction:
    given = dict(tree)
    choices = tuple((one["label"], one["holds"]) for one in given.pop("choices", ()))
    span = (given.pop("from", 0.0), given.pop("to", 0.0))
    return Prediction(**{"of": given.pop("is", "")} | given, choices=choices, span=span)


def _figure(name: str, tree: dict[str, Any]) -> Figure:
    usual: dict[str, Any] = {"of": "", "test": "", "digits": 2}
    return Figure(name=name, **(usual | tree))


def _planned(where: str, letter: str, tree: dict[str, Any]) -> Planned:
    scenario = files.changed(files.example(tree["base"]), tree.get("but", {}), where)
    return Planned(
        letter=letter,
        title=tree["title"],
        base=tree["base"],
        changes=tree.get("but", {}),
        # the title says that the batch is invented, wherever the scenario may go
        scenario=scenario.but(title=f"Invented: {tree['title']}"),
        sheet=tree.get("sheet"),
        drawn=tree.get("drawn", True),
        announced=tree.get("announced", True),
    )


@lru_cache(maxsize=32)
def answer(name: str) -> Answer:
    """Run a lesson and compute all it says; the same answer is computed once."""
    found = lesson(name)
    results = {run.letter: solve(run.scenario) for run in found.runs}
    known = spot_test()
    numbers = {
        one.name: telling(one.test) if one.test else value(one.of, results, known)
        for one in found.figures
    }
    predict = found.predict
    holding = [i for i, (_, holds) in enumerate(predict.choices) if value(holds, results, known)]
    if predict.choices and len(holding) != 1:
        raise DataError(f"lesson {name}: expected one choice to hold, got {len(holding)}")
    return Answer(
        lesson=found,
        results=results,
        figures=numbers,
        number=value(predict.of, results, known) if predict.of else None,
        choice=holding[0] if holding else None,
    )


def spot_test() -> dict[str, float]:
    """The numbers of SPOT_TEST by name."""
    return {key: tables.datum(f"limits.spot_test.{key}").value for key in SPOT_TEST}


@lru_cache
def _separations() -> dict[str, float]:
    return {test.what: test.separation for test in rivals.telling_tests("slow", "held")}


def telling(test: str) -> float:
    """Errors of a reading by which a strip experiment sets 'slow' and 'held' apart."""
    return _separations()[test]
