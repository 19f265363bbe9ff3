"""lessons.md: what the lessons ask and what the runs say, computed as the page is written."""

from __future__ import annotations

from tabular import NOTE, table

from washsim import lessons

HEAD = """# Lessons

Each lesson asks for a prediction, plays the runs, draws the prediction over them and explains;
it takes a quarter of an hour to twenty minutes. In the app they stand under *Learn*, each with
a teacher's page (timing, what to ask, expected answers, what the class has predicted so far)
and a two-page handout to print. *Large type* on the lesson's page is for the projector;
`washsim serve --address 0.0.0.0` lets the class's phones in, and the page *Class* shows how. An
answer leaves the server only in exchange for a prediction; predictions carry no names and are
gone when the server stops.

The same lessons are notebooks, written from the same text, with a slider each. Most use a text-
book sheet, one even layer, because its figures can be worked out on paper; each key figure is
held against a closed form, another solver or an invariant, see [what was
checked](verification.md). All batches are invented. Lessons are worded in metric units.

"""

TAIL = """
One notebook more, `notebooks/build_the_solver_yourself.ipynb`, writes a solver on an even grid
from nothing and checks it against the closed form, then against washsim.

**Mind:** lessons that lead to the sink touch fixer and test solutions. Follow the safety data
sheets; test drops are handled by one person, and the others look.
"""


def lessons_page() -> str:
    """A row for each lesson."""
    rows = []
    for name in lessons.names():
        answer = lessons.answer(name)
        found = answer.lesson
        rows.append(
            [
                str(found.number),
                f"**{found.title}**",
                f"{found.minutes}",
                f"{found.scene} *{found.asks}*",
                answer.right,
            ]
        )
    head = ("", "lesson", "min", "scene and question", "the runs say")
    return NOTE + HEAD + table(head, rows) + TAIL
