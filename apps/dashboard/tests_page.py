"""The page Tests: readings of strips, what they teach, and the strip to take next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import panel as pn
from bokeh.core.properties import Any as AnyValue
from bokeh.core.properties import Dict, String
from bokeh.model import DataModel
from bokeh.models import ColumnDataSource

from washsim import fitting, observing, pictures, readings, tables
from washsim.errors import InputError, WashsimError
from washsim.fields import Quantity, one_of
from washsim.readings import Tests
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim.units import SYSTEMS, UNITS
from washsim_dashboard import (
    chart,
    edits,
    explore,
    form,
    layout,
    replies,
    share,
    tests_chart,
    tests_form,
    tests_view,
    work,
)
from washsim_dashboard.runs import Lines
from washsim_dashboard.tests_view import Question

ADDRESS = "./tests"
SET_ASIDE = (
    "What was learnt of the paper before is set aside here: readings are held against the tables. "
    "To learn from several evenings together, keep them in the log."
)
LEFT = Quantity(UNITS["min"], 0, 6000, "of the evening, from now; empty if it does not matter")
EMPTY: dict[str, Any] = {
    "scores": {"rows": []},
    "learnt": {},
    "own": {},
    "explained": {},
    "next": {},
    "decisions": {"lines": []},
}


class Strips(DataModel):
    """What page and server say to each other.

    asked by the browser: {"changes": [...], "number": ...}. shape: what there is to fill in.
    told: values, state, own (the readings in the address), error, answer. found: the parts of a
    fit that are there. work: as work.IDLE. file: the readings as TOML, and its name.
    """

    asked = Dict(String, AnyValue)
    shape = Dict(String, AnyValue)
    told = Dict(String, AnyValue)
    found = Dict(String, AnyValue)
    work = Dict(String, AnyValue)
    file = Dict(String, AnyValue)


def page() -> pn.Template:
    """The page of one visitor."""
    document = pn.state.curdoc
    assert document is not None, "a page is made for a document"
    scenario, notice = explore.asked_for()
    aside = "" if scenario.sheet.known is None else SET_ASIDE
    scenario = fitting.untold(scenario)
    tests, wrong = asked_for(scenario)
    session = Session(scenario, tests, layout.units(), notice or wrong, work.hand_over(document))
    drawn = tests_chart.draw(session.before, session.after, session.marks, session.lines)
    # only what a root refers to is kept in step between browser and server
    drawn.figure.tags = [session.board]
    args = {"board": session.board, "theme": drawn.theme}
    document.js_on_event("document_ready", layout.start("tests.js", args))
    document.on_session_destroyed(session.gone)
    session.look()
    return layout.template(
        "tests.html",
        here=ADDRESS,
        roots={"residual": drawn.figure},
        values={
            "evening": scenario.title,
            "aside": aside,
            "kinds": tests_form.KIND_WORDS.items(),
            "cautions": [
                tables.entry(f"limits.caution.text.{name}")
                for name in ("silver_nitrate", "permanganate", "residual_silver")
            ],
        },
    )


def asked_for(scenario: Scenario) -> tuple[Tests, str]:
    """The readings of the address the visitor came by; an invented one, and why, else."""
    found = pn.state.session_args.get("r")
    if not found:
        return tests_form.invented(scenario), ""
    try:
        tests = share.unpack_readings(found[0].decode("ascii", "replace"))
        observing.observations(scenario, tests)
    except WashsimError as error:
        return tests_form.invented(scenario), f"{error}. An invented reading is shown instead."
    return tests, ""


class Session:
    """One visitor's strips: the scenario, the readings, what was learnt from them."""

    def __init__(
        self,
        scenario: Scenario,
        tests: Tests,
        system: str = "metric",
        notice: str = "",
        later: Callable[[Callable[[], None]], Any] = lambda call: call(),
    ) -> None:
        """later: hands a call from the work's thread over to the visitor's own."""
        self.system = system
        self.question = Question(scenario=scenario, tests=tests)
        self.answers = 0
        self.before = ColumnDataSource(tests_view.NO_BAND, name="before")
        self.after = ColumnDataSource(tests_view.NO_BAND, name="after")
        self.marks = ColumnDataSource(self.marked(), name="marks")
        drawn = pictures.curves(solve(scenario))
        self.lines = Lines(target=drawn.target_g_m2, visible=drawn.visible_g_m2)
        self.board = Strips(name="strips", found=EMPTY, work=work.IDLE)
        self.work = work.Work(later, partial(setattr, self.board, "work"), self.arrived)
        self.show()
        self.tell(notice)
        self.board.on_change("asked", self.take)

    # what the browser asks

    def take(self, attr: str, old: Any, new: dict[str, Any]) -> None:
        """Do what the browser asks for, or say why it cannot be done and leave all as it was."""
        before = self.question
        with replies.answering(self, new, "question", "system"):
            for change in new.get("changes", ()):
                self.change(change if isinstance(change, dict) else {})
            if self.question != before:
                self.forget()
            self.show()
            self.tell("")

    def change(self, asked: dict[str, Any]) -> None:
        """One change: learn, cancel, units, open (a file), one of `ask`, or of tests_form.apply."""
        path = str(asked.get("path"))
        tests, scenario = self.question.tests, self.question.scenario
        match asked.get("do"):
            case "learn":
                self.learn()
            case "cancel":
                self.work.stop()
            case "units":
                self.system = wanted_units(asked)
            case "open":
                found = readings.loads(str(asked.get("text")), str(asked.get("name"))[:60])
                observing.observations(scenario, found)
                self.question = replace(self.question, tests=found)
            case "set" if path == "ask.silver":
                value = str(asked.get("value"))
                if value not in dict(tests_view.SILVER):
                    expected = one_of(value, tuple(dict(tests_view.SILVER)))
                    raise InputError(f"drop for silver: expected {expected}")
                self.question = replace(self.question, residual_silver=value)
            case "set" if path == "ask.minutes":
                value = asked.get("value")
                left = None if value is None else edits.number(LEFT, value, "time left", "metric")
                self.question = replace(self.question, minutes_left=left)
            case _:
                changed = tests_form.apply(tests, asked, scenario, self.system)
                self.question = replace(self.question, tests=changed)

    # the work

    def look(self) -> None:
        """The band as the tables have it, and the first strip."""
        self.work.begin(partial(tests_view.look, self.question))

    def learn(self) -> None:
        if not self.question.tests.readings:
            raise InputError("readings: expected at least one, got none")
        self.board.found = EMPTY
        self.work.begin(partial(tests_view.learn, self.question))

    def forget(self) -> None:
        """What was learnt came from other readings."""
        if self.board.work["state"] != "idle":
            self.work.stop()
        self.board.found = EMPTY
        self.after.data = tests_view.NO_BAND

    def gone(self, context: Any) -> None:
        """A visitor who goes away stops waiting."""
        self.work.number += 1

    def arrived(self, place: str, found: dict[str, Any]) -> None:
        """Show one part of what a job found."""
        if place in ("before", "after"):
            (self.before if place == "before" else self.after).data = found
        else:
            self.board.found = self.board.found | {place: found}

    # what the browser is told

    def marked(self) -> dict[str, Any]:
        seen = observing.observations(self.question.scenario, self.question.tests)
        return tests_view.marks(seen, chart.RESIDUAL_RANGE)

    def show(self) -> None:
        """Ship what differs: the form, the file, the marks in the chart."""
        tests, scenario = self.question.tests, self.question.scenario
        shape = tests_form.shape(tests, scenario, self.system) | {
            "asks": self.asks(),
            "patches": tests_form.patches(tests, scenario),
        }
        name = share.file_name(scenario, "readings.toml")
        for key, value in {
            "shape": shape,
            "file": {"text": readings.dumps(tests), "name": name},
        }.items():
            if getattr(self.board, key) != value:
                setattr(self.board, key, value)
        self.marks.data = self.marked()

    def asks(self) -> list[dict[str, Any]]:
        silver = tests_form.choice(
            "ask.silver", "Drop for silver", tests_view.SILVER, "a test of its own"
        )
        left = {
            "path": "ask.minutes",
            "label": "Time left tonight",
            "kind": "number",
            "unit": LEFT.unit.label,
            "step": "any",
            "optional": True,
            "empty": "any",
            "meaning": LEFT.meaning,
            "reset": [],
        }
        return [silver, left]

    def tell(self, error: str) -> None:
        """Numbered, so that the browser hears an answer even when the words are the same."""
        self.answers += 1
        asked = self.question
        values = tests_form.values(asked.tests, self.system) | {
            "ask.silver": asked.residual_silver,
            "ask.minutes": form.shown(asked.minutes_left, LEFT, "metric"),
        }
        self.board.told = {
            "values": values,
            "title": asked.tests.title,
            "state": share.pack(asked.scenario),
            "own": f"r={share.pack_readings(asked.tests)}",
            "error": error,
            "answer": self.answers,
        }


def wanted_units(asked: dict[str, Any]) -> str:
    """The system of units that was asked for."""
    system = asked.get("system")
    if system not in SYSTEMS:
        raise InputError(f"units: expected {one_of(system, SYSTEMS)}")
    return str(system)
