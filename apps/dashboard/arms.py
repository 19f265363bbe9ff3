"""Several schedules on one clock: what the browser holds of them, and one visitor's session."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from bokeh.core.properties import Any as AnyValue
from bokeh.core.properties import List
from bokeh.document import Document
from bokeh.models import ColumnDataSource

from washsim import comparing, files, pictures, side_by_side
from washsim.comparing import Comparison
from washsim.errors import InputError, WashsimError
from washsim.result import Result
from washsim.scenario import Scenario
from washsim.solve import solve
from washsim_dashboard import doubt, replies, share, state
from washsim_dashboard.aside import Aside
from washsim_dashboard.runs import Lines

FRAMES, POINTS = 120, 50
"""Of each small picture: its frames and its points through the thickness; about 50 kB each."""
CLOCK = 240
"""Positions of the clock that all share."""
FIXING = 0.15
"""Of these, the share that shows the fixing, which is short and would else be missed."""
LOWEST_LETTER = 0.0015
"""g/m2; further down a letter would be cut by the chart's edge."""
FIRST = "short_fix"
"""The question the pages open with."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Race:
    """Schedules solved together, ready to be shipped."""

    scenarios: tuple[Scenario, ...]
    films: tuple[dict[str, Any], ...]
    curves: tuple[dict[str, Any], ...]
    letters: dict[str, Any]
    told: dict[str, Any]
    lines: Lines


@lru_cache(maxsize=32)
def race(comparison: Comparison, system: str = "metric") -> Race:
    """Solve and picture a comparison; equal ones are solved once, whoever asks.

    system: of the units in the words, see washsim.units.
    """
    results = [solve(one) for one in comparison.scenarios]
    drawn = [pictures.curves(one) for one in results]
    return Race(
        scenarios=comparison.scenarios,
        films=tuple(film(one) for one in results),
        curves=tuple({"minutes": one.minutes, "residual": one.worst_g_m2} for one in drawn),
        letters=letters(drawn),
        told=words(comparison, results, system),
        lines=Lines(target=drawn[0].target_g_m2, visible=drawn[0].visible_g_m2),
    )


def film(result: Result) -> dict[str, Any]:
    """Columns of one small picture, frame by frame."""
    found = pictures.frames(result, count=FRAMES, points=POINTS)
    return {
        "minutes": found.minutes.astype("float32"),
        "mobile": found.mobile_g_l.astype("float32"),
        "held": found.held_g_l.astype("float32"),
        "water": found.water_g_l.astype("float32"),
        "residual": found.residual_g_m2.astype("float32"),
        "place": list(found.place),
    }


def letters(drawn: Sequence[pictures.Curves]) -> dict[str, Any]:
    """Where each curve bears its letter: each at another minute, so that none lies on another."""
    longest = max(one.minutes[-1] for one in drawn)
    count = len(drawn)
    at = [longest * (i + 0.6) / (count + 0.4) for i in range(count)]
    ends = [one.minutes[one.worst_g_m2 > LOWEST_LETTER][-1] for one in drawn]
    at = [min(x, 0.97 * end) for x, end in zip(at, ends, strict=True)]
    return {
        "minutes": at,
        "residual": [
            float(np.interp(x, one.minutes, one.worst_g_m2))
            for x, one in zip(at, drawn, strict=True)
        ],
        "letter": list(side_by_side.LETTERS[:count]),
    }


def words(comparison: Comparison, results: Sequence[Result], system: str) -> dict[str, Any]:
    """All that the page says and needs once: text, tables, the shared clock, the layers."""
    out = [one.run.left_fixer[one.worst_lot] / 60 for one in results]
    unknown = ("…",) * len(results)
    return {
        "name": comparison.name,
        "ways": list(comparison.ways),
        "asks": comparison.asks,
        "claim": comparison.claim,
        "race": side_by_side.race(results),
        "verdict": side_by_side.verdict(results, system),
        "differences": rows(side_by_side.differences(comparison.scenarios, system)),
        "outcomes": rows(side_by_side.outcomes(results, system)),
        "doubts": rows([side_by_side.Row(what, unknown) for what in side_by_side.DOUBTS]),
        "clock": clock(out, [one.run.timeline.end / 60 for one in results]),
        "fixed": min(out),
        "target": 1e3 * results[0].scenario.target.limit,
        "arms": [arm(*pair) for pair in zip(side_by_side.LETTERS, results, strict=False)],
    }


def rows(found: Sequence[side_by_side.Row]) -> list[dict[str, Any]]:
    """Lines of a table, as the browser reads them."""
    return [asdict(row) for row in found]


def arm(letter: str, result: Result) -> dict[str, Any]:
    """One schedule's letter and title, and the layers of its sheet."""
    layers = pictures.depths(result, POINTS)[0]
    starts = np.cumsum([0.0, *(1e6 * one.thickness for one in result.run.paper.layers)])
    return {
        "letter": letter,
        "title": result.scenario.title,
        "layers": [
            {"name": one.name, "start": float(starts[i]), "stop": float(starts[i + 1])}
            for i, one in enumerate(result.run.paper.layers)
        ],
        "depth": layers.tolist(),
        "sealed": result.run.paper.sealed_back,
        "end": result.run.timeline.end / 60,
    }


def clock(out: Sequence[float], ends: Sequence[float]) -> list[float]:
    """Minutes that the animation passes through: the fixing of the longest, then the wash."""
    early = round(FIXING * CLOCK)
    fixing = np.linspace(0.0, max(out), early, endpoint=False)
    return [*fixing.tolist(), *np.linspace(max(out), max(ends), CLOCK - early).tolist()]


class Board(state.Board):
    """doubts: rows of how sure the outcomes are; empty until they are worked out."""

    doubts = List(AnyValue)


class Session:
    """One visitor's comparison: asked in, sources out, updated in place."""

    def __init__(self, asked: dict[str, Any], state: str = "", system: str = "metric") -> None:
        """state: the batch that chosen ways wash, as share.pack writes it; empty for the demo.

        What cannot be had is told, and the first question stands in for it.
        """
        self.answers, self.system, self.state = 0, system, ""
        self.batch = files.example("demo")
        error = ""
        try:
            if state:
                self.batch, self.state = share.unpack(state), state
            found = self.race(asked)
        except WashsimError as problem:
            found, error = self.race({}), str(problem)
        self.lines, self.told, self.scenarios = found.lines, found.told, found.scenarios
        self.films = [ColumnDataSource() for _ in side_by_side.LETTERS]
        self.curves = [ColumnDataSource() for _ in side_by_side.LETTERS]
        self.bands = [ColumnDataSource(doubt.NO_BAND) for _ in side_by_side.LETTERS]
        self.letters = ColumnDataSource()
        self.aside = Aside()
        self.ship(found)
        self.board = Board(told=self.words(error), name="board")
        self.board.on_change("asked", self.take)

    def race(self, asked: dict[str, Any]) -> Race:
        """The comparison asked for: {"question": name} or {"ways": [names]}. InputError else."""
        ways = asked.get("ways")
        if ways is None:
            return race(comparing.question(asked.get("question", FIRST)), self.system)
        if not isinstance(ways, list):
            raise InputError("ways: expected a list of names")
        return race(comparing.ways(self.batch, ways), self.system)

    def take(self, attr: str, old: Any, new: dict[str, Any]) -> None:
        """Solve what the browser asks for and ship it, or say why it cannot be done."""
        with replies.answering(self, new):
            found = self.race(new)
            self.ship(found)
            self.told, self.scenarios = found.told, found.scenarios
            # before the words, so that the browser shows no other schedules' doubts beside them
            self.doubt()
            self.tell("")

    def attend(self, document: Document) -> None:
        """Work out how sure it is, now and after each change, beside a running document."""
        self.aside.document = document
        self.doubt()

    def doubt(self) -> None:
        """Forget how sure others were, and begin to work it out for these."""
        for band in self.bands:
            if len(band.data["minutes"]):
                band.data = doubt.NO_BAND
        self.board.doubts = []
        self.aside.begin(((doubt.doubts, (self.scenarios,), self.show_doubts),))

    def show_doubts(self, found: doubt.Doubts) -> None:
        for band, edges in zip(self.bands, found.edges, strict=False):
            band.data = edges
        self.board.doubts = found.rows

    def ship(self, found: Race) -> None:
        """Put a race into the sources; those of schedules it has not are emptied."""
        for i in range(len(side_by_side.LETTERS)):
            here = i < len(found.films)
            self.films[i].data = found.films[i] if here else {key: [] for key in found.films[0]}
            self.curves[i].data = found.curves[i] if here else {"minutes": [], "residual": []}
        self.letters.data = found.letters

    def words(self, error: str) -> dict[str, Any]:
        """What the browser is told."""
        more = {"state": self.state, "batch": self.batch.title, "error": error}
        return self.told | more | {"answer": self.answers}

    def tell(self, error: str) -> None:
        """Numbered, so that the browser hears an answer even when the words are the same."""
        self.answers += 1
        self.board.told = self.words(error)
