"""Writes the lessons as notebooks: ``python notebooks/generate.py``; with --check, only compares.

Text, runs and figures come from washsim/data/lessons, as on the Learn page; no output is stored.
"""

from __future__ import annotations

import argparse
import json
import pprint
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import nbformat
from nbformat import v4

from washsim import (files, lessons)
from washsim.lessons import Lesson, Planned

HERE = Path(__file__).parent
WIDTH = 96
"""Characters of a line of code."""

SETUP = '''\
import panel as pn
from IPython.display import Markdown
from IPython.utils.capture import capture_output

with capture_output():  # left alone, HoloViews would fetch its scripts from the network here
    from washsim import drawing
from washsim import files, lessons
from washsim.figures import shown, value
from washsim.solve import solve
from washsim_dashboard.twin import twin

pn.extension(inline=True)  # the scripts come from this machine
known = lessons.spot_test()


def run(title, base, changes):
    """A wash: an invented example, some of its values changed; keys as in scenario files."""
    return solve(files.changed(files.example(base), {"title": title, **changes}, title))'''


def notebook(lesson: Lesson) -> str:
    """The text of a lesson's notebook."""
    cells = []
    for number, (kind, text) in enumerate(_cells(lesson)):
        make = v4.new_markdown_cell if kind == "text" else v4.new_code_cell
        # the same on every run, where nbformat would draw lots
        cells.append(make(text, id=f"cell-{number:02d}"))
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    made = v4.new_notebook(cells=cells, metadata={"kernelspec": kernel})
    return nbformat.writes(made, version=4) + "\n"


def _cells(lesson: Lesson) -> Iterator[tuple[str, str]]:
    yield "text", _opening(lesson)
    yield "code", SETUP
    yield "text", f"## Predict\n\n{lesson.scene}\n\n**{lesson.asks}**{_choices(lesson)}"
    yield "code", _prediction(lesson)
    yield "text", "## Watch\n\nNow the runs.\n\n" + "\n".join(f"- {one}" for one in lesson.watch)
    yield "code", _runs(lesson.runs)
    yield "code", _picture(lesson)
    yield "code", _answer(lesson)
    yield "text", "## Explain"
    yield "code", _figures(lesson)
    yield "code", f'Markdown("""{lesson.explain}""".format_map(words))'
    yield "text", "## Try\n\nMove the slider: the run drawn first is the lesson's, the second yours."
    yield "code", _slider(lesson)
    follow = "\n".join(f"{i}. {one.asks}" for i, one in enumerate(lesson.follow, start=1))
    yield "code", f'Markdown("""## Go on\n\n{follow}""".format_map(words))'
    yield "text", _closing(lesson)


def _opening(lesson: Lesson) -> str:
    return (
        f"# {lesson.title}\n\nLesson {lesson.number} of {len(lessons.names())}, about "
        f"{lesson.minutes} minutes. Run the cells one by one and write your prediction down "
        "before the runs; then change what you like and run again. Sheets and batches are invented."
    )


def _choices(lesson: Lesson) -> str:
    if not lesson.predict.choices:
        return ""
    labels = (label for label, _ in lesson.predict.choices)
    return "\n\n" + "\n".join(f"{i}. {label}" for i, label in enumerate(labels, start=1))


def _prediction(lesson: Lesson) -> str:
    ask = lesson.predict
    hint = {
        "number": f"your number: {ask.low:g} to {ask.high:g} {ask.unit}",
        "choice": f"your choice: 1 to {len(ask.choices)}",
        "curve": f"your points: [({ask.span[0]:g}, 0.01), ..., ({ask.span[1]:g}, 0.001)],"
        " minutes of washing and g/m²",
    }
    return f"prediction = None  # {hint[ask.kind]}"


def _runs(runs: tuple[Planned, ...]) -> str:
    made = []
    for one in runs:
        changes = pprint.pformat(dict(one.changes), width=WIDTH - 4, sort_dicts=False)
        changes = changes.replace("\n", "\n    ").replace("'", '"')
        title = json.dumps(one.title, ensure_ascii=False)
        made.append(f'{one.letter} = run(\n    {title},\n    "{one.base}",\n    {changes},\n)')
    letters = ", ".join(f'"{one.letter}": {one.letter}' for one in runs)
    return "\n".join([*made, f"runs = {{{letters}}}"])


def _picture(lesson: Lesson) -> str:
    letters = ", ".join(run.letter for run in lesson.drawn)
    if lesson.predict.kind != "curve":
        return f"pn.pane.HoloViews(drawing.residual_curve({letters}))"
    return (
        "import holoviews as hv\n\n"
        f"sheets = ({letters})  # sheet 1 of each, by minutes of washing\n"
        "curves = [\n"
        "    hv.Curve(((r.times - r.run.left_fixer[0]) / 60, 1e3 * r.residual[0]),"
        ' "minutes of washing", "g/m²", label=r.scenario.title)\n'
        "    for r in sheets\n]\n"
        'drawn = hv.Curve(prediction or [], "minutes of washing", "g/m²", label="your curve")\n'
        f"pn.pane.HoloViews(hv.Overlay([*curves, drawn]).opts(width=640, height=360, logy=True,"
        f" xlim={lesson.predict.span}, ylim=({lesson.predict.low}, {lesson.predict.high})))"
    )


def _answer(lesson: Lesson) -> str:
    ask = lesson.predict
    if ask.kind == "number":
        return (
            f'answer = value("{ask.of}", runs, known)\n'
            f'print("The runs say", shown(answer, "{ask.unit}"))\n'
            "if prediction is not None:\n"
            f'    print("You said", shown(prediction, "{ask.unit}"))'
        )
    if ask.kind == "choice":
        pairs = "".join(f'    "{label}": "{holds}",\n' for label, holds in ask.choices)
        return (
            f"choices = {{\n{pairs}}}\n"
            "for number, (label, holds) in enumerate(choices.items(), start=1):\n"
            '    runs_say = "   <- the runs" if value(holds, runs, known) else ""\n'
            '    you = "   <- you" if prediction == number else ""\n'
            '    print(f"{number}. {label}{runs_say}{you}")'
        )
    return (
        "for minute, yours in prediction or []:\n"
        "    ran = A.at(0, A.run.left_fixer[0] + 60 * np.array([minute]))[0]\n"
        '    print(f"minute {minute}: you drew {yours} g/m², the run has", shown(1e3 * ran))'
    ).replace("for minute", "import numpy as np\n\nfor minute", 1)


def _figures(lesson: Lesson) -> str:
    rows = []
    for one in lesson.figures:
        number = (
            f'lessons.telling("{one.test}")' if one.test else f'value("{one.of}", runs, known)'
        )
        rows.append(f'    "{one.name}": ("{one.label}", {number}, "{one.unit}", {one.digits}),')
    return (
        "figures = {\n" + "\n".join(rows) + "\n}\n"
        "words = {name: shown(number, unit, digits)"
        " for name, (_, number, unit, digits) in figures.items()}\n"
        "for name, (label, *_) in figures.items():\n"
        '    print(f"{label}: {words[name]}")'
    )


def _slider(lesson: Lesson) -> str:
    slide = lesson.slide
    name = slide.key.replace(".", "_")
    return (
        f'mine = twin({slide.run}.scenario, {{"{slide.key}": '
        f"({slide.low}, {slide.high}, {slide.step})}})\n\n\n"
        "def draw(number):\n"
        f'    yours = mine.scenario.but(title=f"{slide.key} = {{number:g}}")\n'
        f"    return drawing.residual_curve({slide.run}, solve(yours))\n\n\n"
        f'sliders = pn.Param(mine, show_name=False, widgets={{"{name}": {{"throttled": True}}}})\n'
        f"pn.Column(sliders, pn.bind(draw, mine.param.{name}))"
    )


def _closing(lesson: Lesson) -> str:
    cautions = "".join(f"**Mind:** {one}\n\n" for one in lesson.cautions)
    return f"{cautions}Source: {'; '.join(lesson.sources)}."


def file_name(lesson: Lesson) -> str:
    slug = re.sub(r"[^a-z]+", "_", lesson.title.lower()).strip("_")
    return f"lesson_{lesson.number:02d}_{slug}.ipynb"


def main() -> int:
    """Write every notebook, or say which are stale (status 1)."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing, name stale notebooks")
    check = parser.parse_args().check
    stale = []
    for name in lessons.names():
        lesson = lessons.lesson(name)
        path, text = HERE / file_name(lesson), notebook(lesson)
        if path.exists() and path.read_text(encoding="utf-8") == text:
            continue
        stale.append(path.name)
        if not check:
            path.write_text(text, encoding="utf-8")
    print("stale:" if check else "written:", ", ".join(stale) or "none")
    return 1 if check and stale else 0


if __name__ == "__main__":
    sys.exit(main())
