"""Learn: predict, observe, explain. Plain pages without a session: a class may be large.

An answer leaves the server only in exchange for a prediction.
"""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Callable
from typing import Any, TypeVar

from tornado.web import RequestHandler

from washsim import lessons
from washsim.errors import InputError, WashsimError
from washsim_dashboard import classroom, handout, layout, replies, share

ADDRESS = "./learn"
LARGEST = 50_000
"""Bytes of a prediction; a drawn curve takes about five thousand."""
ballot = classroom.Ballot()
Found = TypeVar("Found")


def routes() -> list[tuple[str, type[RequestHandler]]]:
    """(address, handler) of the pages and of what they ask for."""
    return [
        ("/learn", Learn),
        ("/learn/answer", Predicted),
        ("/learn/class", ClassSoFar),
        ("/teach", Teach),
        ("/handout", Handout),
    ]


async def elsewhere(work: Callable[[str], Found], name: str) -> Found:
    """Done in a thread of its own."""
    return await asyncio.get_running_loop().run_in_executor(None, work, name)


class Page(RequestHandler):
    """A page about the lesson that its address names: ?lesson=NAME."""

    async def get(self) -> None:
        name = self.get_query_argument("lesson", "")
        try:
            # a lesson's runs take up to a second the first time; nobody else need wait for them
            self.finish(await elsewhere(self.page, name))
        except InputError as error:
            self.set_status(404)
            self.finish(index(str(error)))
        except Exception:
            logging.getLogger(__name__).exception("making a page of %.200r", name)
            self.set_status(500)
            self.finish(index(replies.FAILED))

    def page(self, name: str) -> str:
        raise NotImplementedError

    @property
    def system(self) -> str:
        """The visitor's units."""
        return layout.known_units(self.get_cookie("units"))


class Learn(Page):
    """The list of lessons, or one of them up to its question."""

    def page(self, name: str) -> str:
        return lesson_page(name, self.system) if name else index()


class Teach(Page):
    """What a teacher needs beside a lesson: timing, questions, expected answers."""

    def page(self, name: str) -> str:
        return teacher_page(name or lessons.names()[0], self.system)


class Handout(Page):
    """Two pages of paper: of a lesson with the class's predictions, or of one's own evening."""

    def page(self, name: str) -> str:
        state = self.get_query_argument("s", "")
        if state and not name:
            return handout.of_evening(share.unpack(state), self.system)
        found = lessons.lesson(name or lessons.names()[0])
        return handout.of_lesson(found.name, self.system, ballot.of(found.name))


class Predicted(RequestHandler):
    """Takes {lesson, voter, predicted} and gives the answer."""

    async def post(self) -> None:
        try:
            found, voter, predicted = self.asked()
            answer = await elsewhere(lessons.answer, found.name)
            told = await elsewhere(classroom.told, found.name)
            said = classroom.said(answer, predicted)
        except WashsimError as error:
            self.set_status(400)
            self.finish({"error": str(error)})
            return
        except Exception:
            logging.getLogger(__name__).exception("asked for %r", self.request.body[:200])
            self.set_status(500)
            self.finish({"error": replies.FAILED})
            return
        ballot.put(found.name, voter, predicted)
        self.finish(told | {"said": said})

    def asked(self) -> tuple[lessons.Lesson, str, Any]:
        """What the body says; InputError where it is no prediction."""
        if len(self.request.body) > LARGEST:
            raise InputError(f"prediction: expected at most {LARGEST} bytes")
        try:
            body = json.loads(self.request.body)
            name, voter, predicted = body["lesson"], body["voter"], body["predicted"]
        except (ValueError, KeyError, TypeError):
            raise InputError("prediction: expected lesson, voter and predicted, as JSON") from None
        if not (isinstance(name, str) and isinstance(voter, str) and len(voter) <= 40):
            raise InputError("prediction: expected the lesson's name and a voter's mark")
        found = lessons.lesson(name)
        return found, voter, classroom.checked(found, predicted)


class ClassSoFar(RequestHandler):
    """The class's predictions for a lesson; a POST begins afresh."""

    def get(self) -> None:
        try:
            found = lessons.lesson(self.get_query_argument("lesson", ""))
        except InputError as error:
            self.set_status(400)
            self.finish({"error": str(error)})
            return
        votes = ballot.of(found.name)
        self.finish({"votes": votes, "tally": classroom.tally(found, votes)})

    def post(self) -> None:
        ballot.clear(self.get_query_argument("lesson", ""))
        self.finish({})


# --- the pages ---


def index(error: str = "") -> str:
    """All lessons."""
    found = [lessons.lesson(name) for name in lessons.names()]
    return layout.plain(
        "learn.html", ADDRESS, {"title": "washsim: Learn", "lessons": found, "error": error}
    )


def lesson_page(name: str, system: str) -> str:
    """A lesson up to its question; nothing in it tells the answer."""
    found = lessons.lesson(name)
    names = lessons.names()
    at = names.index(name)
    return layout.plain(
        "lesson.html",
        ADDRESS,
        {
            "title": f"washsim: {found.title}",
            "lesson": found,
            "count": len(names),
            "before": names[at - 1] if at else "",
            "after": names[at + 1] if at + 1 < len(names) else "",
            "ask": classroom.asking(found),
            "measures": classroom.measures(system, classroom.question(found)),
        },
        system,
    )


def teacher_page(name: str, system: str) -> str:
    """Timing, what to say, expected answers, the class's predictions so far."""
    answer = lessons.answer(lessons.lesson(name).name)
    found = answer.lesson
    starts, at = [], 0
    for part, minutes in found.timing:
        starts.append((at, at + minutes, lessons.PARTS[part]))
        at += minutes
    return layout.plain(
        "teach.html",
        ADDRESS,
        {
            "title": f"washsim: teacher's page, {found.title}",
            "lesson": found,
            "lessons": [lessons.lesson(one) for one in lessons.names()],
            "answer": answer,
            "words": answer.words,
            "starts": starts,
            "ask": classroom.asking(found),
            "told": classroom.told(name),
            "measures": classroom.measures(
                system, classroom.question(found) + classroom.answered(answer)
            ),
        },
        system,
    )
