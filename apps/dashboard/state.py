"""One visitor's state: the scenarios gone through, the run of the present one, and what the
browser holds of it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass
from typing import Any

from bokeh.core.properties import Any as AnyValue
from bokeh.core.properties import Dict, String
from bokeh.document import Document
from bokeh.model import DataModel
from bokeh.models import ColumnDataSource
from panel.io.document import hold

from washsim import advice, files
from washsim.errors import InputError
from washsim.fields import one_of
from washsim.scenario import Scenario
from washsim.units import SYSTEMS
from washsim_dashboard import doubt, edits, first, form, inputs, replies, share
from washsim_dashboard.aside import Aside
from washsim_dashboard.runs import Lines, Run, run, same_layers

UNDOS = 100
"""Scenarios remembered for undo."""


class Board(DataModel):
    """What page and server say to each other: `asked` by the browser, the others by the server.

    asked: {"changes": [...], "number": ...}, see edits.apply and Session. shape: form.shape and the
    quick controls, told when it differs. told: words, values, state, answer; told last. help, sure:
    see aside.py; empty until they are worked out.
    """

    asked = Dict(String, AnyValue)
    shape = Dict(String, AnyValue)
    told = Dict(String, AnyValue)
    help = String(default="")
    sure = String(default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """A scenario gone through, what its controls are set back to, and the drag that made it."""

    scenario: Scenario
    base: Scenario
    drag: tuple[str, int] | None = None
    first: bool = False
    """Whether it came of the three questions, so that what was assumed is to be listed."""


class Session:
    """Changes in, sources out; a change updates the sources in place or is refused in words."""

    def __init__(self, scenario: Scenario, system: str = "metric", notice: str = "") -> None:
        """notice: what the page says once as it opens."""
        self.system = system
        self.moments = [Moment(scenario=scenario, base=scenario)]
        self.here = 0
        self.answers = 0
        self.known_shape: tuple[Any, dict[str, Any]] | None = None
        found = run(scenario, system)
        self.frames = ColumnDataSource(found.frames, name="frames")
        self.layers = ColumnDataSource(found.layers, name="layers")
        self.curves = ColumnDataSource(found.curves, name="curves")
        self.band = ColumnDataSource(doubt.NO_BAND, name="band")
        self.lines: Lines = found.lines
        self.board = Board(shape=self.shape(), told=self.words(notice), name="board")
        self.board.on_change("asked", self.take)
        self.aside = Aside()

    def attend(self, document: Document) -> None:
        """Work out what stands aside, now and after each change, beside a running document."""
        self.aside.document = document
        self.advise()

    def advise(self) -> None:
        """Forget what was said of another scenario, and begin to work it out for this one."""
        self.board.update(help="", sure="")
        if len(self.band.data["minutes"]):
            self.band.data = doubt.NO_BAND
        self.aside.begin(
            (
                (doubt.help_line, (self.scenario, self.system), self.show_help),
                (doubt.doubt, (self.scenario,), self.show_doubt),
            )
        )

    def show_help(self, line: str) -> None:
        self.board.help = line

    def show_doubt(self, found: doubt.Doubt) -> None:
        self.band.data = found.edges
        self.board.sure = found.words

    @property
    def scenario(self) -> Scenario:
        return self.moments[self.here].scenario

    def take(self, attr: str, old: Any, new: dict[str, Any]) -> None:
        """Do what the browser asks for and ship what follows, or say why it cannot be done."""
        with replies.answering(self, new, "moments", "here", "system"):
            for change in new.get("changes", ()):
                self.change(change)
            self.ship(run(self.scenario, self.system))

    def change(self, change: Any) -> None:
        """Do one change: undo, redo, units, open (a file), reset, first, or one of edits.apply."""
        wanted = change.get("do") if isinstance(change, dict) else None
        others: dict[Any, Callable[[dict[str, Any]], None]] = {
            "undo": lambda _: self.step(-1),
            "redo": lambda _: self.step(1),
            "units": self.set_units,
            "open": lambda asked: self.open(
                files.loads(str(asked.get("text")), str(asked.get("name"))[:60])
            ),
            "reset": lambda _: self.open(self.moments[self.here].base),
            "first": lambda asked: self.open(first.plan(asked), first=True),
        }
        if wanted in others:
            others[wanted](change)
            return
        scenario = edits.apply(self.scenario, change, self.system)
        drag = change.get("drag")
        mark = (str(change.get("path")), drag) if isinstance(drag, int) else None
        now = self.moments[self.here]
        base = scenario if wanted == "method" else now.base
        self.remember(Moment(scenario=scenario, base=base, drag=mark))

    def remember(self, moment: Moment) -> None:
        """A new present; one drag of a slider is one thing to undo."""
        now = self.moments[self.here]
        same_drag = moment.drag is not None and moment.drag == now.drag
        kept = self.moments[: self.here + (0 if same_drag else 1)][-UNDOS:]
        self.moments = [*kept, moment]
        self.here = len(self.moments) - 1

    def open(self, scenario: Scenario, first: bool = False) -> None:
        """Go to another scenario, from which controls are reset to what they are now."""
        self.remember(Moment(scenario=scenario, base=scenario, first=first))

    def step(self, by: int) -> None:
        """Undo or redo; nothing at the ends."""
        self.here = min(max(self.here + by, 0), len(self.moments) - 1)

    def set_units(self, asked: dict[str, Any]) -> None:
        """Show another system of units; the scenario stays as it is."""
        system = asked.get("system")
        if system not in SYSTEMS:
            raise InputError(f"units: expected {one_of(system, SYSTEMS)}")
        self.system = str(system)

    def ship(self, found: Run) -> None:
        """Send a run; the words last, so that the browser finds the rest in place."""
        shape = self.shape()
        # in one message; without a document there is nobody to send it to
        with hold(self.aside.document) if self.aside.document else nullcontext():
            if not same_layers(found.layers, self.layers.data):
                self.layers.data = found.layers
            self.frames.data = found.frames
            self.curves.data = found.curves
            if shape != self.board.shape:
                self.board.shape = shape
            self.tell("")
        self.advise()

    def shape(self) -> dict[str, Any]:
        """What there is to fill in now; made anew only where that can differ."""
        now = self.moments[self.here]
        key = (form.skeleton(now.scenario), now.base, self.system)
        if self.known_shape is None or self.known_shape[0] != key:
            shape = form.shape(now.scenario, now.base, self.system) | {
                "kinds": form.kinds(),
                "origins": advice.origins(now.scenario),
            }
            self.known_shape = (key, shape)
        quick = inputs.quick(now.scenario, now.base, self.system)
        return self.known_shape[1] | {"quick": quick}

    def words(self, error: str) -> dict[str, Any]:
        """What the browser is told: the words of the run, what stands in the form, the state."""
        now = self.moments[self.here]
        scenario = now.scenario
        assumed = first.assumptions(scenario, self.system) if now.first else ()
        return run(scenario, self.system).words | {
            "assumed": [[one.words, one.path] for one in assumed],
            "values": form.values(scenario, self.system) | {"method": form.method_of(scenario)},
            "state": share.pack(scenario),
            "undo": self.here > 0,
            "redo": self.here < len(self.moments) - 1,
            "error": error,
            "answer": self.answers,
        }

    def tell(self, error: str) -> None:
        """Numbered, so that the browser hears an answer even when the words are the same."""
        self.answers += 1
        self.board.told = self.words(error)
