"""What the lesson pages are told: an answer as plain data, and what the class has predicted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np

from washsim import advice, lessons, pictures, tables
from washsim.engine.space import Array
from washsim.errors import InputError
from washsim.figures import shown
from washsim.lessons import Answer, Lesson, Planned
from washsim.result import Result
from washsim.units import equivalents

FRAMES, POINTS = 80, 44
"""Of one cross-section: frames and points through the thickness; about 30 kB a run as text."""
CLOCK, FIXING = 160, 0.1
"""Positions of the clock that all runs share, and the share of them that shows the fixing."""
FIXED = 5.0
"""Minutes of the fixing, at most, that a chart shows."""
LOWEST, HIGHEST = 1e-5, 100.0
"""g/m2, ends of the residual axis: below no test sees, above no sheet of these lessons holds."""
PLENTY = 2000.0
"""Litres from which a run means water that stays as good as fresh, not a wash to be copied."""
SEATS = 500
"""Predictions kept of one lesson, the latest."""
STROKES = 300
"""Points of a drawn curve that are taken."""


@lru_cache(maxsize=32)
def told(name: str) -> dict[str, Any]:
    """All that a page shows once the prediction is in; plain numbers, lists and words."""
    answer = lessons.answer(name)
    lesson = answer.lesson
    runs = [_run(run, answer.results[run.letter]) for run in lesson.drawn]
    first = answer.results["A"]
    return {
        "runs": runs,
        "axis": _axis(lesson, runs),
        "clock": _clock(lesson, runs),
        "target": float(f"{1e3 * first.scenario.target.limit:.4g}"),
        "visible": [
            tables.datum(f"limits.spot_test.{end}").value for end in ("visible_low", "visible_high")
        ],
        "number": answer.number,
        "choice": answer.choice,
        "right": answer.right,
        "explain": answer.explain,
        "follow": [answer.fill(one.asks) for one in lesson.follow],
        "figures": [(one.label, answer.words[one.name]) for one in lesson.figures],
        "measures": ", ".join(equivalents(answered(answer))),
    }


def answered(answer: Answer) -> str:
    """All words that follow the prediction."""
    asked = [answer.fill(text) for one in answer.lesson.follow for text in (one.asks, one.expected)]
    return " ".join([answer.explain, answer.right, *asked, *answer.words.values()])


def _run(run: Planned, result: Result) -> dict[str, Any]:
    """Curve and cross-section of one run's sheet, by minutes since it left the fixer."""
    lot = result.worst_lot if run.sheet is None else result.lot_of_sheet[run.sheet - 1]
    segments = result.run.of_lot[lot]
    start, stop = float(segments[0].start[0]), float(segments[-1].stop[0])
    out = result.run.left_fixer[lot]
    times = np.union1d(np.linspace(start, out, 20), np.linspace(out, stop, 240))
    film = pictures.frames(result, lot, FRAMES, POINTS)
    kept = film.minutes <= stop / 60 + 1e-9
    return {
        "letter": run.letter,
        "title": run.title,
        "sheet": run.sheet,
        "fixed": (out - start) / 60,
        "end": (stop - out) / 60,
        "minutes": _short((times - out) / 60),
        "residual": _short(np.maximum(1e3 * result.at(lot, times), 0.0)),
        "film": {
            "minutes": _short(film.minutes[kept] - out / 60),
            "mobile": _short(film.mobile_g_l[kept].ravel()),
            "held": _short(film.held_g_l[kept].ravel()),
            "water": _short(film.water_g_l[kept]),
            "place": [one for one, keep in zip(film.place, kept, strict=True) if keep],
            "limits": [one for one, keep in zip(film.limits, kept, strict=True) if keep],
        },
        "layers": [{"name": n, "start": a, "stop": b} for n, a, b in film.layers],
        "depth": _short(film.depth_um),
        "sealed": result.run.paper.sealed_back,
    }


def _short(values: Array) -> list[float]:
    """Four digits are more than any pixel shows."""
    return [float(f"{value:.4g}") for value in values]


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
    least = min(run["residual"][-1] for run in runs)
    low = 10 ** math.floor(math.log10(max(least, LOWEST)))
    return {
        "start": _before(runs),
        "stop": max(r["end"] for r in runs),
        "low": low,
        "high": HIGHEST,
    }


def _before(runs: Sequence[dict[str, Any]]) -> float:
    """Minutes at which a chart begins: the last of the fixing is shown, washing begins at 0."""
    return -min(FIXED, *(run["fixed"] for run in runs))


def _clock(lesson: Lesson, runs: Sequence[dict[str, Any]]) -> list[float]:
    """Minutes the animation passes through: the end of the fixing, then the wash."""
    if lesson.predict.kind == "curve":
        return np.linspace(*lesson.predict.span, CLOCK).tolist()
    early = round(FIXING * CLOCK)
    fixing = np.linspace(_before(runs), 0.0, early, endpoint=False).tolist()
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


def limited(answer: Answer) -> list[tuple[str, str]]:
    """(run, what held its sheet up half-way to its end) for the handout."""
    found = []
    for run in answer.lesson.drawn:
        result = answer.results[run.letter]
        lot = result.worst_lot
        out, end = result.run.left_fixer[lot], float(result.run.of_lot[lot][-1].stop[0])
        found.append((run.letter, advice.limits_now(result, lot, 0.5 * (out + end))))
    return found


def table(answer: Answer) -> list[dict[str, str]]:
    """A row for each run that is drawn, for the handout."""
    rows = []
    for run in answer.lesson.drawn:
        result = answer.results[run.letter]
        minutes, litres = result.minutes_to_target, 1e3 * result.litres_total
        rows.append(
            {
                "letter": run.letter,
                "title": run.title,
                "load": shown(1e3 * max(result.load)),
                "left": shown(1e3 * result.worst_residual),
                "minutes": shown(math.inf if minutes is None else minutes),
                "litres": shown(litres) if litres < PLENTY else "plenty",
            }
        )
    return rows
