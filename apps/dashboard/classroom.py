"""What the lesson pages are told: question and answer as plain data, and what was predicted."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from bokeh.palettes import Cividis256

from washsim import lessons
from washsim.errors import InputError
from washsim.figures import shown
from washsim.lessons import Answer, Lesson
from washsim.units import equivalents
from washsim_dashboard import played

CLOCK, FIXING = 160, 0.1
"""Positions of the clock that all runs share, and the share of them that shows the fixing."""
SEATS = 500
"""Predictions kept of one lesson, the latest."""
STROKES = 300
"""Points of a drawn curve that are taken."""


@lru_cache(maxsize=32)
def told(name: str) -> dict[str, Any]:
    """All that a page shows once the prediction is in; plain numbers, lists and words."""
    answer = lessons.answer(name)
    lesson = answer.lesson
    runs = [played.plain(one) for one in drawn(answer)]
    return {
        "runs": runs,
        "axis": _axis(lesson, runs),
        "clock": _clock(lesson, runs),
        **played.levels(answer.results["A"]),
        "number": answer.number,
        "choice": answer.choice,
        "right": answer.right,
        "explain": answer.explain,
        "follow": [answer.fill(one.asks) for one in lesson.follow],
        "figures": [(one.label, answer.words[one.name]) for one in lesson.figures],
        "measures": ", ".join(equivalents(answered(answer))),
    }


def asking(found: Lesson) -> dict[str, Any]:
    """What a page's script must know to take a prediction, or to draw those made."""
    ask = found.predict
    return {
        "lesson": found.name,
        "kind": ask.kind,
        "unit": ask.unit,
        "low": ask.low,
        "high": ask.high,
        "step": ask.step,
        "scale": ask.scale,
        "span": ask.span,
        "choices": [label for label, _ in ask.choices],
        "palette": list(Cividis256),
    }


def question(found: Lesson) -> str:
    """All a learner reads before the prediction."""
    choices = [label for label, _ in found.predict.choices]
    titles = [run.title for run in found.drawn if run.announced]
    return " ".join([found.scene, found.asks, *choices, *titles, *found.watch])


def measures(system: str, text: str) -> str:
    """The quantities of a text in US measures, for those who asked for them."""
    return ", ".join(equivalents(text)) if system == "us" else ""


def answered(answer: Answer) -> str:
    """All words that follow the prediction."""
    asked = [answer.fill(text) for one in answer.lesson.follow for text in (one.asks, one.expected)]
    return " ".join([answer.explain, answer.right, *asked, *answer.words.values()])


def drawn(answer: Answer) -> list[played.Played]:
    """The runs that the pages show."""
    return [
        played.Played(
            letter=one.letter, title=one.title, result=answer.results[one.letter], sheet=one.sheet
        )
        for one in answer.lesson.drawn
    ]


def _axis(lesson: Lesson, runs: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Ends of the chart: minutes, and g/m2 in whole tenfolds."""
    if lesson.predict.kind == "curve":
        start, stop = lesson.predict.span
        return {
            "start": start,
            "stop": stop,
            "low": lesson.predict.low,
            "high": lesson.predict.high,
        }
    return played.axis(runs)


def _clock(lesson: Lesson, runs: Sequence[dict[str, Any]]) -> list[float]:
    """Minutes the animation passes through: the end of the fixing, then the wash."""
    if lesson.predict.kind == "curve":
        return np.linspace(*lesson.predict.span, CLOCK).tolist()
    early = round(FIXING * CLOCK)
    fixing = np.linspace(played.before(runs), 0.0, early, endpoint=False).tolist()
    return [*fixing, *np.linspace(0.0, max(r["end"] for r in runs), CLOCK - early).tolist()]


# --- what is predicted ---


def checked(lesson: Lesson, predicted: Any) -> Any:
    """A prediction as it may be kept; InputError says what was expected."""
    ask = lesson.predict
    match ask.kind, predicted:
        case "number", int() | float() if ask.low <= predicted <= ask.high:
            return float(predicted)
        case "choice", int() if 0 <= predicted < len(ask.choices) and predicted is not True:
            return predicted
        case "curve", list() if 2 <= len(predicted) <= STROKES:
            return [_point(lesson, one) for one in predicted]
    wanted = {
        "number": f"a number from {ask.low:g} to {ask.high:g} {ask.unit}",
        "choice": f"one of {len(ask.choices)} choices, numbered from 0",
        "curve": f"2 to {STROKES} points (minutes, g/m²)",
    }
    raise InputError(f"prediction: expected {wanted[ask.kind]}")


def _point(lesson: Lesson, found: Any) -> tuple[float, float]:
    ask = lesson.predict
    match found:
        case [int() | float() as minute, int() | float() as residual] if (
            ask.span[0] <= minute <= ask.span[1] and ask.low <= residual <= ask.high
        ):
            return float(minute), float(residual)
    raise InputError(
        f"prediction: expected points within {ask.span[0]:g} to {ask.span[1]:g} min and "
        f"{ask.low:g} to {ask.high:g} g/m²"
    )


def said(answer: Answer, predicted: Any) -> str:
    """A prediction beside what the runs say, in words."""
    ask = answer.lesson.predict
    if ask.kind == "number":
        return f"You said {shown(predicted, ask.unit)}. The runs say {answer.right}."
    if ask.kind == "choice":
        own = ask.choices[predicted][0]
        if predicted == answer.choice:
            return f"You said: {_small(own)}. So say the runs."
        return f"You said: {_small(own)}. The runs say: {_small(answer.right)}."
    minutes, drawn = np.array(predicted).T
    curve = told(answer.lesson.name)["runs"][0]
    start, stop = ask.span
    at = [start + share * (stop - start) for share in (0.25, 0.5, 0.75)]
    yours = [shown(float(x)) for x in np.interp(at, minutes, drawn)]
    theirs = [shown(float(x)) for x in np.interp(at, curve["minutes"], curve["residual"])]
    return (
        f"At minutes {_listed([f'{x:.0f}' for x in at])} you drew {_listed(yours)} g/m². "
        f"The run has {_listed(theirs)} g/m²."
    )


def _listed(words: Sequence[str]) -> str:
    """'a, b and c'."""
    return f"{', '.join(words[:-1])} and {words[-1]}"


def _small(text: str) -> str:
    return text[0].lower() + text[1:]


class Ballot:
    """Predictions of everybody who opened the pages since the server started; nothing is stored."""

    def __init__(self) -> None:
        self.boxes: dict[str, dict[str, Any]] = {}

    def put(self, name: str, voter: str, predicted: Any) -> None:
        """Keep a visitor's latest prediction."""
        box = self.boxes.setdefault(name, {})
        box.pop(voter, None)
        box[voter] = predicted
        while len(box) > SEATS:
            del box[next(iter(box))]

    def of(self, name: str) -> list[Any]:
        """All predictions for a lesson, oldest first."""
        return list(self.boxes.get(name, {}).values())

    def clear(self, name: str) -> None:
        """Begin afresh, for the next class."""
        self.boxes.pop(name, None)


def tally(lesson: Lesson, votes: Sequence[Any]) -> str:
    """What a class predicted, in a sentence."""
    if not votes:
        return "No predictions yet."
    count = f"{len(votes)} prediction{'s' if len(votes) > 1 else ''}"
    if lesson.predict.kind == "number":
        low, middle, high = (float(x) for x in np.quantile(votes, (0, 0.5, 1)))
        unit = lesson.predict.unit
        span = f"from {shown(low, unit)} to {shown(high, unit)}"
        return f"{count}: {span}, the middle one {shown(middle, unit)}."
    if lesson.predict.kind == "choice":
        parts = [
            f"{votes.count(i)} said “{_small(label)}”"
            for i, (label, _) in enumerate(lesson.predict.choices)
            if votes.count(i)
        ]
        return f"{count}: {', '.join(parts)}."
    return f"{count}, drawn as curves."
