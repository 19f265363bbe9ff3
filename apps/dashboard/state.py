"""One visitor's state: the inputs, the run that follows, and what the browser holds of it."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from bokeh.core.properties import Any as AnyValue
from bokeh.core.properties import Dict, String
from bokeh.model import DataModel
from bokeh.models import ColumnDataSource

from washsim import advice, pictures, solve
from washsim.errors import WashsimError
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.units import gram, litre
from washsim_dashboard import inputs

FRAMES = 150
"""Of one run; fine enough that drawing between them looks continuous, and under 200 kB."""
PLACES = {
    "emulsion": "emulsion",
    "baryta": "baryta",
    "base": "base, mobile",
    "held": "held",
    "water": "water",
    "drain": "drain",
}
"""Where fixer can be, and what the page calls it."""


class Board(DataModel):
    """What page and server say to each other: `asked` by the browser, `told` by the server."""

    asked = Dict(String, AnyValue)
    told = Dict(String, AnyValue)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Levels drawn across the residual chart, g/m2."""

    target: float
    visible: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A solved schedule, ready to be shipped."""

    frames: dict[str, Any]
    layers: dict[str, Any]
    curves: dict[str, Any]
    words: dict[str, Any]
    lines: Lines


@lru_cache(maxsize=64)
def run(scenario: Scenario) -> Run:
    """Solve and picture a scenario; equal scenarios are solved once, whoever asks."""
    result = solve.solve(scenario)
    film = pictures.frames(result, count=FRAMES)
    drawn = pictures.curves(result)
    return Run(
        frames={
            "minutes": film.minutes.astype("float32"),
            "mobile": film.mobile_g_l.astype("float32"),
            "held": film.held_g_l.astype("float32"),
            "water": film.water_g_l.astype("float32"),
            "residual": film.residual_g_m2.astype("float32"),
            "place": list(film.place),
            "limits": list(film.limits),
            # a sheet without some layer has no fixer in it
            **{
                f"in_{name}": film.where.get(name, np.zeros(len(film.minutes))).astype("float32")
                for name in PLACES
            },
        },
        layers={
            "name": [[name for name, _, _ in film.layers]],
            "edges": np.array([[start for _, start, _ in film.layers] + [film.layers[-1][2]]]),
            "depth": np.array([film.depth_um]),
            "sealed": [result.run.paper.sealed_back],
        },
        curves={
            "minutes": drawn.minutes,
            "worst": drawn.worst_g_m2,
            "typical": drawn.typical_g_m2,
            "floor": drawn.floor_g_m2,
        },
        words={
            "sentence": advice.sentence(result),
            "verdict": verdict(result),
            "met": result.minutes_to_target is not None,
            "cautions": list(advice.cautions(result)),
            "error": "",
        },
        lines=Lines(target=drawn.target_g_m2, visible=drawn.visible_g_m2),
    )


def verdict(result: Result) -> str:
    """The shortest form of the outcome, for a phone's bottom bar."""
    minutes = result.minutes_to_target
    reached = "Not under target" if minutes is None else f"{minutes:.0f} min"
    worst = result.worst_residual / gram
    return f"{reached} · worst {worst:.2g} g/m² · {result.litres_total / litre:.3g} L"


class Session:
    """Inputs in, sources out; a change of the inputs updates the sources in place."""

    def __init__(self) -> None:
        self.inputs = inputs.twin()()
        self.answers = 0
        found = run(inputs.scenario(self.inputs))
        self.frames = ColumnDataSource(found.frames, name="frames")
        self.layers = ColumnDataSource(found.layers, name="layers")
        self.curves = ColumnDataSource(found.curves, name="curves")
        self.lines = found.lines
        self.words = found.words
        self.board = Board(told=self.words | {"answer": 0}, name="board")
        self.board.on_change("asked", self.take)

    def take(self, attr: str, old: Any, new: dict[str, Any]) -> None:
        """Solve what the browser asks for and ship it, or say why it cannot be done."""
        try:
            self.inputs.param.update(**new)
            found = run(inputs.scenario(self.inputs))
        except (WashsimError, ValueError) as error:
            self.tell(self.words | {"error": str(error)})
            return
        except Exception:
            logging.getLogger(__name__).exception("asked for %r", new)
            self.tell(self.words | {"error": "This could not be computed; the server logged why."})
            return
        self.layers.data = found.layers
        self.frames.data = found.frames
        self.curves.data = found.curves
        self.words = found.words
        self.tell(self.words)

    def tell(self, words: dict[str, Any]) -> None:
        """Numbered, so that the browser hears an answer even when the words are the same."""
        self.answers += 1
        self.board.update(told=words | {"answer": self.answers})
