"""The page Log: the evenings kept on this machine, and tonight's to be kept with them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import panel as pn
from bokeh.core.properties import Any as AnyValue
from bokeh.core.properties import Dict, List, String
from bokeh.model import DataModel
from bokeh.models import Spacer
from tornado.httputil import HTTPServerRequest

from washsim import logbook, logged
from washsim.errors import InputError
from washsim.fields import one_of
from washsim.logbook import Entry
from washsim.readings import Tests
from washsim.scenario import Scenario
from washsim_dashboard import (
    edits,
    explore,
    join,
    layout,
    log_view,
    replies,
    share,
    tests_page,
    work,
)

ADDRESS = "./log"


class Evenings(DataModel):
    """What page and server say to each other.

    asked by the browser: {"changes": [...], "number": ...}. shape: the fields of tonight's entry.
    told: values, state, own (the readings in the address), tonight in words, error, answer. book:
    the folder's evenings and faults. compared: evenings side by side. work: as work.IDLE. file: a
    book to save, numbered.
    """

    asked = Dict(String, AnyValue)
    shape = List(AnyValue)
    told = Dict(String, AnyValue)
    book = Dict(String, AnyValue)
    compared = Dict(String, AnyValue)
    work = Dict(String, AnyValue)
    file = Dict(String, AnyValue)


def closed(request: HTTPServerRequest) -> str:
    """What others than the host's own browser are told instead of the page, see main.Host."""
    port = join.port(request.headers.get("Host", ""))
    return layout.plain("log_closed.html", here=ADDRESS, values={"port": port})


def page() -> pn.Template:
    """The page of one visitor."""
    document = pn.state.curdoc
    assert document is not None, "a page is made for a document"
    scenario, notice = explore.asked_for()
    tests = Tests()
    if pn.state.session_args.get("r"):
        tests, wrong = tests_page.asked_for(scenario)
        if wrong:
            # an invented reading has no place in a log
            tests, notice = Tests(), notice or wrong.partition(". ")[0]
    session = Session(
        logbook.folder(),
        scenario,
        tests,
        layout.units(),
        notice,
        work.hand_over(document),
    )
    # only what a root refers to is kept in step between browser and server
    root = Spacer(width=0, height=0, tags=[session.board])
    document.js_on_event("document_ready", layout.start("log.js", {"board": session.board}))
    document.on_session_destroyed(session.gone)
    # nothing of the log stands in the page's own text, which travels without a check of its origin
    return layout.template("log.html", here=ADDRESS, roots={"log": root}, values={})


class Session:
    """One visitor's view of a log folder, and the entry being written."""

    def __init__(
        self,
        where: Path,
        scenario: Scenario,
        tests: Tests,
        system: str = "metric",
        notice: str = "",
        later: Callable[[Callable[[], None]], Any] = lambda call: call(),
    ) -> None:
        """later: hands a call from the work's thread over to the visitor's own."""
        self.where, self.system = where, system
        self.entry = Entry(
            date=date.today().isoformat(), title=scenario.title, tests=tests, scenario=scenario
        )
        self.answers = 0
        self.board = Evenings(name="evenings", work=work.IDLE)
        self.work = work.Work(later, partial(setattr, self.board, "work"), self.arrived)
        try:
            self.look()
        except InputError as error:
            notice = str(error)
        self.show()
        self.tell(notice)
        self.board.on_change("asked", self.take)

    def take(self, attr: str, old: Any, new: dict[str, Any]) -> None:
        """Do what the browser asks for, or say why it cannot be done and leave all as it was."""
        with replies.answering(self, new, "entry", "system"):
            for change in new.get("changes", ()):
                self.change(change if isinstance(change, dict) else {})
            self.show()
            self.tell("")

    def change(self, asked: dict[str, Any]) -> None:
        """Do one change: a field set, or save, compare, look, export, import, correct, units."""
        known: dict[Any, Callable[[], None]] = {
            "set": lambda: self.put(edits.set_value(self.entry, asked, self.system)),
            "save": lambda: self.work.begin(partial(self.save, self.entry)),
            "compare": lambda: self.work.begin(partial(self.compare, chosen(asked.get("names")))),
            "look": self.look,
            "export": self.export,
            "import": lambda: self.take_in(str(asked.get("name"))[:60], str(asked.get("text"))),
            "correct": lambda: self.correct(str(asked.get("name"))),
            "units": lambda: self.say_in(tests_page.wanted_units(asked)),
            "cancel": self.work.stop,
        }
        wanted = asked.get("do")
        if wanted not in known:
            raise InputError(f"change: expected {one_of(wanted, list(known))}")
        known[wanted]()

    def say_in(self, system: str) -> None:
        """Quantities in another system of units, those of the evenings too."""
        self.system = system
        self.board.book = log_view.book(self.where, system)

    def put(self, entry: Entry) -> None:
        self.entry = entry

    def correct(self, name: str) -> None:
        """Begin from an entry that the next one saved takes the place of."""
        self.entry = replace(logbook.load(self.where, name), replaces=name)

    # the work

    def save(self, entry: Entry, tell: work.Tell) -> Iterator[tuple[str, Any]]:
        """Foretell the evening and write it: whole, or not at all."""
        if entry.prediction is None:
            # a correction keeps what was foretold then, and by which version
            foretold = logged.foretell(entry, logbook.entries(self.where)[0], progress=tell)
            entry = replace(entry, prediction=foretold)
        name = logbook.add(self.where, entry)
        yield "saved", replace(entry, replaces=name)

    def compare(self, names: tuple[str, ...], tell: work.Tell) -> Iterator[tuple[str, Any]]:
        """Fit all evenings, one after another, and set some of them side by side."""
        found, _ = logbook.entries(self.where)
        yield "compared", log_view.comparison(logged.compared(found, names, progress=tell))

    def arrived(self, place: str, found: Any) -> None:
        if place == "compared":
            self.board.compared = found
            return
        # saved once more it is a correction of itself, not a second copy
        self.entry = found
        self.look()
        self.show()
        self.tell("")

    def export(self) -> None:
        text, left_out = logbook.export(self.where)
        number = self.board.file.get("number", 0) + 1
        self.board.file = {"text": text, "number": number, "left_out": left_out}

    def take_in(self, place: str, text: str) -> None:
        """Add the evenings of a book, or none of them."""
        new, known = logbook.take_in(self.where, text, place)
        self.look()
        self.board.work = said(f"{new} new, {known} here already.")

    def gone(self, context: Any) -> None:
        """A visitor who goes away stops waiting."""
        self.work.number += 1

    # what the browser is told

    def look(self) -> None:
        """Read the folder: another window, or an editor, may have changed it."""
        found = log_view.book(self.where, self.system)
        if found != self.board.book:
            self.board.book = found
            self.board.compared = {}

    def show(self) -> None:
        shape = log_view.shape(self.entry, self.system)
        if shape != self.board.shape:
            self.board.shape = shape

    def tell(self, error: str) -> None:
        """Numbered, so that the browser hears an answer even when the words are the same."""
        self.answers += 1
        self.board.told = {
            "values": log_view.values(self.entry, self.system),
            "tonight": log_view.tonight(self.entry, self.system),
            "state": share.pack(self.entry.scenario),
            "own": f"r={share.pack_readings(self.entry.tests)}",
            "error": error,
            "answer": self.answers,
        }


def chosen(names: Any) -> tuple[str, ...]:
    """The evenings ticked; InputError if there is nothing to compare."""
    found = tuple(map(str, names)) if isinstance(names, list) else ()
    if len(found) < 2:
        raise InputError(f"compare: expected two evenings or more, got {len(found)}")
    return found


def said(words: str) -> dict[str, Any]:
    """Words in the place where work is told of."""
    return {"state": "said", "share": 1.0, "words": words}
