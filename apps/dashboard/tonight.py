"""The page Tonight: what is at hand, the plans that meet the target, and one of them in full."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import panel as pn
from bokeh.core.properties import Any as AnyValue
from bokeh.core.properties import Dict, String
from bokeh.document import Document
from bokeh.model import DataModel
from bokeh.models import Spacer
from bokeh.palettes import Cividis256

from washsim import cores, planner, plans
from washsim.errors import InputError
from washsim.fields import one_of
from washsim.ribbon import KINDS
from washsim.scenario import Scenario
from washsim.units import SYSTEMS
from washsim_dashboard import (
    edits,
    explore,
    layout,
    replies,
    share,
    tonight_form,
    tonight_view,
    work,
)

KNOWN = 32
"""Fronts remembered, for whoever asks the same again."""


class Plans(DataModel):
    """What page and server say to each other.

    asked by the browser: {"changes": [...], "number": ...}. shape: what there is to fill in. told:
    values, state, error, answer. front: the visitor's own schedule
    and the plans found. detail: the
    schedule shown. work: {"state": "idle", "working", "found" or "failed", "share", "words"}.
    """

    asked = Dict(String, AnyValue)
    shape = Dict(String, AnyValue)
    told = Dict(String, AnyValue)
    front = Dict(String, AnyValue)
    detail = Dict(String, AnyValue)
    work = Dict(String, AnyValue)


_found: OrderedDict[tuple[Scenario, plans.Wish], plans.Front] = OrderedDict()


def page() -> pn.Template:
    """The page of one visitor."""
    document = pn.state.curdoc
    assert document is not None, "a page is made for a document"
    scenario, notice = explore.asked_for()
    session = Session(scenario, layout.units(), notice, work.hand_over(document))
    # only what a root refers to is kept in step between browser and server
    root = Spacer(width=0, height=0, tags=[session.board])
    args = {"board": session.board, "palette": list(Cividis256), "kinds": KINDS}
    document.js_on_event("document_ready", layout.start("tonight.js", args))
    _leave(document, session)
    session.search()
    return layout.template(
        "tonight.html",
        here="./tonight",
        roots={"tonight": root},
        values={"detail": session.board.detail},
    )


def _leave(document: Document, session: Session) -> None:
    """A visitor who goes away stops waiting."""

    def gone(context: Any) -> None:
        session.work.stop()

    document.on_session_destroyed(gone)


class Session:
    """One visitor's evening: the scenario, the wishes, the search that is on, the plan shown."""

    def __init__(
        self,
        scenario: Scenario,
        system: str = "metric",
        notice: str = "",
        later: Callable[[Callable[[], None]], Any] = lambda call: call(),
    ) -> None:
        """later: hands a call from a search's thread over to the visitor's own."""
        self.system = system
        self.scenario = self.base = scenario
        self.wishes = tonight_form.opening(scenario)
        self.front: plans.Front | None = None
        self.chosen = -1
        self.answers = 0
        self.board = Plans(name="plans", work=work.IDLE)
        self.work = work.Work(later, partial(setattr, self.board, "work"), self.arrived)
        self.show()
        self.tell(notice)
        self.board.on_change("asked", self.take)

    # what the browser asks

    def take(self, attr: str, old: Any, new: dict[str, Any]) -> None:
        """Do what the browser asks for, or say why it cannot be done and leave all as it was."""
        kept = ("scenario", "wishes", "system", "front", "chosen")
        with replies.answering(self, new, *kept):
            for change in new.get("changes", ()):
                self.change(change if isinstance(change, dict) else {})
            self.show()
            self.tell("")

    def change(self, asked: dict[str, Any]) -> None:
        """One change: plan, cancel, choose, units, a wish, or a change of edits.apply."""
        path = str(asked.get("path"))
        match asked.get("do"):
            case "plan":
                self.search()
            case "cancel":
                self.work.stop()
            case "choose":
                self.choose(asked.get("index"))
            case "units":
                system = asked.get("system")
                if system not in SYSTEMS:
                    raise InputError(f"units: expected {one_of(system, SYSTEMS)}")
                self.system = str(system)
            case "set" if path.startswith("wish."):
                name = path.removeprefix("wish.")
                wish = self.wishes.wish
                self.wishes = tonight_form.with_wish(self.wishes, name, asked.get("value"))
                if self.wishes.wish != wish:
                    self.forget()
            case _:
                if (asked.get("do"), asked.get("list")) == ("remove", "vessels"):
                    tonight_form.without_vessel(self.scenario, asked.get("at"))
                self.scenario = edits.apply(self.scenario, asked, self.system)
                self.forget()

    def choose(self, index: Any) -> None:
        """Show a plan by its number in the front, or the visitor's own schedule, -1."""
        found = self.front.plans if self.front else ()
        if not isinstance(index, int) or not -1 <= index < len(found):
            raise InputError(f"plan: expected a number below {len(found)}")
        self.chosen = index

    def forget(self) -> None:
        """The plans were made for other things at hand."""
        self.work.stop()
        self.front, self.chosen = None, -1

    # the search

    def search(self) -> None:
        """Look for plans in a thread; what is found is shown when it comes."""
        if words := tonight_form.refusal(self.scenario, self.system):
            self.work.stop()
            self.board.work = work.IDLE | {"state": "failed", "words": words}
            return
        key = (self.scenario, self.wishes.wish)
        if key in _found:
            self.work.stop()
            self.arrived("front", _found[key])
            self.board.work = work.FOUND
            return

        def job(tell: work.Tell) -> Iterator[tuple[str, plans.Front]]:
            found = planner.plan(*key, progress=tell, executor=cores.executor())
            _found[key] = found
            while len(_found) > KNOWN:
                _found.popitem(last=False)
            yield "front", found

        self.work.begin(job)

    def arrived(self, place: str, found: plans.Front) -> None:
        """Show the front, and of it the plan with least water."""
        self.front = found
        self.chosen = len(found.plans) - 1
        self.show()

    # what the browser is told

    def show(self) -> None:
        """Ship what differs: the form, the front, the schedule shown."""
        if self.front is None:
            front = tonight_view.alone(self.scenario, self.wishes, self.system)
        else:
            front = tonight_view.front(self.front, self.system)
        found = {
            "shape": tonight_form.shape(self.scenario, self.base, self.system),
            "front": front,
            "detail": self.detail() | {"chosen": self.chosen},
        }
        for name, value in found.items():
            if getattr(self.board, name) != value:
                setattr(self.board, name, value)

    def detail(self) -> dict[str, Any]:
        plan = self.front.plans[self.chosen] if self.front and self.chosen >= 0 else None
        scenario = self.scenario if plan is None else plan.scenario
        own = self.front.own if self.front else None
        return tonight_view.detail(scenario, self.wishes, self.system, plan, own)

    def tell(self, error: str) -> None:
        """Numbered, so that the browser hears an answer even when the words are the same."""
        self.answers += 1
        self.board.told = {
            "values": tonight_form.values(self.scenario, self.wishes, self.system),
            "state": share.pack(self.scenario),
            "error": error,
            "answer": self.answers,
        }
